"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/15-leaky-chamber/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1511
FLOW = 905.0  # the truth: through the cleaner, at the density before the nozzles [m3/h]
CELSIUS, PRESSURE, HUMIDITY = 22.6, 833.0, 0.31
THROATS = [0.15005, 0.04996]
GAUGE = -64.0  # in the receiving chamber [Pa]
LEAK, EXPONENT = 31.5, 0.58  # true leakage at 50 Pa [m3/h]; the leak test said 33 and 0.61

random = np.random.default_rng(SEED)
vapour = HUMIDITY * invent.saturation(CELSIUS)
rho = invent.density(CELSIUS, PRESSURE, vapour)
before_nozzles = rho * (PRESSURE + GAUGE / 100) / PRESSURE
leaking_in = LEAK * (abs(GAUGE) / 50) ** EXPONENT * rho / before_nozzles
drops = []
for unsteady in 0.003 * random.standard_normal(6):
    flow = (FLOW + leaking_in) / 3600 * (1 + unsteady)
    drop = invent.nozzle_drop(flow, THROATS, before_nozzles, PRESSURE + GAUGE / 100, CELSIUS)
    drops.append(drop * invent.MANOMETER_GAIN)

print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print("static =", invent.show([GAUGE * invent.MANOMETER_GAIN], "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
