"""A record as API, page and files show it: items with their amendments, checklists, what is missing, the signature."""

import hashlib
import json
from dataclasses import asdict
from typing import Any

from server.core.errors import EntryError
from server.core.record import build_record, check_record
from server.core.recordair import find_deviations
from server.core.recorditem import Item, Value, read_value, sort_of
from server.core.regimes import REGIMES
from server.core.retention import Retention, keep_until
from server.errors import ConflictError, RequestError
from server.exports.job_json import plain
from server.keeping import read_retention
from server.recordwork import Folder, ReadMeasured, find_folder, gather_sources
from server.store import records as shelf
from server.store.records import Amendment, Draft, Signed

SAME = 0.002
"""Figures that differ by less than this share read the same."""


def view_record(
    connection: Any, number: int, read_measured: ReadMeasured, *, zone: str = "", draft: Draft | None = None
) -> dict[str, Any]:
    """The record of a job, or of the one it is a part of; `draft` in place of what is stored, to try what was typed."""
    return view_folder(connection, find_folder(connection, number), read_measured, zone=zone, draft=draft)


def view_folder(
    connection: Any, folder: Folder, read_measured: ReadMeasured, *, zone: str = "", draft: Draft | None = None
) -> dict[str, Any]:
    """The record of a job whose parts are known."""
    draft = draft or shelf.read_draft(connection, folder.number)
    draft = Draft(draft.typed, draft.zone or zone)
    sources = gather_sources(connection, folder, read_measured, draft)
    items = _build(lambda: build_record(sources))
    signed = shelf.read_signed(connection, folder.number)
    is_reviewed = all(part.measured is not None for part in sources.parts)
    view = {
        "job": folder.number,
        "name": folder.jobs[0].name,
        "parts": [job.number for job in folder.jobs],
        "state": "signed" if signed else "unsigned" if folder.is_finished else "open",
        "is_reviewed": is_reviewed,
        "zone": draft.zone,
        "offset_s": sources.offset_s,
    }
    retention = read_retention(connection)
    if signed is None:
        return _finish(view, items, retention, [])
    return _view_signed(connection, view, signed, items if is_reviewed else (), retention)


def freeze(view: dict[str, Any], *, name: str, utc: float) -> tuple[str, str]:
    """A record's text to be signed, and its fingerprint."""
    kept = ("job", "name", "parts", "zone", "offset_s")
    items = [{key: item[key] for key in ITEM_KEYS} for item in view["items"]]
    text = _write({**{key: view[key] for key in kept}, "signed_by": name, "signed_utc": utc, "items": items})
    return text, _digest(text)


def write_amendment(connection: Any, view: dict[str, Any], change: dict[str, Any], utc: float) -> Amendment:
    """An amendment of a signed record; raises ConflictError where it is not signed, RequestError."""
    if view["signature"] is None:
        raise ConflictError(f"the record of job {view['job']} is not signed: type it in")
    value, unit = _build(lambda: read_value(change["key"], change["value"]))
    before = next((item for item in view["items"] if item["key"] == change["key"]), {"value": None, "unit": ""})
    if (value, unit) == (before["value"], before["unit"]):
        raise RequestError("value", "is what the record says already")
    body = _write(
        {
            "key": change["key"], "before": before["value"], "before_unit": before["unit"], "value": value,
            "unit": unit, "reason": change["reason"], "who": change["who"], "utc": round(utc, 3),
        }
    )  # fmt: skip
    earlier = shelf.list_amendments(connection, view["job"])
    chain = earlier[-1].digest if earlier else view["signature"]["digest"]
    return Amendment(_digest(chain + body), body)


ITEM_KEYS = ("key", "value", "unit", "source", "missing", "sd", "beside")


