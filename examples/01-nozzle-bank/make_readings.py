"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/01-nozzle-bank/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 101
FLOW = 1396.0  # room air drawn in by the filters, the truth [m3/h]
ROOM, PRESSURE, HUMIDITY = 24.0, 832.4, 0.27  # [degC, hPa, 1]
HEAT = 78.0  # W of the fan's 92 that end up in the air before the nozzles
THROATS = (0.14993, 0.10004)  # nominally 150 and 100 mm [m]
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it

random = np.random.default_rng(SEED)
vapour = HUMIDITY * invent.saturation(ROOM)
at_filters = invent.density(ROOM, PRESSURE, vapour)
mass_flow = FLOW / 3600 * at_filters
at_nozzles = ROOM + HEAT / (mass_flow * 1006.0)
rho = invent.density(at_nozzles, PRESSURE, vapour)

drops = []
for unsteady in 0.003 * random.standard_normal(6):
    flow = mass_flow * (1 + unsteady) / rho
    drop = invent.nozzle_drop(flow / COEFFICIENT, THROATS, rho, PRESSURE, at_nozzles)
    drops.append(drop * invent.MANOMETER_GAIN + 0.15)  # the manometer stood 0.15 Pa from zero by then

humidity = vapour / invent.saturation(at_nozzles) + invent.HYGROMETER
print("temperature =", invent.show([at_nozzles + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * humidity], "%", 0))
print("drop =", invent.show(drops, "Pa", 1))
print(f"Invented truth: {FLOW:.0f} m3/h")
