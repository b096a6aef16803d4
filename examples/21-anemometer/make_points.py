"""Draws the invented points of this example into points.csv.

Run it with `python examples/21-anemometer/make_points.py`; a folder as its argument takes the file instead.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 2101
VELOCITIES = (0.8, 1.2, 1.8, 2.5, 3.5, 4.5, 6.0, 7.5)  # nearly [m/s]
START, SLOPE = 0.07, 1.015  # the vane shows (v - start)/slope: it starts late and runs slow
REFERENCE = 1.002  # REF-3 shows 0.2 % too much
NOISE = 0.012  # of the vane [m/s]
PIVOT = 7.2  # reading that the calibration states its numbers for [m/s]


def main() -> None:
    random = np.random.default_rng(SEED)
    lines = ["indication [m/s],reference [m/s],direction"]
    for direction in ("up", "down"):
        for nominal in VELOCITIES if direction == "up" else reversed(VELOCITIES):
            velocity = nominal * random.uniform(0.97, 1.03)
            vane = (velocity - START) / SLOPE + NOISE * random.standard_normal()
            lines.append(f"{vane:.2f},{velocity * REFERENCE:.2f},{direction}")
    invent.write("points.csv", lines)
    print(f"Invented truth: {START + SLOPE * PIVOT:.3f} m/s")


if __name__ == "__main__":
    main()
