"""Draws the invented readings that were taken after the plan and prints them as they stand in measured.toml.

Run it with `python examples/18-plan/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1812
FLOW = 741.0  # in front of the nozzle, the truth [m3/h]
CELSIUS, PRESSURE, HUMIDITY = 23.6, 836.9, 0.29  # [degC, hPa, 1]: 7 hPa more than the altitude alone would have it
THROAT = 0.09997  # nominally 100 mm [m]
COEFFICIENT = 0.996  # the nozzle passes 0.4 % less than the standard's equation has it

random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
drops = []
for unsteady in 0.007 * random.standard_normal(5):
    flow = FLOW / 3600 * (1 + unsteady)
    drop = invent.nozzle_drop(flow / COEFFICIENT, [THROAT], rho, PRESSURE, CELSIUS)
    drops.append(drop * invent.MANOMETER_GAIN + 0.1)  # 0.1 Pa from zero

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
