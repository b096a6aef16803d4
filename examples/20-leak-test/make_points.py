"""Draws the invented readings of this example, into points.csv (make-up flow) and decay.csv.

Run it with `python examples/20-leak-test/make_points.py`; a folder as its argument takes the files instead.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 2001
CELSIUS, PRESSURE, HUMIDITY = 22.4, 833.0, 0.33
LEAK, EXPONENT = 32.0 / 3600, 0.62  # of the receiving chamber at 50 Pa [m3/s]
THROAT = 0.05001  # of the nominal 50 mm [m]
COEFFICIENT = 0.997  # the nozzle passes 0.3 % less than the standard's equation has it
PRESSURES = (20.0, 30.0, 45.0, 65.0, 90.0, 120.0)
NOISE = 0.01

VOLUME, TIGHT, TIGHT_EXPONENT = 0.1832, 0.055 / 3600, 0.74  # the duct section: its leak at 50 Pa [m3, m3/s]
COMPRESSION = 1.04
WARMS = 0.03 / 70  # [K/s]
ROWS, STEP = 140, 0.5  # of the logger [s]


def makeup(random: np.random.Generator) -> list[str]:
    rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
    lines = ["indication [Pa],drop [Pa],direction"]
    for direction in ("up", "down"):
        for nominal in PRESSURES if direction == "up" else reversed(PRESSURES):
            gauge = nominal * random.uniform(0.97, 1.03)
            flow = LEAK * (gauge / 50) ** EXPONENT * (1 + NOISE * random.standard_normal())
            drop = invent.nozzle_drop(flow / COEFFICIENT, [THROAT], rho, PRESSURE, CELSIUS)
            shown = [f"{x * invent.MANOMETER_GAIN:.1f}" for x in (gauge, drop)]
            lines.append(",".join([*shown, direction]))
    return lines


def decay(random: np.random.Generator) -> list[str]:
    gauge, absolute, kelvin = 510.0, 100 * PRESSURE, CELSIUS + 273.15
    lines = ["time [s],indication [Pa]"]
    fine = 0.02
    for row in range(ROWS):
        shown = gauge * invent.MANOMETER_GAIN + 0.15 * random.standard_normal()
        lines.append(f"{row * STEP:.1f},{shown:.1f}")
        for _ in range(round(STEP / fine)):
            leak = TIGHT * (gauge / 50) ** TIGHT_EXPONENT
            gauge += fine * (absolute / kelvin * WARMS - COMPRESSION * (absolute + gauge) / VOLUME * leak)
    return lines


def main() -> None:
    random = np.random.default_rng(SEED)
    invent.write("points.csv", makeup(random))
    invent.write("decay.csv", decay(random))
    print(f"Invented truth: {3600 * LEAK:.1f} m3/h")


if __name__ == "__main__":
    main()
