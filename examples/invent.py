"""What the make_*.py scripts share: the air, the ducts and the nozzles of the invented truth, and what the invented
workshop's instruments do to it.

Nothing here comes from flowrig: the equations are plainer forms of their own, so that an interval which holds the truth
says something. The sources of error are drawn or chosen inside the limits that the records state, and the same
instrument errs in the same way in every example.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Errors of the workshop's instruments, unknown to the people in the stories
MANOMETER_GAIN = 1.0018  # DM-0417 shows 0.18 % too much
THERMOMETER = 0.1  # TH-22, too warm [K]
HYGROMETER = 0.012  # TH-22/RH, too damp [1]
BAROMETER = -0.3  # BA-3, too low [hPa]


def density(celsius: float, hectopascal: float, vapour: float) -> float:
    """Two ideal gases, dry air and `vapour` at its partial pressure [hPa], in kg/m3."""
    return 100.0 * ((hectopascal - vapour) / 287.06 + vapour / 461.5) / (celsius + 273.15)


def saturation(celsius: float) -> float:
    """Vapour pressure over water by the Magnus form, in hPa (constants from memory)."""
    return 6.112 * math.exp(17.62 * celsius / (243.12 + celsius))


def vapour_from_wet_bulb(celsius: float, wet: float, hectopascal: float) -> float:
    """Psychrometer equation of a ventilated bulb, in hPa (constant from memory)."""
    return saturation(wet) - 6.62e-4 * hectopascal * (celsius - wet)


def nozzle_flow(drop: float, diameters: Sequence[float], rho: float, hectopascal: float, celsius: float) -> float:
    """Flow through chamber nozzles with throats of 0.6 diameters, signed as the drop, in m3/s."""
    viscosity = 1.458e-6 * (celsius + 273.15) ** 1.5 / (celsius + 383.55)
    ideal = math.sqrt(2.0 * abs(drop) / rho) * (1.0 - 0.55 * abs(drop) / (100.0 * hectopascal))
    flow = 0.0
    for diameter in diameters:
        reynolds = max(rho * ideal * diameter / viscosity, 1e-6)
        coefficient = max(0.9986 - 7.006 / math.sqrt(reynolds) + 134.6 / reynolds, 0.5)
        flow += coefficient * math.pi / 4 * diameter**2 * ideal
    return math.copysign(flow, drop)


def nozzle_drop(flow: float, diameters: Sequence[float], rho: float, hectopascal: float, celsius: float) -> float:
    """The drop at which the nozzles pass `flow` [m3/s], by halving, in Pa."""
    low, high = 0.0, 5000.0
    while high - low > 1e-9:
        middle = (low + high) / 2
        if nozzle_flow(middle, diameters, rho, hectopascal, celsius) < flow:
            low = middle
        else:
            high = middle
    return low


def mean_over_circle(profile: Callable[[Array, Array], Array]) -> float:
    """Mean of profile(radius over the duct's own, angle) over a round duct, by rings and rays."""
    r = (np.arange(4000) + 0.5) / 4000
    angle = (np.arange(360) + 0.5) / 360 * 2 * np.pi
    return float(np.mean(profile(r[:, None], angle[None, :]) * 2 * r[:, None]))


def mean_over_rectangle(profile: Callable[[Array, Array], Array]) -> float:
    """Mean of profile(x over width, y over height) over a rectangular duct, by small squares."""
    x = (np.arange(2000) + 0.5) / 2000
    return float(np.mean(profile(x[:, None], x[None, :])))


def show(values: Iterable[float], unit: str, decimals: int) -> str:
    """Readings as a record writes them: one in quotes, several in a list."""
    texts = [f'"{round(v, decimals) + 0.0:.{decimals}f} {unit}"' for v in values]
    return texts[0] if len(texts) == 1 else f"[{', '.join(texts)}]"


def write(name: str, lines: Iterable[str]) -> None:
    """A file in the folder named on the command line, or else beside the script that runs."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(sys.argv[0]).parent
    (folder / name).write_text("".join(f"{line}\n" for line in lines), encoding="utf-8", newline="\n")
