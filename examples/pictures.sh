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

# cure NAME BOOK SHEET HEADING TOP HEIGHT: the page of a cure workbook that begins with the heading, and what its
# charts draw: a test says when they draw something else
cure() {
    soffice "-env:UserInstallation=file://$work/profile" --headless --convert-to pdf \
        --outdir "$work" "$work/$2.xlsx" >/dev/null 2>&1
    page=$(pdftotext "$work/$2.pdf" - | awk -v head="$4" 'BEGIN { RS = "\f" } index($0, head) == 1 { print NR; exit }')
    pdftoppm -png -singlefile -f "$page" -l "$page" -scale-to-x 1200 -scale-to-y -1 \
        -x 0 -y "$5" -W 1200 -H "$6" "$work/$2.pdf" "docs/pictures/$1"
    python examples/drawn.py "$1" "$work/$2.xlsx" "$3" docs/pictures/drawn.json
}

python -m dispense new "$work/plan.xlsx" --demo
# a pour above its limit ends with 3
python -m dispense cure "$work/plan.xlsx" --station "Block potting" --out "$work/pot.xlsx" >/dev/null || [ $? = 3 ]
PYTHONPATH=. python examples/patterns.py "$work/patterns.xlsx"
cure cure_working_life pot "Pot life" "Pot life on the day" 50 600
cure cure_exotherm pot "Exotherm" "Exotherm: Block" 50 800
cure cure_patterns patterns "Pressed joints" "Patterns seen from above" 60 580
