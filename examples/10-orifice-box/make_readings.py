"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/10-orifice-box/make_readings.py`.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1010
FLOW = 398.0  # through the hole, the truth [m3/h]
CELSIUS, PRESSURE, HUMIDITY = 23.1, 833.6, 0.29
HOLE = 0.12015  # nominally 120 mm [m]
COEFFICIENT = 0.609  # of this hole: 1.6 % above the equation's, its edge is not quite a standard's

random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
drops = []
for unsteady in 0.004 * random.standard_normal(6):
    velocity = FLOW / 3600 * (1 + unsteady) / (math.pi / 4 * HOLE**2)
    drop = rho / 2 * (velocity / COEFFICIENT) ** 2
    drop *= 1 + 2 * 0.25 * drop / (100 * PRESSURE)  # the air expands by a little
    drops.append(drop * invent.MANOMETER_GAIN + 0.1)  # the manometer stood 0.1 Pa from zero by then

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
