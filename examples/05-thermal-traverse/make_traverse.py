"""Draws the invented grid of this example: three passes of a heated probe in thin air.

Run it with `python examples/05-thermal-traverse/make_traverse.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 505
CELSIUS, WET, PRESSURE, STATIC = 23.6, 12.7, 831.8, 55.0  # [degC, degC, hPa, Pa]
REFERENCE = 1.199  # density at which the display is true; the datasheet says 1.20 [kg/m3]
PROBE = 0.988  # and even there it shows 1.2 % too little
DIAMETER = 0.3146  # nominally 315 mm [m]
FASTEST = 6.0  # [m/s]
YAW = np.radians(2.5)
STEM = 0.0016 / (np.pi / 4 * 0.315**2)  # share of the duct the stem takes up when the probe stands at the middle
# log-Tchebycheff rule for a circle, four points on a radius: four-decimal distances from the wall, over the diameter
PLACES = np.array([0.0238, 0.1000, 0.1938, 0.3343, 0.6657, 0.8062, 0.9000, 0.9762])


def profile(r, angle):
    """Power law, a little faster towards the bottom."""
    return FASTEST * (1 - r) ** (1 / 7) * (1 - 0.05 * r * np.sin(angle))


random = np.random.default_rng(SEED)
vapour = invent.vapour_from_wet_bulb(CELSIUS, WET, PRESSURE)
rho = invent.density(CELSIUS, PRESSURE + STATIC / 100, vapour)
truth = invent.mean_over_circle(profile) * np.cos(YAW) * np.pi / 4 * DIAMETER**2 * 3600
lines = ["pass,diameter,point,depth [mm],velocity [m/s]"]
for sweep in (1, 2, 3):
    level = 1 + 0.003 * random.standard_normal()
    for diameter in (1, 2):
        for point, place in enumerate(PLACES, 1):
            across = 2 * place - 1
            angle = (diameter - 1) * np.pi / 2 + (np.pi if across < 0 else 0.0)
            velocity = profile(abs(across), angle) * level * (1 + 0.65 * STEM)  # the air speeds up round the stem
            shown = velocity * rho / REFERENCE * PROBE * (1 + 0.015 * random.standard_normal())
            lines.append(f"{sweep},{diameter},{point},{315 * place:.1f},{shown:.2f}")
invent.write("traverse.csv", lines)

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("wet_bulb =", invent.show([WET - 0.1], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("static =", invent.show([STATIC * invent.MANOMETER_GAIN], "Pa", 0))
print(f"Invented truth: {truth:.0f} m3/h")
