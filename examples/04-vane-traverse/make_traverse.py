"""Draws the invented grid of this example: three passes of a rotating vane, one reading missed.

Run it with `python examples/04-vane-traverse/make_traverse.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 404
WIDTH, HEIGHT = 0.6015, 0.3990  # nominally 600 by 400 mm [m]
FASTEST = 3.9  # [m/s]
YAW = np.radians(4.0)
VANE = 1.009  # the vane shows 0.9 % too much
CELSIUS, PRESSURE, HUMIDITY, STATIC = 23.8, 830.2, 0.26, -38.0  # [degC, hPa, 1, Pa]
# log-Tchebycheff rule for 6 and 5 points: printed three-decimal distances from the wall, over the side
ACROSS = np.array([0.061, 0.235, 0.437, 0.563, 0.765, 0.939])
DOWN = np.array([0.074, 0.288, 0.500, 0.712, 0.926])


def profile(x, y):
    """Power laws towards the four walls, and a tilt across the width."""
    return FASTEST * ((1 - abs(2 * x - 1)) * (1 - abs(2 * y - 1))) ** (1 / 8) * (1 + 0.10 * (x - 0.5))


random = np.random.default_rng(SEED)
truth = invent.mean_over_rectangle(profile) * np.cos(YAW) * WIDTH * HEIGHT * 3600
lines = ["pass,row,column,x [mm],y [mm],velocity [m/s],note"]
for sweep in (1, 2, 3):
    level = 1 + 0.004 * random.standard_normal()
    for row, y in enumerate(DOWN, 1):
        for column, x in enumerate(ACROSS, 1):
            velocity = profile(x, y) * level * (1 + 0.02 * random.standard_normal()) * VANE
            missed = (sweep, row, column) == (2, 3, 4)
            cells = [sweep, row, column, f"{600 * x:.0f}", f"{400 * y:.0f}", "" if missed else f"{velocity:.2f}",
                     "display went dark" if missed else ""]  # fmt: skip
            lines.append(",".join(map(str, cells)))
invent.write("traverse.csv", lines)

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("static =", invent.show([STATIC * invent.MANOMETER_GAIN], "Pa", 0))
print(f"Invented truth: {truth:.0f} m3/h")
