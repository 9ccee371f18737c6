"""What changes if parts come faster, more is scrapped or the shop is warmer?

python examples/what_if.py plan.xlsx
"""

import sys

from dispense.base.terminal import table
from dispense.forecast.whatif import change_scrap, change_takt, change_temperature, what_if
from dispense.plan.read import load_plan

ML = 1e6  # nanolitres in a millilitre

plan = load_plan(sys.argv[1])
result = what_if(plan, [change_takt(0.9), change_scrap(0.01), change_temperature(5.0)], weeks=1)
rows = []
for key in result.now.causes:
    material, component = key
    name = f"{material} {component.upper()}"
    rows.append([name, *(round(each.use(key) / ML) for each in (result.now, *result.alone))])
print(table(["used in a week [mL]", "now", *(each.name for each in result.alone)], rows))
