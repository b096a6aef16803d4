"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/09-orifice-plate/make_readings.py`.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 909
FLOW = 561.0  # at the upstream tapping, the truth [m3/h]
CELSIUS, PRESSURE, HUMIDITY = 25.6, 831.6, 0.24  # behind the fan [degC, hPa, 1]
STATIC = 268.0  # at the upstream tapping, above the barometer's [Pa]
BORE, PIPE = 0.12003, 0.2028  # nominally 120 and 203.1 mm [m]
COEFFICIENT = 0.6088  # of this plate where it stands: 0.6 % less than the standard's equation has it

random = np.random.default_rng(SEED)
upstream = PRESSURE + STATIC / 100
rho = invent.density(CELSIUS, upstream, HUMIDITY * invent.saturation(CELSIUS))
fourth = (BORE / PIPE) ** 4
drops = []
for unsteady in 0.004 * random.standard_normal(6):
    speed = FLOW / 3600 * (1 + unsteady) / (COEFFICIENT * math.pi / 4 * BORE**2)
    incompressible = rho / 2 * speed**2 * (1 - fourth)
    # an older form of the expansibility than the tool's: 1 - (0.41 + 0.35 beta^4) dp/(1.4 p), from memory
    expansibility = 1 - (0.41 + 0.35 * fourth) * incompressible / (1.4 * 100 * upstream)
    drops.append(incompressible / expansibility**2 * invent.MANOMETER_GAIN + 0.1)  # 0.1 Pa from zero

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print("static =", invent.show([STATIC * invent.MANOMETER_GAIN + 0.1], "Pa", 0))
print(f"Invented truth: {FLOW:.0f} m3/h")
