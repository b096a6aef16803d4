"""Draws the invented points of two later checks, into january.csv and points.csv (April).

Run it with `python examples/19-later-checks/make_points.py`; a folder as its argument takes the files instead.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

sys.path.append(str(Path(__file__).resolve().parents[2] / "calibrations"))
import make_demo

SEED = 1901
THROATS = (0.14993, 0.10004)  # true diameters of the nominal 150 and 100 mm [m]
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it
NOISE = 0.003
DROPS = (70.0, 110.0, 160.0, 210.0, 260.0)
CHECKS = {  # file: air, and what the box passes by now over what it did
    "january.csv": (17.2, 829.6, 0.28, 0.998),
    "points.csv": (19.4, 836.0, 0.31, 0.955),  # since the hood was dented
}


def main() -> None:
    random = np.random.default_rng(SEED)
    for name, (celsius, pressure, humidity, passes) in CHECKS.items():
        rho = invent.density(celsius, pressure, humidity * invent.saturation(celsius))
        mu = make_demo.viscosity(celsius)
        lines = ["indication [Pa],drop [Pa]"]
        for drop in DROPS:
            drop *= random.uniform(0.97, 1.03)
            flow = passes * float(make_demo.box_flow(drop, rho, mu)) * (1 + NOISE * random.standard_normal())
            nozzle = invent.nozzle_drop(flow / COEFFICIENT, THROATS, rho, pressure, celsius)
            lines.append(",".join(f"{x * invent.MANOMETER_GAIN:.1f}" for x in (drop, nozzle)))
        invent.write(name, lines)
    print(f"Invented truth: {100 * (CHECKS['points.csv'][3] - 1):.1f} %")


if __name__ == "__main__":
    main()
