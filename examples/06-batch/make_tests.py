"""Draws the invented table of this example: two hundred cleaners, one line each, a few of them in trouble.

Run it with `python examples/06-batch/make_tests.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 606
UNITS = 200
THROATS = (0.14993, 0.10004)  # nominally 150 and 100 mm [m]
COEFFICIENT = 0.997
HUMIDITY = 0.27

random = np.random.default_rng(SEED)


def shown_drop(flow, celsius, pressure):
    """What the manometer shows when the nozzles pass `flow` [m3/h], signed."""
    rho = invent.density(celsius, pressure, HUMIDITY * invent.saturation(24.0))
    through = abs(flow) * (1 + 0.003 * random.standard_normal()) / 3600 / COEFFICIENT
    drop = invent.nozzle_drop(through, THROATS, rho, pressure, celsius)
    return float(np.copysign(drop, flow)) * invent.MANOMETER_GAIN + 0.15 + 0.1 * random.standard_normal()


# the pattern: cleaner LF-000, read six times
pattern = [shown_drop(1396.0, 24.2, 832.4) for _ in range(6)]

TROUBLE = {
    23: (0.0, "fan not switched on"),
    58: (262.0, "shipping film left on the filters"),
    59: (239.0, "shipping film left on the filters"),
    117: (0.0, "plug pulled while the blades turned down"),
    140: (-1381.0, "hoses swapped"),
    176: (611.0, "two filters bent and half closed"),
}
lines = ["cleaner,air.meter.temperature [degC],air.meter.pressure [hPa],drop [Pa],invented truth m3/h,remark"]
for i in range(1, UNITS + 1):
    hour = (i - 1) / UNITS  # two long days, the second afternoon hot
    celsius = 22.5 + 5.0 * hour + (7.0 if 150 <= i <= 160 else 0.0) + 0.2 * random.standard_normal()
    pressure = 832.4 - 2.5 * hour
    flow, remark = TROUBLE.get(i, (1396.0 * (1 + 0.03 * random.standard_normal()), ""))
    drop = round(shown_drop(flow, celsius, pressure), 1) + 0.0
    lines.append(f"LF-{i:03d},{celsius + invent.THERMOMETER:.1f},{pressure + invent.BAROMETER:.1f},{drop:.1f},"
                 f"{flow:.1f},{remark}")  # fmt: skip
invent.write("tests.csv", lines)

print("drop =", invent.show(pattern, "Pa", 1))
