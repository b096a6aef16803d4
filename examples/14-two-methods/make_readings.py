"""Draws the invented readings of this example: a nozzle chamber behind a duct, and a pitot-static probe in the duct.

Run it with `python examples/14-two-methods/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1404
FLOW = 1371.0  # room air drawn in by the filters, the truth [m3/h]
ROOM, PRESSURE, HUMIDITY = 23.1, 833.0, 0.29  # [degC, hPa, 1]
HEAT = 80.0  # W of the fan's 93 that end up in the air
DUCT, STATIC = 0.2503, 41.0  # nominally 250 mm [m]; in the duct, in front of the chamber [Pa]
THROATS = (0.14993, 0.10004)  # nominally 150 and 100 mm [m]
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it
STEM = 5e-4  # what the stem takes away of the duct's section, on the average; the air is faster past it [m2]
YAW = np.radians(4.0)
PROBE = 1.002  # its true coefficient; the certificate says 0.998
# log-linear rule, four points on a radius: printed three-decimal distances from the wall, over the diameter
PLACES = np.array([0.021, 0.117, 0.184, 0.345, 0.655, 0.816, 0.883, 0.979])


def profile(r, angle):
    """Power law over its value in the middle, and a little faster on one side."""
    return (1 - r) ** (1 / 7.2) * (1 + 0.05 * r * np.cos(angle + 0.9))


random = np.random.default_rng(SEED)
vapour = HUMIDITY * invent.saturation(ROOM)
mass_flow = FLOW / 3600 * invent.density(ROOM, PRESSURE, vapour)
warm = ROOM + HEAT / (mass_flow * 1006.0)

# the duct, through three passes
rho = invent.density(warm, PRESSURE + STATIC / 100, vapour)
mean = mass_flow / rho / (np.pi / 4 * DUCT**2)
middle = mean * (1 + 0.75 * STEM / (np.pi / 4 * DUCT**2)) / np.cos(YAW) / invent.mean_over_circle(profile)
lines = ["pass,diameter,point,depth [mm],drop [Pa]"]
for i in range(3 * 2 * len(PLACES)):
    sweep, diameter, point = i // 16 + 1, i // 8 % 2, i % 8
    depth = PLACES[point] * 250
    across = (depth + 0.4 * random.standard_normal()) / 250 * 2 - 1  # set by a tape mark, to within half a millimetre
    angle = diameter * np.pi / 2 + (np.pi if across < 0 else 0.0)
    velocity = middle * profile(min(abs(across), 0.999), angle) * (1 + 0.004 * random.standard_normal())
    drop = 0.5 * rho * (velocity / PROBE) ** 2 * (1 + 0.01 * random.standard_normal())
    lines.append(f"{sweep},{diameter + 1},{point + 1},{depth:.0f},{drop * invent.MANOMETER_GAIN + 0.15:.1f}")
invent.write("traverse.csv", lines)

# the nozzles, six times
rho = invent.density(warm, PRESSURE, vapour)
drops = []
for unsteady in 0.003 * random.standard_normal(6):
    flow = mass_flow * (1 + unsteady) / rho
    drop = invent.nozzle_drop(flow / COEFFICIENT, THROATS, rho, PRESSURE, warm)
    drops.append(drop * invent.MANOMETER_GAIN + 0.15)  # the manometer stood 0.15 Pa from zero by then

here = vapour / invent.saturation(warm) + invent.HYGROMETER
print("temperature =", invent.show([warm + invent.THERMOMETER], "degC", 1))
print("relative_humidity =", invent.show([100 * here], "%", 0))
print("temperature =", invent.show([ROOM + invent.THERMOMETER], "degC", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("static =", invent.show([STATIC * invent.MANOMETER_GAIN + 0.15], "Pa", 0))
print("drop =", invent.show(drops, "Pa", 1))
print("power =", invent.show([88.2 * 1.004], "W", 1))  # the watt meter shows 0.4 % too much
print(f"Invented truth: {FLOW:.0f} m3/h")
