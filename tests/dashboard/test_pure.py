"""The dashboard's pure modules, run by Node's own test runner."""

import re
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent


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
