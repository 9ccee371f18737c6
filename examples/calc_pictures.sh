#!/bin/sh
# Shows the add-in in a real window of LibreOffice Calc, worked with real keys: sh examples/calc_pictures.sh FOLDER
# Writes calc_check.png, calc_try.png and calc_linked.png into FOLDER; look at them before they go to docs/pictures.
# Needs LibreOffice Calc, and the packages xvfb, xdotool and imagemagick. What stands where in the windows is
# that of LibreOffice 7.4 with its plainest look.
set -eu
out=$(mkdir -p "$1" && cd "$1" && pwd)
cd "$(dirname "$0")/.."
work=${TMPDIR:-/tmp}/plant # its name is seen in a picture
mkdir "$work"
screen=${SCREEN_NUMBER:-78}
export PYTHONPATH="$PWD" DISPLAY=":$screen" SAL_USE_VCLPLUGIN=gen
Xvfb ":$screen" -screen 0 1560x960x24 >/dev/null 2>&1 &
server=$!
office=
trap 'kill $office $server 2>/dev/null || true; rm -rf "$work"' EXIT

python=${PYTHON:-python}
"$python" -m dispense new "$work/plan.xlsx" --demo >/dev/null
"$python" -c 'import sys; from dispense.addin.calc import office; office.install(profile=sys.argv[1])' "$work/profile"
soffice "-env:UserInstallation=file://$work/profile" --norestore --nologo "$work/plan.xlsx" >"$work/log" 2>&1 &
office=$!

# shown NAME: wait for a window of that name, in front and as large as the screen
shown() {
    window=$(xdotool search --sync --onlyvisible --name "$1" | tail -1)
    sleep "${PAUSE:-6}"
    xdotool windowmove "$window" 0 0 windowsize "$window" "$WIDTH" "$HEIGHT" windowraise "$window" windowfocus "$window"
    sleep 2
}

# at CELL: to a cell by the box of names
at() {
    xdotool mousemove 60 89 click 1
    sleep 0.5
    xdotool key ctrl+a type "$1"
    xdotool key Return
    sleep 1
}

# put CELL TEXT: as it is typed
put() {
    at "$1"
    xdotool type --delay 20 -- "$2"
    xdotool key Return
    sleep 1
}

# in_dialog KEY ...: keys to what stands in front of the window, for which nothing else hands over the keys here
in_dialog() {
    xdotool mousemove 400 250
    sleep 0.5
    xdotool windowfocus "$(xdotool getmouselocation --shell | sed -n 's/^WINDOW=//p')"
    sleep 0.5
    xdotool key "$@"
    sleep 1
    xdotool windowfocus "$window"
    sleep 0.5
}

# taken NAME: what the screen shows
taken() {
    xdotool mousemove 700 5
    sleep 1
    import -window root -crop "${WIDTH}x$HEIGHT+0+0" +repage +dither -colors 64 "png8:$out/$1.png"
}

# entry NUMBER: of the menu Dispense, by its keys
entry() {
    xdotool mousemove 395 9 click 1
    sleep 1
    for _ in $(seq "$1"); do
        xdotool key Down
    done
    xdotool key Return
    sleep 1
}

WIDTH=800 HEIGHT=600
shown "plan.xlsx"
put Beads.C4 "Hem robbot"
in_dialog Tab Return # the plan warns of it itself: taken all the same
xdotool mousemove 15 32 click 1 # Check, the first button of the toolbar
sleep 8
at Beads.A1
taken calc_check
put Beads.C4 "Hem robot"
sleep 3

WIDTH=1560 HEIGHT=940
entry 4 # Try a station…
sleep 4
in_dialog Return
shown "plan_try.xlsx"
xdotool key ctrl+F5 # without the pane at the side
put Station.B10 15
sleep 3
at Station.A1
taken calc_try

xdotool windowclose "$window"
shown "plan.xlsx"
entry 5 # Calculation sheets
WIDTH=1240 HEIGHT=732
shown "plan_calc.xlsx"
put Bead.D16 2.6
sleep 2
at Bead.A1
taken calc_linked
