"""All benchmarks in one go: python tests/benchmarks/run.py. Figures to look at, never a gate."""

import os
import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
NAMES = ("dosing.py", "ingest.py", "live.py", "sizes.py", "strips.py")


def main() -> None:
    """Run each in a process of its own."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    for name in NAMES:
        print(f"== {name}", flush=True)
        subprocess.run([sys.executable, str(FOLDER / name)], env=environment, check=False, cwd=FOLDER.parent.parent)


if __name__ == "__main__":
    main()
