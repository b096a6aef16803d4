"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/07-home-made-nozzle/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 707
FLOW = 543.0  # the truth [cfm]
CFM = 0.3048**3 / 60  # [m3/s]
INCH_OF_WATER = 249.08891  # [Pa]
CELSIUS, PRESSURE, HUMIDITY = 23.9, 833.9, 0.25  # the weather stands 3.4 hPa above the standard atmosphere
THROAT = 6.01 * 0.0254  # nominally 6 in [m]
COEFFICIENT = 0.979  # the turned plywood passes 2.1 % less than a machined nozzle
GAIN = 0.996  # of the borrowed manometer

random = np.random.default_rng(SEED)
rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
drops = []
for unsteady in 0.004 * random.standard_normal(5):
    flow = FLOW * CFM * (1 + unsteady)
    drop = invent.nozzle_drop(flow / COEFFICIENT, [THROAT], rho, PRESSURE, CELSIUS)
    drops.append(drop / INCH_OF_WATER * GAIN)

fahrenheit = (CELSIUS + invent.THERMOMETER) * 1.8 + 32
print("temperature =", invent.show([fahrenheit], "degF", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("drop =", invent.show(drops, "inH2O", 3))
print(f"Invented truth: {FLOW:.0f} cfm")
