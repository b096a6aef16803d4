"""Invents the demonstration calibration in this folder, from drawn readings of an invented box on an invented bench.

Run it with `python calibrations/make_demo.py`; a folder as its argument takes the file instead. It needs numpy alone
and no line of flowrig. Each cause is shifted by one standard deviation and the fit made again: what the coefficients
then move by are its loads.
"""

import math
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).resolve().parents[1] / "examples"))
import invent

Array = NDArray[np.float64]

SEED = 1301
CELSIUS, PRESSURE, HUMIDITY = 23.2, 832.6, 0.31
DROPS = np.array([10.0, 17.0, 30.0, 50.0, 80.0, 140.0, 240.0, 380.0])  # over the box, nearly [Pa]
PIVOT = 50.0  # [Pa]
THROATS = (0.14993, 0.10004, 0.05001)  # nominally 150, 100 and 50 mm [m]
NOZZLES = ((2,), (1, 2), (0,), (0,), (0, 1), (0, 1), (0, 1, 2), (0, 1, 2))  # open at each point
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it

# identities as flowrig gives them, so that a result of this box shares these errors with others
MANOMETER = "instrument:DM-0417|pressure difference|2026-03-02|accuracy ead6ea22"
NOZZLE, DENSITY, VISCOSITY = "method:nozzle:coefficient", "method:air:density formula cipm-2007", "method:air:viscosity"


def box_flow(drop: Array | float, rho: float, mu: float) -> Array:
    """The invented box: Reynolds number as a power of drop rho/mu^2, in m3/s."""
    return np.asarray(mu / rho * TRUTH * (np.asarray(drop) * rho / mu**2) ** EXPONENT)


def viscosity(celsius: float) -> float:
    """Sutherland's form, in Pa s (constants from memory)."""
    return 1.458e-6 * (celsius + 273.15) ** 1.5 / (celsius + 383.55)


EXPONENT = 0.528
RHO = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
MU = viscosity(CELSIUS)
TRUTH = 478.0 / 3600 * RHO / MU / (PIVOT * RHO / MU**2) ** EXPONENT  # 478 m3/h at 50 Pa in the air of the calibration


def fit(drops: Array, flows: Array) -> Array:
    """Flow at the pivot and exponent of a power law, by least squares of the logarithms."""
    slope, height = np.polyfit(np.log(drops / PIVOT), np.log(flows), 1)
    return np.array([math.exp(height), slope])


