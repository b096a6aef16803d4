"""Draws the invented grid of this example: three passes of a rotating vane in front of a filter bank.

Run it with `python examples/12-face-traverse/make_traverse.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1207
WIDTH, HEIGHT, STRIP = 1.2185, 0.6105, 0.0255  # of the opening, and the frame round it [m]
ACROSS, DOWN = 8, 4
MIDDLE = 1.71  # [m/s]
VANE = 1.009  # the vane shows 0.9 % too much
FACE = 0.955  # true flow over that of an anemometer held so near pleats; the crew does not know it
CELSIUS, PRESSURE, HUMIDITY = 22.4, 831.4, 0.29


def profile(x, y):
    """Faster where the return duct blows at the bank, slower in the corners."""
    return MIDDLE * (1 + 0.16 * (x - 0.4) - 0.22 * (2 * x - 1) ** 2 * (2 * y - 1) ** 2 + 0.06 * (y - 0.5))


random = np.random.default_rng(SEED)
area = (WIDTH - 2 * STRIP) * (HEIGHT - 2 * STRIP)
truth = invent.mean_over_rectangle(profile) * FACE * area * 3600
pleats = 1 + 0.03 * random.standard_normal((DOWN, ACROSS))  # what stands at one place, pass after pass
lines = ["pass,row,column,velocity [m/s]"]
for sweep in (1, 2, 3):
    level = 1 + 0.004 * random.standard_normal()
    for row in range(DOWN):
        for column in range(ACROSS):
            here = profile((column + 0.5) / ACROSS, (row + 0.5) / DOWN) * pleats[row, column]
            velocity = here * level * (1 + 0.02 * random.standard_normal()) * VANE
            lines.append(f"{sweep},{row + 1},{column + 1},{velocity:.2f}")
invent.write("face.csv", lines)

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print(f"Invented truth: {truth:.0f} m3/h")
