#!/bin/sh
# Makes the demo plan and fills all its sheets into a folder: sh examples/demo.sh [FOLDER]
set -eu
out=${1:-out/demo}
case $out in /*) ;; *) out=$(pwd)/$out ;; esac
cd "$(dirname "$0")/.."
. tests/environment.sh
make_environment ""
mkdir -p "$out"
[ -e "$out/plan.xlsx" ] || .venv/bin/dispense new "$out/plan.xlsx" --demo
.venv/bin/dispense fill "$out/plan.xlsx" --out "$out/sheets"
