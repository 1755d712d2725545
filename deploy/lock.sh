#!/usr/bin/env bash
# Renews the hash-locked requirements after a change of pyproject.toml; needs uv on the PATH.
set -euo pipefail
cd "$(dirname "$0")/.."
lock() {
    uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
        --no-annotate "$@"
}
lock pyproject.toml deploy/build.in -o deploy/requirements.txt
lock pyproject.toml deploy/build.in --extra demo -o deploy/requirements-demo.txt
lock pyproject.toml deploy/build.in --extra test -o deploy/requirements-test.txt