def main() -> None:
    random = np.random.default_rng(SEED)
    gain = invent.MANOMETER_GAIN
    drops = np.round((DROPS * random.uniform(0.97, 1.03, len(DROPS))) * gain, 1)
    passed = box_flow(drops / gain, RHO, MU) * (1 + 0.004 * random.standard_normal(len(DROPS)))
    bores = [[THROATS[i] for i in opened] for opened in NOZZLES]
    nozzle_drops = np.array(
        [invent.nozzle_drop(q / COEFFICIENT, own, RHO, PRESSURE, CELSIUS) for q, own in zip(passed, bores, strict=True)]
    )
    nozzle_drops = np.round(nozzle_drops * gain, 1)

    celsius, pressure = CELSIUS + invent.THERMOMETER, PRESSURE + invent.BAROMETER
    rho = invent.density(celsius, pressure, (HUMIDITY + invent.HYGROMETER) * invent.saturation(celsius))
    mu = viscosity(celsius)

    def reference(read: Array, rho: float = rho) -> Array:
        flows = [invent.nozzle_flow(dp, own, rho, pressure, celsius) for dp, own in zip(read, bores, strict=True)]
        return np.array(flows)

    flows = reference(nozzle_drops)
    found = fit(drops, flows)

    def moved(change: Callable[[], Array]) -> Array:
        return change() - found

    def limit(read: Array) -> Array:
        return (0.005 * read + 0.25) / math.sqrt(3)

    nozzle = moved(lambda: fit(drops, flows * (1 + 0.012 / 1.96)))
    meter = moved(lambda: fit(drops + limit(drops), reference(nozzle_drops + limit(nozzle_drops))))
    share = 0.0009  # thermometer, barometer and hygrometer together
    air = moved(lambda: fit(drops, reference(nozzle_drops, rho * (1 + share))))
    equation = moved(lambda: fit(drops, reference(nozzle_drops, rho * (1 + 3e-4 / math.sqrt(3)))))
    design = np.stack([np.ones(len(drops)), np.log(drops / PIVOT)], axis=1)
    residuals = flows / (found[0] * (drops / PIVOT) ** found[1]) - 1
    variance = float(np.sum(np.log1p(residuals) ** 2)) / (len(drops) - 2)
    root = np.linalg.cholesky(variance * np.linalg.inv(design.T @ design))  # of ln flow and exponent

    def per_hour(value: float) -> str:
        return f'"{3600 * value:.4g} m3/h"'

    def cause(name: str, lines: list[str]) -> list[str]:
        return ["", "[[cause]]", f'name = "{name}"', *lines]

    def loads(movement: Array) -> list[str]:
        slope = [f"exponent = {movement[1]:.3g}"] if abs(movement[1]) > 1e-6 else []
        return [f"flow = {per_hour(movement[0])}", *slope]

    scatter = ", ".join(per_hour(found[0] * step) for step in root[0])
    lines = [
        "# Invented, for demonstration: no such box exists. Made by make_demo.py; what each line means: README.md.",
        "format = 1",
        'formula = "power law"',
        'title = "Plywood box 2 with its inlet hood"',
        'serial = "LF-BOX-2"',
        "date = 2026-05-20",
        "due = 2027-05-20",
        'by = "night shift, Larkspur Flats (invented)"',
        'reference = "nozzle chamber with LF-N150, LF-N100 and LF-N50"',
        'certificate = "none; machined to the drawing of the standard"',
        "invented = true",
        "causes = 6",
        f"points = {len(drops)}",
        'remount_scatter = "0.8 %"',
        "remounts = 7",
        "",
        "[coefficients]",
        f'drop = "{PIVOT:.0f} Pa"',
        f'flow = "{3600 * found[0]:.2f} m3/h"',
        f"exponent = {found[1]:.5f}",
        f'density = "{rho:.5f} kg/m3"',
        f'viscosity = "{1e6 * mu:.3f} uPa s"',
        "",
        "[range]",
        f'lowest = "{drops[0]:.1f} Pa"',
        f'highest = "{drops[-1]:.1f} Pa"',
        *cause("nozzle coefficient", [f'id = "{NOZZLE}"', 'scope = "method"', *loads(nozzle)]),
        *cause("manometer", [f'id = "{MANOMETER}"', 'shape = "rectangular"', *loads(meter)]),
        *cause("scatter of the fit", [f"dof = {len(drops) - 2}", f"flow = [{scatter}]",
                                      f"exponent = [{root[1, 0]:.3g}, {root[1, 1]:.3g}]"]),
        *cause("thermometer, barometer, hygrometer", [*loads(air), f'density = "{rho * share:.3g} kg/m3"']),
        *cause("density equation", [f'id = "{DENSITY}"', 'shape = "rectangular"', 'scope = "method"', *loads(equation),
                                    f'density = "{rho * 3e-4 / math.sqrt(3):.3g} kg/m3"']),
        *cause("viscosity equation", [f'id = "{VISCOSITY}"', 'shape = "rectangular"', 'scope = "method"',
                                      f'viscosity = "{1e6 * mu * 0.017 / math.sqrt(3):.3g} uPa s"']),
    ]  # fmt: skip
    for drop, flow, residual in zip(drops, flows, residuals, strict=True):
        lines += ["", "[[point]]", f'drop = "{drop:.1f} Pa"', f'flow = "{3600 * flow:.2f} m3/h"']
        lines.append(f'residual = "{100 * residual:.3f} %"')
    invent.write("box-2-2026.toml", lines)


if __name__ == "__main__":
    main()
