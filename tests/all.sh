#!/bin/sh
# Runs the whole test suite, the spreadsheet tests included: sh tests/all.sh [PYTEST OPTIONS]
# Installs what it needs: the Python packages into .venv, LibreOffice Calc from Debian.
set -eu
cd "$(dirname "$0")/.."
. tests/environment.sh
make_environment "[test]"
if ! command -v soffice >/dev/null 2>&1 || ! /usr/bin/python3 -c 'import uno' >/dev/null 2>&1; then
    need_package libreoffice-calc python3-uno fonts-dejavu fonts-liberation fonts-crosextra-carlito poppler-utils
fi
fc-list 2>/dev/null | grep -q Carlito || need_package fontconfig fonts-crosextra-carlito
command -v pdftoppm >/dev/null 2>&1 || need_package poppler-utils
command -v ssconvert >/dev/null 2>&1 || need_package gnumeric
export DISPENSE_NEEDS_SPREADSHEET=1
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy dispense
.venv/bin/vulture
.venv/bin/python -m pytest -n 2 --dist loadgroup "$@"
