#!/bin/sh
# Renders the pictures of docs/pictures from the demo: sh examples/pictures.sh [NAME ...]
# With names only those. Needs LibreOffice Calc, poppler-utils (pdftoppm) and the packages of the tests.
# Beside each picture docs/pictures/drawn.json keeps what its page shows; a test says when that is another.
set -eu
cd "$(dirname "$0")/.."
wanted=" $* "
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export PYTHONPATH=.

# paper BOOK: the workbook as a PDF beside it, once
paper() {
    [ -e "$work/$(basename "$1" .xlsx).pdf" ] || soffice "-env:UserInstallation=file://$work/profile" --headless \
        --convert-to pdf --outdir "$work" "$work/$1" >/dev/null 2>&1
}

# asked NAME ...: whether one of these pictures is made
asked() {
    for each in "$@"; do
        case $wanted in "  " | *" $each "*) return 0 ;; esac
    done
    return 1
}

# picture NAME BOOK SHEET PAGE TOP HEIGHT ROWS [ACROSS]: of a page, given by its number or by the words it begins with,
# the strip from TOP on, HEIGHT dots high and 1200 wide where the page is ACROSS (1200); it shows ROWS rows of the
# sheet, or with 0 its charts
picture() {
    asked "$1" || return 0
    paper "$2"
    pdf=$work/$(basename "$2" .xlsx).pdf
    case $4 in
    [0-9]*) page=$4 ;;
    *) page=$(pdftotext "$pdf" - | awk -v head="$4" 'BEGIN { RS = "\f" } index($0, head) == 1 { print NR; exit }') ;;
    esac
    pdftoppm -png -singlefile -f "$page" -l "$page" -scale-to-x "${8:-1200}" -scale-to-y -1 \
        -x 0 -y "$5" -W 1200 -H "$6" "$pdf" "docs/pictures/$1"
    python examples/drawn.py "$1" "$work/$2" "$3" "$7" docs/pictures/drawn.json
}

python -m dispense new "$work/plan.xlsx" --demo
python -m dispense fill "$work/plan.xlsx" --out "$work/sheets" --date 2026-03-02 --stamp "2026-03-01 12:00" \
    --station "Hem robot" --station "Block potting" --station "Gasket robot" >/dev/null
early=sheets/2026-03-02_Early
picture plan_start plan.xlsx Start 1 50 800 24
picture plan_form plan.xlsx "Station form" "Station form" 50 800 30
picture plan_beads plan.xlsx Beads Beads 90 400 8 2000
picture shift_material $early/Hem_robot_material.xlsx Times 1 60 1190 50
picture shift_amounts $early/Hem_robot_material.xlsx Material 2 20 570 24
picture station_setup sheets/setup/Block_potting_setup.xlsx Setup 1 50 650 30
picture cure_board $early/Gasket_robot_cure_board.xlsx Board 1 40 700 32

if asked forecast; then
    python -m dispense forecast "$work/plan.xlsx" --weeks 2 --out "$work/forecast.xlsx" >/dev/null
fi
picture forecast forecast.xlsx Summary 1 50 800 24

if asked cure_working_life cure_exotherm; then
    # a pour above its limit ends with 3
    python -m dispense cure "$work/plan.xlsx" --station "Block potting" --out "$work/pot.xlsx" >/dev/null || [ $? = 3 ]
fi
if asked cure_patterns; then
    python examples/patterns.py "$work/patterns.xlsx"
fi
picture cure_working_life pot.xlsx "Pot life" "Pot life on the day" 50 600 0
picture cure_exotherm pot.xlsx Exotherm "Exotherm: Block" 50 800 0
picture cure_patterns patterns.xlsx "Pressed joints" "Patterns seen from above" 60 580 0
