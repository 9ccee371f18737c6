# Sets up what the commands in the README need; read by examples/demo.sh and tests/all.sh.
# Makes .venv beside the project and installs the project into it. $1: "" or "[test]".
# Debian's Python needs its venv package, which is installed where it is missing.

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi
}

need_package() { # package...
    echo "installing $*" >&2
    as_root apt-get update -qq >&2
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2
}

make_environment() {
    python=${PYTHON:-python3}
    command -v "$python" >/dev/null 2>&1 || need_package python3 python3-venv
    if [ ! -x .venv/bin/python ]; then
        "$python" -m venv .venv >/dev/null 2>&1 || {
            rm -rf .venv
            need_package python3-venv
            "$python" -m venv .venv
        }
    fi
    # installed once for a given pyproject.toml
    wanted="$1 $(cksum pyproject.toml)"
    if [ "$(cat .venv/installed 2>/dev/null)" != "$wanted" ]; then
        .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".$1" >&2
        echo "$wanted" >.venv/installed
    fi
}
