"""Draws the invented grid of this example: two passes with a manometer that shows velocity, close behind an elbow.

Run it with `python examples/08-pitot-display/make_traverse.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 808
CELSIUS, PRESSURE, HUMIDITY, STATIC = 22.8, 832.9, 0.28, 92.0  # [degC, hPa, 1, Pa]
INCH_OF_MERCURY = 33.86389  # [hPa]
INCH_OF_WATER = 249.08891  # [Pa]
SET = 1.2014  # density the display is set to, 0.075 lb/ft3 [kg/m3]
WIDTH, HEIGHT = 14.05 * 0.0254, 9.98 * 0.0254  # nominally 14 by 10 in [m]
FASTEST = 1450.0  # [fpm]
YAW = np.radians(8.0)
GAIN = 0.995  # of probe and manometer together, on velocity


def profile(x, y):
    """Power laws towards the walls, thrown to the outside of the elbow."""
    walls = ((1 - abs(2 * x - 1)) * (1 - abs(2 * y - 1))) ** (1 / 7)
    return FASTEST * walls * (1 + 0.75 * (x - 0.5))


random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE + STATIC / 100, HUMIDITY * invent.saturation(CELSIUS))
area = WIDTH * HEIGHT / 0.3048**2
truth = invent.mean_over_rectangle(profile) * np.cos(YAW) * area
lines = ["pass,row,column,x [in],y [in],velocity [fpm]"]
for sweep in (1, 2):
    for row in range(1, 5):
        for column in range(1, 6):
            x, y = (column - 0.5) / 5, (row - 0.5) / 4  # equal areas, read at their middles
            velocity = profile(x, y) * (1 + 0.02 * random.standard_normal())
            shown = velocity * np.sqrt(rho / SET) * GAIN
            lines.append(f"{sweep},{row},{column},{14 * x:.2f},{10 * y:.2f},{shown:.0f}")
invent.write("traverse.csv", lines)

print("temperature =", invent.show([(CELSIUS + invent.THERMOMETER) * 1.8 + 32], "degF", 1))
print("pressure =", invent.show([(PRESSURE + invent.BAROMETER) / INCH_OF_MERCURY], "inHg", 2))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("static =", invent.show([STATIC / INCH_OF_WATER], "inH2O", 2))
print(f"Invented truth: {truth:.0f} cfm")
