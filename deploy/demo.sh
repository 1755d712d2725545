#!/usr/bin/env bash
# Shows a whole job in the browser: an embedded broker, a simulated rig and the service. Needs Python 3.11 or newer.
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/environment.sh

make_environment .venv deploy/requirements-demo.txt
exec .venv/bin/calmpass demo "$@"
