"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/16-bell-mouth/make_readings.py`.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1616
FLOW = 1012.0  # room air drawn in, the truth [m3/h]
CELSIUS, PRESSURE, HUMIDITY = 22.4, 831.9, 0.31
THROAT = 0.20008  # nominally 200 mm [m]
COEFFICIENT = 0.968  # the certificate has it 0.4 % higher

random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
drops = []
for unsteady in 0.005 * random.standard_normal(8):
    velocity = FLOW / 3600 * (1 + unsteady) / (math.pi / 4 * THROAT**2)
    drop = rho / 2 * (velocity / COEFFICIENT) ** 2
    drop *= 1 + 2 * 0.54 * drop / (100 * PRESSURE)  # the air expands by a little
    drops.append(drop * invent.MANOMETER_GAIN + 0.1)  # the manometer stood 0.1 Pa from zero by then

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
