#!/bin/sh
# Renders the pictures of docs/pictures from the demo: sh examples/pictures.sh
# Needs LibreOffice Calc and pdftoppm (poppler-utils).
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
sh examples/demo.sh "$work/demo"

# picture NAME FILE HEIGHT TOP: first page, 1200 points wide, margins cut
picture() {
    soffice "-env:UserInstallation=file://$work/profile" --headless --convert-to pdf \
        --outdir "$work" "$work/demo/sheets/$2.xlsx" >/dev/null 2>&1
    pdftoppm -png -singlefile -f 1 -l 1 -scale-to-x 1200 -scale-to-y -1 \
        -x 0 -y "$4" -W 1200 -H "$3" "$work/$(basename "$2").pdf" "docs/pictures/$1"
}

picture shift_material 2026-03-11_Early/Hem_robot_material 1190 60
picture station_setup setup/Block_potting_setup 650 50
picture cure_board 2026-03-02_Early/Gasket_robot_cure_board 700 50

python examples/patterns.py "$work/patterns.xlsx"
soffice "-env:UserInstallation=file://$work/profile" --headless --convert-to pdf \
    --outdir "$work" "$work/patterns.xlsx" >/dev/null 2>&1
page=$(pdftotext "$work/patterns.pdf" - | awk 'BEGIN { RS = "\f" } /^Pressed joints: from/ { print NR; exit }')
pdftoppm -png -singlefile -f "$page" -l "$page" -scale-to-x 1200 -scale-to-y -1 \
    -x 0 -y 60 -W 1200 -H 350 "$work/patterns.pdf" docs/pictures/cure_patterns
