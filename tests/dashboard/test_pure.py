"""The dashboard's pure modules, run by Node's own test runner."""

import re
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
DASHBOARD = HERE.parents[1] / "server" / "dashboard"


def test_the_pure_modules_of_the_dashboard_hold() -> None:
    run = subprocess.run(
        ["node", "--test", "--test-reporter=tap", *map(str, sorted(HERE.glob("*.test.mjs")))],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    counted = re.search(r"^# pass (\d+)$", run.stdout, re.MULTILINE)
    assert counted is not None
    assert int(counted[1]) >= 170, run.stdout


EXPORTED = re.compile(r"^export (?:async )?(?:function|const|class) (\w+)", re.MULTILINE)
CALLED = re.compile(r"(?<![.\w])(\w+)\(")
OF_ITS_OWN = r"\b(?:function|const|let|class) {0}\b|[{{(,]\s*{0}\s*(?:[,}})=]|$)|^ +{0}\(.*\) \{{$"


def test_every_module_takes_in_what_it_calls_of_another() -> None:
    modules = {path: path.read_text() for path in sorted(DASHBOARD.rglob("*.js"))}
    offered = {name for text in modules.values() for name in EXPORTED.findall(text)}
    assert len(offered) > 300
    missing = [
        f"{path.relative_to(DASHBOARD)}: {name}"
        for path, text in modules.items()
        for name in sorted(set(CALLED.findall(text)) & offered)
        if not re.search(OF_ITS_OWN.format(name), text, re.MULTILINE)
    ]
    assert missing == []
