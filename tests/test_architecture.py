"""The law of the house: who may import whom, checked on the source itself."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("rig", "server", "firmware_sim")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
STDLIB = sys.stdlib_module_names
SQL_ROOMS = ("server/store/", "rig/spool.py", "server/exports/geopackage.py")
PAHO_ROOMS = ("rig/link.py", "server/link.py")
HARDWARE = {"gpiod", "termios", "tty", "smbus2", "spidev"}
CORE_FORBIDDEN = {
    "time",
    "datetime",
    "random",
    "socket",
    "logging",
    "sqlite3",
    "os",
    "pathlib",
    "io",
    "asyncio",
    "threading",
}
MODULE_LINES = 400
SCRIPT_LINES = 250
FUNCTION_LINES_P90 = 30


def name_of(path: Path) -> str:
    """A module's path below the root, with forward slashes."""
    return path.relative_to(ROOT).as_posix()


def find_imports(path: Path) -> Iterator[tuple[str, bool]]:
    """Every absolute module imported, with whether the import stands at the top level."""
    tree = ast.parse(path.read_text())
    top = set(map(id, tree.body))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, id(node) in top) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}:{node.lineno}: relative import"
            module = node.module or ""
            yield module, id(node) in top
            yield from ((f"{module}.{alias.name}", id(node) in top) for alias in node.names)


def each_import() -> Iterator[tuple[str, str, bool]]:
    """(importer, imported, at top level) over the whole of the three programs."""
    for path in MODULES:
        for imported, at_top in find_imports(path):
            yield name_of(path), imported, at_top


def offenders(room: str, forbidden: str, *, allowed: tuple[str, ...] = ()) -> list[str]:
    """Imports of `forbidden` (or below it) from modules of `room`, less what is allowed."""
    return [
        f"{importer} imports {imported}"
        for importer, imported, _ in each_import()
        if importer.startswith(room)
        and (imported == forbidden or imported.startswith(forbidden + "."))
        and not any(imported == good or imported.startswith(good + ".") for good in allowed)
    ]


def test_there_are_modules_to_check() -> None:
    assert len(MODULES) > 40
    assert sum(1 for _ in each_import()) > 200


def test_the_programs_meet_only_on_the_wire() -> None:
    rig = [f for f in offenders("server/", "rig", allowed=("rig.wire",)) if not f.endswith("imports rig")]
    assert rig == []
    assert offenders("rig/", "server") == []
    assert offenders("rig/", "firmware_sim") == []
    assert offenders("server/", "firmware_sim") == []
    assert [name for name, _ in find_imports(ROOT / "rig/__init__.py")] == []


def test_the_simulator_is_an_independent_witness() -> None:
    assert offenders("firmware_sim/", "server") == []
    others = [f for f in offenders("firmware_sim/", "rig", allowed=("rig.wire",)) if not f.endswith("imports rig")]
    assert [f for f in others if not f.startswith("firmware_sim/bench")] == []


def test_core_is_pure() -> None:
    wrong = []
    for importer, imported, _ in each_import():
        if not importer.startswith("server/core/"):
            continue
        head = imported.split(".")[0]
        is_known = head in STDLIB or head == "numpy" or imported == "server" or imported.startswith("server.core")
        if not is_known or head in CORE_FORBIDDEN:
            wrong.append(f"{importer} imports {imported}")
    assert wrong == []


@pytest.mark.parametrize("call", ["open(", "print(", "np.random.seed(", "np.random.rand", "default_rng()"])
def test_core_touches_no_file_screen_or_global_generator(call: str) -> None:
    wrong = []
    for path in (ROOT / "server/core").rglob("*.py"):
        text = path.read_text()
        tree = ast.parse(text)
        calls = [ast.unparse(node)[: len(call) + 40] for node in ast.walk(tree) if isinstance(node, ast.Call)]
        wrong += [f"{name_of(path)}: {found}" for found in calls if found.startswith(call)]
    assert wrong == []


