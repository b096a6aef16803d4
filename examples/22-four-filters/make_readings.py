"""Draws the invented points of the fan and of one filter into fan.csv and filter.csv, and solves for the truth.

Run it with `python examples/22-four-filters/make_readings.py`; a folder as its argument takes the files instead.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 2201
CELSIUS, PRESSURE, HUMIDITY = 23.6, 832.6, 0.30
THROATS = {"150": 0.14993, "100": 0.10004, "50": 0.05001}  # true diameters [m]
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it
FREE = {"high": 1641.0, "low": 1240.0}  # m3/h with nothing in front of the fan
SHUT = {"high": 65.0, "low": 36.0}  # Pa, in air of 1.2 kg/m3
WATTS = {"high": 105.0, "low": 64.0}
FRACTIONS = (0.12, 0.22, 0.30, 0.38, 0.45, 0.53, 0.62, 0.71, 0.80, 0.88, 0.95, 1.0)  # of free air, nearly
FACE, LINEAR, QUADRATIC = 0.495 * 0.495, 27.4, 8.6  # one filter, in air of 1.2 kg/m3 and 18.2 uPa s
PIECE = (1.012, 0.985, 1.004, 0.991)  # drop of each piece over that of its sort; the first was measured
GAP = 0.00025  # m along the frame of each filter
RUN = 24.5  # degC where the cleaner runs


def fan_pressure(flow: float, setting: str, rho: float) -> float:
    """Static pressure of the fan: it stalls between a third and a half of its free-air flow."""
    x = flow / FREE[setting]
    smooth = (1 - x) * (1 + 0.62 * x) - 0.19 * math.exp(-(((x - 0.38) / 0.09) ** 2))
    return SHUT[setting] * rho / 1.2 * smooth


def filter_drop(velocity: float, rho: float, mu: float) -> float:
    return LINEAR * velocity * mu / 18.2e-6 + QUADRATIC * velocity**2 * rho / 1.2


def bank_flow(drop: float, rho: float, mu: float) -> float:
    """Four filters side by side and the gaps beside them, in m3/h."""
    total = 0.0
    for piece in PIECE:
        a, b = LINEAR * mu / 18.2e-6 * piece, QUADRATIC * rho / 1.2 * piece
        total += FACE * (math.sqrt(a * a + 4 * b * drop) - a) / (2 * b)
        total += 0.62 * GAP * 4 * 0.495 * math.sqrt(2 * drop / rho)
    return 3600 * total


def viscosity(celsius: float) -> float:
    """Sutherland's form, in Pa s (constants from memory)."""
    return 1.458e-6 * (celsius + 273.15) ** 1.5 / (celsius + 383.55)


def throats_for(flow: float) -> str:
    """Nozzles that read it between 15 and 250 Pa."""
    for name in ("50", "100", "150", "150+100"):
        if flow < {"50": 130.0, "100": 480.0, "150": 1100.0, "150+100": 2500.0}[name]:
            return name
    raise ValueError(flow)


def main() -> None:
    random = np.random.default_rng(SEED)

    def read(flow: float, celsius: float) -> tuple[str, str]:
        """Which nozzles are open, and what the manometer shows over them."""
        rho = invent.density(celsius, PRESSURE, HUMIDITY * invent.saturation(celsius))
        name = throats_for(flow)
        diameters = [THROATS[n] for n in name.split("+")]
        steady = flow / 3600 / COEFFICIENT * (1 + 0.003 * random.standard_normal())
        return name, f"{invent.MANOMETER_GAIN * invent.nozzle_drop(steady, diameters, rho, PRESSURE, celsius):.1f}"

    lines = ["setting,section,pressure [Pa],drop [Pa],power [W],speed [rpm],air.meter.temperature [degC]"]
    for setting in ("high", "low"):
        for k, fraction in enumerate(FRACTIONS):
            celsius = CELSIUS + 0.03 * k
            rho = invent.density(celsius, PRESSURE, HUMIDITY * invent.saturation(celsius))
            flow = FREE[setting] * (fraction if fraction == 1.0 else fraction * random.uniform(0.99, 1.01))
            name, drop = read(flow, celsius)
            shown = invent.MANOMETER_GAIN * fan_pressure(flow, setting, rho) + 0.12 * random.standard_normal()
            watts = WATTS[setting] * (1 - 0.16 * fraction) * 1.004
            rpm = {"high": 1010, "low": 752}[setting] * (1 + 0.035 * (fraction - 0.5))
            pressure = 0.0 if fraction == 1.0 else shown  # the booster fan is set until the plenum shows nothing
            warm = celsius + invent.THERMOMETER
            lines.append(f"{setting},{name},{pressure:.1f},{drop},{watts:.1f},{rpm:.0f},{warm:.1f}")
    invent.write("fan.csv", lines)

    lines = ["section,drop [Pa],flow.drop [Pa],air.meter.temperature [degC]"]
    for k, velocity in enumerate((0.15, 0.25, 0.35, 0.45, 0.6, 0.75, 0.95, 1.2)):
        celsius = CELSIUS + 0.8 + 0.02 * k
        rho = invent.density(celsius, PRESSURE, HUMIDITY * invent.saturation(celsius))
        passed = 3600 * FACE * velocity * random.uniform(0.98, 1.02)
        name, drop = read(passed, celsius)
        over = PIECE[0] * filter_drop(passed / 3600 / FACE, rho, viscosity(celsius))
        shown = invent.MANOMETER_GAIN * over + 0.08 * random.standard_normal()
        lines.append(f"{name},{shown:.1f},{drop},{celsius + invent.THERMOMETER:.1f}")
    invent.write("filter.csv", lines)

    rho = invent.density(RUN, PRESSURE, HUMIDITY * invent.saturation(RUN))
    mu = viscosity(RUN)
    low, high = 0.6 * FREE["high"], FREE["high"]  # to the right of the dip there is one crossing alone
    while high - low > 1e-6:
        middle = (low + high) / 2
        if bank_flow(fan_pressure(middle, "high", rho), rho, mu) > middle:
            low = middle
        else:
            high = middle
    print(f"Invented truth: {low:.0f} m3/h")


if __name__ == "__main__":
    main()
