"""Finds where the invented fan of the story, and not that of its maker's table, meets the panel.

Run it with `python examples/23-stalled-fan/make_truth.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

FLOW = (
    np.array([0, 250, 450, 600, 690, 760, 830, 920, 1100, 1350, 1600, 1900]) * 0.985
)  # m3/h: it moves less than stated
PRESSURE = np.array([165, 128, 104, 85, 75, 84, 103, 112, 105, 84, 52, 0]) * 1.015  # Pa, in air of 1.2 kg/m3
FACE, LINEAR, QUADRATIC = 0.53**2, 91.0, 5.6  # the panel, in air of 1.2 kg/m3 and 18.2 uPa s
CELSIUS, PRESSURE_AIR, HUMIDITY = 21.5, 833.0, 0.28

rho = invent.density(CELSIUS, PRESSURE_AIR, HUMIDITY * invent.saturation(CELSIUS))
mu = 1.458e-6 * (CELSIUS + 273.15) ** 1.5 / (CELSIUS + 383.55)
flow = np.linspace(500.0, 1200.0, 700_001)
velocity = flow / 3600 / FACE
drop = LINEAR * velocity * mu / 18.2e-6 + QUADRATIC * velocity**2 * rho / 1.2
apart = np.interp(flow, FLOW, PRESSURE) * rho / 1.2 - drop
crossings = flow[np.flatnonzero((apart[:-1] > 0) & (apart[1:] <= 0))]
print(f"Invented truth: {crossings[-1]:.0f} m3/h")
