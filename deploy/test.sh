#!/usr/bin/env bash
# Installs what the tests need on a Debian-class machine and runs them all. Needs Python 3.11 or newer, and apt.
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/environment.sh

need_packages mosquitto mosquitto chromium chromium node nodejs systemd-analyze systemd
make_environment .venv deploy/requirements-test.txt
export OPENBLAS_NUM_THREADS=1
exec .venv/bin/python -m pytest "$@"
