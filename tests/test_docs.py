"""What the documents name exists: files, commands, settings, topics, routes; README's blocks run."""

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from rig import wire
from server.core.setup import CHOICES, RANGES, TEXTS

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
DOCUMENTS = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "deploy/README.md", "CHANGELOG.md")]


def read(name: str) -> str:
    """A document's text."""
    return (ROOT / name).read_text(encoding="utf-8")


def code_spans(text: str) -> list[str]:
    """What stands between single backticks."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL))


@pytest.mark.parametrize("path", DOCUMENTS, ids=[path.name for path in DOCUMENTS])
def test_files_that_documents_name_exist(path: Path) -> None:
    spans = code_spans(path.read_text(encoding="utf-8"))
    named = [span for span in spans if re.fullmatch(r"(rig|server|firmware_sim|tests|deploy|\.ci)/[\w./-]*", span)]
    missing = [span for span in named if not (ROOT / span).exists()]
    assert missing == []


def test_every_module_is_on_the_map() -> None:
    text = read("DEVELOPERS.md")
    missing = [
        path.relative_to(ROOT).as_posix()
        for package in ("rig", "server", "firmware_sim")
        for path in sorted((ROOT / package).rglob("*.py"))
        if not path.name.startswith("__") and not re.search(rf"\b{path.stem}\b", text)
    ]
    assert missing == []


def test_every_stream_is_documented() -> None:
    text = read("DEVELOPERS.md")
    assert [stream for stream in wire.STREAMS if f"`{stream}`" not in text] == []


def test_every_setting_is_in_the_file_to_start_from() -> None:
    text = read("deploy/setup.toml")
    keys = [key.split(".", 1)[1] for key in (*RANGES, *CHOICES, *TEXTS) if not key.startswith(("peg.", "job."))]
    assert [key for key in keys if not re.search(rf"\b{key}\b", text)] == []
    tomllib.loads(text)


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a shell command as a reader of the documents would."""
    environment = {**os.environ, "PATH": f"{BIN}:{os.environ['PATH']}", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(
        ["bash", "-ec", command], cwd=folder, env=environment, capture_output=True, text=True, timeout=120, check=False
    )


def readme_blocks() -> list[str]:
    """README's shell blocks that do not start something long."""
    blocks = re.findall(r"```sh\n(.*?)```", read("README.md"), flags=re.DOTALL)
    return [block for block in blocks if "deploy/demo.sh" not in block and "deploy/test.sh" not in block]


def test_readme_has_its_two_commands() -> None:
    text = read("README.md")
    for command in ("deploy/demo.sh", "deploy/test.sh"):
        assert f"bash {command}" in text
        assert run(f"bash -n {command}", ROOT).returncode == 0
        assert os.access(ROOT / command, os.X_OK)


@pytest.mark.parametrize("block", readme_blocks(), ids=lambda block: block.splitlines()[0][:40])
def test_readme_blocks_run(block: str, tmp_path: Path) -> None:
    moved = block.replace("var/paddock", str(tmp_path / "paddock"))
    done = run(moved, ROOT)
    assert done.returncode == 0, done.stderr


def test_every_command_answers_for_help() -> None:
    for command in ("calmpass", "calmpass-rig", "calmpass-sim"):
        done = run(f"{command} --help", ROOT)
        assert done.returncode == 0, done.stderr
    listed = run("calmpass --help", ROOT).stdout
    for verb in ("serve", "replay", "export", "demo"):
        assert verb in listed


def test_routes_that_developers_md_names_exist() -> None:
    from server.api.app import route_paths

    text = read("DEVELOPERS.md")
    named = set(re.findall(r"`(?:GET|POST|PUT|PATCH|DELETE) (/api/[^`\s]*)`", text))
    assert len(named) > 8
    assert named - set(route_paths()) == set()


def test_documents_keep_to_the_project() -> None:
    forbidden = re.compile(r"https?://(?!127\.0\.0\.1)|/home/", re.IGNORECASE)
    wrong = [
        f"{path.name}: {line.strip()}"
        for path in DOCUMENTS
        for line in path.read_text(encoding="utf-8").splitlines()
        if forbidden.search(line)
    ]
    assert wrong == []
