"""Draws the invented loading and charge of a panel in use into loading.csv and charge.csv, and solves for the truth.

Run it with `python examples/24-when-to-change/make_readings.py`; a folder as its argument takes the files instead.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 2401
CELSIUS, PRESSURE, HUMIDITY = 24.0, 832.0, 0.27
X = np.array([0, 0.1, 0.2, 0.28, 0.34, 0.4, 0.46, 0.54, 0.62, 0.7, 0.78, 0.86, 0.93, 1.0])  # of free air
SHAPE = (1 - X) * (1 + 0.6 * X) - 0.17 * np.exp(-(((X - 0.38) / 0.09) ** 2))
FLOW, SHUT = 1675.0 * X, 75.5  # this fan moves 2.6 % less than the typical one, at 2 % more pressure
FACE, LINEAR, QUADRATIC = 0.495**2, 30.5, 9.2  # the panel, in air of 1.2 kg/m3 and 18.2 uPa s


def main() -> None:
    random = np.random.default_rng(SEED)
    lines = ["time [h],drop [Pa]"]
    for hours in (0, 200, 400, 700, 1000, 1400, 1800):
        shown = 52.5 + 0.018 * hours + 1.1e-5 * hours**2 + (0.8 * random.standard_normal() if hours else 0.0)
        lines.append(f"{hours},{shown:.1f}")
    invent.write("loading.csv", lines)
    lines = ["time [h],efficiency [%]"]
    for hours in (0, 2, 10, 40, 120, 300, 700, 1800):
        shown = 52 + 33 * math.exp(-((hours / 60) ** 0.55)) + (0.6 * random.standard_normal() if hours else 0.0)
        lines.append(f"{hours},{shown:.1f}")
    invent.write("charge.csv", lines)

    rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
    mu = 1.458e-6 * (CELSIUS + 273.15) ** 1.5 / (CELSIUS + 383.55)
    flow = np.linspace(900.0, 1675.0, 775_001)
    velocity = flow / 3600 / (4 * FACE)
    drop = LINEAR * velocity * mu / 18.2e-6 + QUADRATIC * velocity**2 * rho / 1.2
    apart = np.interp(flow, FLOW, SHUT * SHAPE) * rho / 1.2 - drop
    print(f"Invented truth: {flow[np.argmax(apart <= 0)]:.0f} m3/h")


if __name__ == "__main__":
    main()
