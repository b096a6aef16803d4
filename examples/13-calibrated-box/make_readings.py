"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/13-calibrated-box/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

sys.path.append(str(Path(__file__).resolve().parents[2] / "calibrations"))
import make_demo

SEED = 1302
FLOW = 612.0  # the truth [m3/h], air in the box
CELSIUS, PRESSURE, HUMIDITY = 26.4, 888.5, 0.34  # down in the valley
REMOUNTED = 0.9925  # strapped to another unit, the box passes 0.75 % less at the same drop

random = np.random.default_rng(SEED)
mu = make_demo.viscosity(CELSIUS)
drops = []
for unsteady in 0.005 * random.standard_normal(6):
    flow = FLOW / 3600 * (1 + unsteady) / REMOUNTED
    rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
    low, high = 0.0, 1000.0
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (middle, high) if make_demo.box_flow(middle, rho, mu) < flow else (low, middle)
    drops.append(low * invent.MANOMETER_GAIN + 0.2)  # the manometer stood 0.2 Pa from zero by then

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