def test_sql_has_its_rooms() -> None:
    wrong = [
        f"{importer} imports {imported}"
        for importer, imported, _ in each_import()
        if imported.split(".")[0] in {"sqlite3", "sqlite_utils"} and not importer.startswith(SQL_ROOMS)
    ]
    # Composition roots may name the errors of the database, to say them in one line.
    assert wrong == []


def test_mqtt_has_its_rooms() -> None:
    wrong = [f"{i} imports {m}" for i, m, _ in each_import() if m.split(".")[0] == "paho" and i not in PAHO_ROOMS]
    assert wrong == []


def test_http_has_its_room() -> None:
    wrong = [
        f"{importer} imports {imported}"
        for importer, imported, _ in each_import()
        if imported.split(".")[0] in {"fastapi", "starlette"} and not importer.startswith("server/api/")
    ]
    assert wrong == []


def test_pins_and_ports_have_their_room_and_are_imported_lazily() -> None:
    wrong = [
        f"{importer} imports {imported}"
        for importer, imported, _ in each_import()
        if imported.split(".")[0] in HARDWARE and not importer.startswith("rig/hardware/")
    ]
    eager = [
        f"{importer} imports {imported} at the top"
        for importer, imported, at_top in each_import()
        if at_top
        and imported.startswith("rig.hardware")
        and not importer.startswith("rig/hardware/")
        and importer != "firmware_sim/bench.py"
    ]
    assert wrong == []
    assert eager == []


def test_the_dashboard_has_one_door_to_the_network() -> None:
    folder = ROOT / "server/dashboard"
    scripts = sorted(folder.rglob("*.js"))
    assert len(scripts) > 5
    wrong = [
        f"{name_of(path)}: {word}"
        for path in scripts
        for word in ("fetch(", "EventSource(", "WebSocket(", "XMLHttpRequest", "sendBeacon")
        if word in path.read_text() and path.name != "feed.js"
    ]
    outside = [
        name_of(path)
        for path in folder.rglob("*")
        if path.suffix in {".js", ".css", ".html"}
        and "://" in path.read_text().replace("http://www.w3.org/2000/svg", "")
    ]
    assert wrong == []
    assert outside == []


def test_views_never_import_each_other() -> None:
    wrong = [
        f"{name_of(path)}: {line.strip()}"
        for path in sorted((ROOT / "server/dashboard/views").rglob("*.js"))
        for line in path.read_text().splitlines()
        if line.startswith("import") and "/views/" in line
    ]
    assert wrong == []


def test_modules_and_functions_stay_small() -> None:
    long_modules = [name_of(path) for path in MODULES if len(path.read_text().splitlines()) > MODULE_LINES]
    # The catalogue of texts is a table, not a module to be read through.
    scripts = [path for path in (ROOT / "server/dashboard").rglob("*.js") if path.name != "texts.js"]
    long_scripts = [name_of(path) for path in scripts if len(path.read_text().splitlines()) > SCRIPT_LINES]
    lengths = sorted(
        (node.end_lineno or 0) - node.lineno + 1
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )
    assert long_modules == []
    assert long_scripts == []
    assert lengths[int(0.9 * len(lengths))] < FUNCTION_LINES_P90 + 15, "docstrings included"


def test_no_name_says_nothing() -> None:
    empty = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}
    assert [name_of(path) for path in MODULES if path.stem in empty] == []
    wrong = [
        f"{name_of(path)}: {node.name}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith(("get_", "calculate_"))
    ]
    assert wrong == []


def test_every_module_and_public_definition_says_what_it_is() -> None:
    silent = []
    for path in MODULES:
        tree = ast.parse(path.read_text())
        if ast.get_docstring(tree) is None:
            silent.append(name_of(path))
        for node in tree.body:
            is_definition = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
            if is_definition and not node.name.startswith("_") and ast.get_docstring(node) is None:
                silent.append(f"{name_of(path)}: {node.name}")
    assert silent == []
