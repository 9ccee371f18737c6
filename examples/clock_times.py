"""When do mixer changes, purges and container changes fall in a shift?

python examples/clock_times.py plan.xlsx 2026-03-02 Early "Hem robot"
"""

import datetime
import sys

from dispense.base.clock import hhmm
from dispense.plan.read import load_plan
from dispense.shift import play_plan

path, day, shift, station = sys.argv[1:]
date = datetime.date.fromisoformat(day)
plan = load_plan(path)
for result in play_plan(plan, until=(date, shift), stations=[station]):
    if (result.date, result.shift, result.station.station) == (date, shift, station):
        for event in result.events:
            if event.kind in {"container", "purge", "mixer", "off"}:
                print(hhmm(event.clock), event.text)
        for letter in result.letters:
            print(
                f"{letter.upper()}: {result.drawn(letter) / 1e6:.1f} mL used,",
                f"balance {result.balance(letter)} nL",
            )
