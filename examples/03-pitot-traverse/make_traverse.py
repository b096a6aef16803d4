"""Draws the invented grid of this example: three passes of a pitot-static probe, a fixed monitor beside it.

Run it with `python examples/03-pitot-traverse/make_traverse.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 303
CELSIUS, PRESSURE, HUMIDITY = 21.4, 833.6, 0.31  # air in the duct [degC, hPa, 1]
STATIC = -142.0  # [Pa]
DIAMETER = 0.4006  # nominally 400 mm [m]
FASTEST = 9.1  # at the middle of the duct [m/s]
YAW = np.radians(3.0)
PROBE = 1.002  # its true coefficient; the certificate says 0.998
# log-linear rule, four points on a radius: printed three-decimal distances from the wall, over the diameter
PLACES = np.array([0.021, 0.117, 0.184, 0.345, 0.655, 0.816, 0.883, 0.979])


def profile(r, angle):
    """Power law, and a little faster on the outside of the bend far upstream."""
    return FASTEST * (1 - r) ** (1 / 7.5) * (1 + 0.07 * r * np.cos(angle - 0.6))


random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE + STATIC / 100, HUMIDITY * invent.saturation(CELSIUS))
truth = invent.mean_over_circle(profile) * np.cos(YAW) * np.pi / 4 * DIAMETER**2 * 3600

count = 3 * 2 * len(PLACES)
fan = 1 - 0.05 * np.linspace(0, 1, count)  # the drive creeps: 5 % of the pressure, 2.5 % of the flow
fan /= np.mean(fan)
lines = ["pass,diameter,point,depth [mm],drop [Pa],monitor [Pa]"]
for i in range(count):
    sweep, diameter, point = i // 16 + 1, i // 8 % 2, i % 8
    depth = PLACES[point] * 400
    across = (depth + 0.6 * random.standard_normal()) / 400 * 2 - 1  # set by a tape mark, to within half a millimetre
    angle = diameter * np.pi / 2 + (np.pi if across < 0 else 0.0)
    velocity = profile(min(abs(across), 0.999), angle)
    drop = 0.5 * rho * (velocity / PROBE) ** 2 * fan[i] * (1 + 0.015 * random.standard_normal())
    monitor = 44.0 * fan[i] * (1 + 0.004 * random.standard_normal())
    zero = 0.1 + 0.1 * i / count  # the manometer's own zero wanders too
    shown = [x * invent.MANOMETER_GAIN + zero for x in (drop, monitor)]
    lines.append(f"{sweep},{diameter + 1},{point + 1},{depth:.0f},{shown[0]:.1f},{shown[1]:.1f}")
invent.write("traverse.csv", lines)

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("static =", invent.show([STATIC * invent.MANOMETER_GAIN], "Pa", 0))
print(f"Invented truth: {truth:.0f} m3/h")
