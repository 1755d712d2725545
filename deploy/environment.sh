# What demo.sh and test.sh share: Debian packages where a command is missing, and the Python environment.

say() { printf '%s\n' "$*" >&2; }

find_python() {
    local candidate
    for candidate in python3.13 python3.12 python3.11 python3; do
        if command -v "$candidate" >/dev/null &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s' "$candidate"
            return
        fi
    done
    say "No Python 3.11 or newer found: install it (Debian: apt-get install python3 python3-venv) and run this again."
    exit 1
}

# need_packages COMMAND PACKAGE [COMMAND PACKAGE ...]: install the Debian packages whose commands are missing.
need_packages() {
    local missing=()
    while [ $# -gt 0 ]; do
        command -v "$1" >/dev/null || [ -x "/usr/sbin/$1" ] || missing+=("$2")
        shift 2
    done
    [ ${#missing[@]} -eq 0 ] && return
    say "Installing from Debian: ${missing[*]}"
    local sudo=""
    [ "$(id -u)" -eq 0 ] || sudo=sudo
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
}

# make_environment FOLDER REQUIREMENTS: a virtual environment with the locked packages and calmpass itself.
make_environment() {
    local folder=$1 requirements=$2 python stamp
    python=$(find_python)
    stamp="$folder/.installed-$(basename "$requirements")"
    if [ ! -x "$folder/bin/python" ]; then
        say "Making a Python environment in $folder"
        if ! "$python" -m venv "$folder" 2>/dev/null; then
            rm -rf "$folder"
            need_packages no-such-command python3-venv
            "$python" -m venv "$folder"
        fi
    fi
    if [ ! -e "$stamp" ] || [ "$requirements" -nt "$stamp" ] || [ pyproject.toml -nt "$stamp" ]; then
        say "Installing the locked packages (a minute or two the first time)"
        "$folder/bin/python" -m pip install -q --disable-pip-version-check --require-hashes -r "$requirements"
        "$folder/bin/python" -m pip install -q --disable-pip-version-check --no-deps --no-build-isolation -e .
        touch "$stamp"
    fi
}
