"""Simulated inlets from still air: a coefficient within its stated ±, from a certificate, or with things left unsaid.

The flow is written out here from isentropic flow, not taken from the method's own equation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.coverage.rigs import Drawn, Meter, Rig, Rng, air

KAPPA = 1.4


@dataclass(frozen=True)
class Inlet:
    """A bell-mouth, its manometer, and how its coefficient is known.

    Attributes
    ----------
    drop : float
        True drop, but for up to 4 % either way. [Pa]
    coefficient : float
    within : float
        The stated ±, of the coefficient.
    certificate : bool
        The ± is of a certificate, k = 2, in place of a limit.
    expansion : {'apart', 'included', 'not stated'}
        What the record says; where it says nothing, either is true, or anything between.
    manometer : tuple of float
        Share of reading, fixed part [Pa], digit [Pa].
    slow : bool
        The coefficient is used below its Reynolds number and falls by as much as the method allows for, or less.
    elsewhere : float
        The tapping is not where the coefficient was found, which is off by up to so much more, and said.
    """

    drop: float
    coefficient: float = 0.97
    within: float = 0.02
    certificate: bool = False
    expansion: str = "apart"
    manometer: tuple[float, float, float] = (0.005, 0.25, 0.1)
    slow: bool = False
    elsewhere: float = 0.0

    def draw(self, rng: Rng) -> Drawn:
        here = air(rng)
        manometer = Meter(rng, *self.manometer)
        diameter = 0.2 * (1 + rng.uniform(-1.5e-3, 1.5e-3))
        drop = self.drop * rng.uniform(0.96, 1.04)
        shown = manometer.show(drop + 0.3 * rng.standard_normal(12))

        error = rng.standard_normal() / 2 if self.certificate else rng.uniform(-1, 1)
        coefficient = self.coefficient + self.within * error
        ratio = 1 - drop / here.pressure
        # the throat's density times its velocity, from rest
        velocity = math.sqrt(
            2 * KAPPA / (KAPPA - 1) * here.pressure / here.density * (1 - ratio ** ((KAPPA - 1) / KAPPA))
        )
        isentropic = ratio ** (1 / KAPPA) * velocity
        plain = math.sqrt(2 * drop / here.density)
        share = {"apart": 1.0, "included": 0.0, "not stated": rng.uniform()}[self.expansion]
        flow = coefficient * math.pi / 4 * diameter**2 * (share * isentropic + (1 - share) * plain)
        reynolds = 4 * here.density * flow / (math.pi * diameter * here.viscosity)
        if self.slow:
            flow *= 1 + rng.uniform(-1, 1) * max(7 / math.sqrt(reynolds) - 7 / math.sqrt(1e5), 0.0)
        flow *= 1 + rng.uniform(-self.elsewhere, self.elsewhere)

        record = here.record
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        k = " (k=2)" if self.certificate else ""
        record["inlets"] = {
            "A": {
                "diameter": "200 mm ± 0.3 mm",
                "coefficient": f"{self.coefficient:g} ± {self.within:g}{k}",
                "expansion": self.expansion,
                "tapping": "elsewhere" if self.elsewhere else "as calibrated",
                "serial": "A",
            }
        }
        record["flow"] = [
            {"method": "inlet", "inlet": "A", "clear_distance": "2 m", "drop": [f"{value:.6f} Pa" for value in shown]}
        ]
        return Drawn(record, flow, meter=manometer)


RIGS: tuple[Rig, ...] = (
    Rig("bell-mouth, coefficient within 2 %, 85 Pa", "rectangular", Inlet(85.0), slow=True),
    Rig("bell-mouth, coefficient of a certificate, 85 Pa", "normal", Inlet(85.0, within=0.015, certificate=True)),
    Rig("bell-mouth, expansion in the coefficient, 600 Pa", "normal",
        Inlet(600.0, within=0.015, certificate=True, expansion="included")),
    Rig("bell-mouth, expansion not stated, 3 kPa", "rectangular",
        Inlet(3000.0, within=0.008, certificate=True, expansion="not stated"), slow=True),
    Rig("bell-mouth, below its Reynolds number, 6 Pa", "rectangular",
        Inlet(6.0, within=0.01, certificate=True, slow=True, manometer=(0.005, 0.1, 0.1)), slow=True),
    Rig("bell-mouth, tapping elsewhere, 85 Pa", "misspecified", Inlet(85.0, within=0.015, certificate=True,
        elsewhere=0.1), ("tapping not that of the coefficient",)),
)  # fmt: skip