def _view_signed(
    connection: Any, view: dict[str, Any], signed: Signed, now: tuple[Item, ...], retention: Retention
) -> dict[str, Any]:
    """The frozen record with its amendments, and what a later review says otherwise."""
    frozen = json.loads(signed.body)
    items = {found["key"]: Item(**found) for found in frozen["items"]}
    amendments, is_intact, chain = [], _digest(signed.body) == signed.digest, signed.digest
    for stored in shelf.list_amendments(connection, signed.job):
        is_intact = is_intact and _digest(chain + stored.body) == stored.digest
        chain = stored.digest
        amendments.append({**json.loads(stored.body), "digest": stored.digest})
    for each in amendments:
        items[each["key"]] = Item(each["key"], each["value"], each["unit"], "typed")
    signature = {
        "name": signed.signed_by, "utc": signed.signed_utc, "digest": signed.digest, "is_intact": is_intact,
        "keep_until": keep_until(signed.kept_from_utc, years=retention.least_years),
    }  # fmt: skip
    view |= {key: frozen[key] for key in ("name", "parts", "zone", "offset_s")}
    found = _finish(view, tuple(items.values()), retention, amendments)
    return {**found, "signature": signature, "proposals": _propose(items, now)}


def _finish(
    view: dict[str, Any], items: tuple[Item, ...], retention: Retention, amendments: list[dict[str, Any]]
) -> dict[str, Any]:
    checks = check_record(items)
    rules = [
        {
            "key": rule.key, "name": rule.name, "concerns": rule.concerns, "source": rule.source,
            "keep_years": rule.keep_years, "is_chosen": rule.key in retention.regimes,
            "needs": [asdict(check) for check in checks[rule.key]],
        }
        for rule in REGIMES
    ]  # fmt: skip
    return {
        **view,
        "items": [_view_item(item, amendments) for item in items],
        "rules": plain(rules),
        "deviations": [asdict(each) for each in find_deviations(items)],
        "amendments": amendments,
        "signature": None,
        "proposals": [],
    }


def _view_item(item: Item, amendments: list[dict[str, Any]]) -> dict[str, Any]:
    sort = sort_of(item.key)
    own = [each for each in amendments if each["key"] == item.key]
    about = {"label": sort.label, "group": sort.group, "kind": sort.kind, "is_typable": sort.is_typable}
    return {**about, **dict(plain(asdict(item))), "amended": own}


def _propose(items: dict[str, Item], now: tuple[Item, ...]) -> list[dict[str, Any]]:
    """Figures of a later review that differ from what was signed and not amended since by hand."""
    found = []
    for item in now:
        before = items.get(item.key, Item(item.key, None))
        is_figure = item.source in ("measured", "computed", "settings") and item.value is not None
        if is_figure and not _is_same(before.value, item.value):
            found.append(
                {
                    "key": item.key,
                    "label": sort_of(item.key).label,
                    "value": plain(before.value),
                    "unit": item.unit,
                    "now": plain(item.value),
                }
            )
    return found


def _is_same(one: Value, other: Value) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) <= SAME * max(abs(one), abs(other))
    return one == other


def _build(work: Any) -> Any:
    """Say what a person typed wrongly as a refusal."""
    try:
        return work()
    except EntryError as error:
        raise RequestError(error.key, error.problem) from error


def _write(found: dict[str, Any]) -> str:
    return json.dumps(plain(found), separators=(",", ":"), ensure_ascii=False, sort_keys=True)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def fill_draft(draft: Draft, changes: dict[str, Value], zone: str | None) -> Draft:
    """A draft with changes: None takes a value back; raises RequestError."""
    typed = {**draft.typed}
    for key, value in changes.items():
        if value is None or value == "":
            typed.pop(key, None)
            continue
        _build(lambda key=key, value=value: read_value(key, value))
        if not sort_of(key).is_typable:
            raise RequestError(key, "is measured or set elsewhere: it cannot be typed")
        typed[key] = value
    return Draft(typed, draft.zone if zone is None else zone)


def summarise_folder(
    connection: Any, folder: Folder, read_measured: ReadMeasured, retention: Retention
) -> dict[str, Any]:
    """A record in a line of the list."""
    view = view_folder(connection, folder, read_measured)
    needs = [need for rule in view["rules"] if rule["is_chosen"] for need in rule["needs"]]
    missing = {key for need in needs for key in need["missing"]}
    values = {item["key"]: item["value"] for item in view["items"]}
    return {
        **{key: view[key] for key in ("job", "name", "parts", "state", "is_reviewed", "signature")},
        "date": values.get("date"),
        "site": values.get("site"),
        "area_m2": values.get("area_m2"),
        "missing": len(missing),
        "amendments": len(view["amendments"]),
        "proposals": len(view["proposals"]),
    }
