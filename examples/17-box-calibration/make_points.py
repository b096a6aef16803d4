"""Draws the invented points of this example into points.csv.

Run it with `python examples/17-box-calibration/make_points.py`; a folder as its argument takes the file instead.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

sys.path.append(str(Path(__file__).resolve().parents[2] / "calibrations"))
import make_demo

SEED = 1701
CELSIUS, PRESSURE, HUMIDITY = 22.6, 834.1, 0.33
DROPS = (10.0, 24.0, 56.0, 110.0, 200.0, 380.0)  # over the box, nearly [Pa]
THROATS = {"150": 0.14993, "100": 0.10004, "50": 0.05001}  # true diameters [m]
OPEN = ("100", "100+50", "150", "150+100", "150+100", "150+100+50")
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it
MOUNTINGS = {"1": 1.004, "2": 0.992, "3": 1.001, "4": 1.006, "5": 0.998, "6": 0.997}  # what it passes, over its mean
RUNS = (("1", "up"), ("1", "down"), ("2", "up"), ("3", "up"), ("4", "up"), ("5", "up"), ("6", "up"))
PIVOT, RHO, MU = 62.0, 0.973, 18.4e-6  # drop and air that the calibration states its flow for
NOISE = 0.003  # of the flow, from point to point


def main() -> None:
    random = np.random.default_rng(SEED)
    lines = ["section,indication [Pa],drop [Pa],run,direction,mounting,air.meter.temperature [degC]"]
    for number, (mounting, direction) in enumerate(RUNS, start=1):
        order = range(len(DROPS)) if direction == "up" else reversed(range(len(DROPS)))
        for k in order:
            celsius = CELSIUS + 0.3 * number + 0.02 * k
            rho = invent.density(celsius, PRESSURE, HUMIDITY * invent.saturation(celsius))
            mu = make_demo.viscosity(celsius)
            drop = DROPS[k] * random.uniform(0.97, 1.03)
            flow = MOUNTINGS[mounting] * float(make_demo.box_flow(drop, rho, mu))
            flow *= 1 + NOISE * random.standard_normal()
            throats = [THROATS[name] for name in OPEN[k].split("+")]
            nozzle = invent.nozzle_drop(flow / COEFFICIENT, throats, rho, PRESSURE, celsius)
            shown = [f"{x * invent.MANOMETER_GAIN:.1f}" for x in (drop, nozzle)]
            warm = f"{celsius + invent.THERMOMETER:.1f}"
            lines.append(",".join([OPEN[k], *shown, str(number), direction, mounting, warm]))
    invent.write("points.csv", lines)
    truth = 3600 * float(make_demo.box_flow(PIVOT, RHO, MU))
    print(f"Invented truth: {truth:.1f} m3/h")


if __name__ == "__main__":
    main()
