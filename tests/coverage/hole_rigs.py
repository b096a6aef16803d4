"""A box with plain holes in its wall: made with care, cut by hand, or calibrated."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flowrig.methods.box_orifice import EQUATION, LIMITS_OF_CUT
from flowrig.physics.box_orifice import box_orifice_flow, calibrated_hole_flow
from tests.coverage.rigs import Drawn, Meter, Rig, Rng, air


@dataclass(frozen=True)
class Holes:
    """Holes whose edges err as their maker's care allows, or one with a coefficient known from a calibration.

    Attributes
    ----------
    drop : float
        True drop, but for up to 4 % either way. [Pa]
    diameters : tuple of float
        [mm]
    cut : str
    coefficient : float or None
        Of a calibrated hole, known to 2 % (k = 2).
    beside : float or None
        Coefficient of another hole of 100 mm, calibrated like that.
    box : float or None
        Side of the box before the holes, which raises the flow by anything up to what a plate in a pipe does. [mm]
    slow : float
        Below Reynolds 50 000 the coefficient climbs up to so much less or more than the equation has it.
    """

    drop: float
    diameters: tuple[float, ...]
    cut: str = "with care"
    coefficient: float | None = None
    beside: float | None = None
    box: float | None = None
    slow: float = 0.0

    def draw(self, rng: Rng) -> Drawn:
        here = air(rng)
        manometer = Meter(rng, 0.005, 0.25, 0.1)
        drop, static = self.drop * rng.uniform(0.96, 1.04), rng.uniform(-20, 20)
        pressure = here.pressure + static
        density = here.density * pressure / here.pressure
        equation = 1 + EQUATION / 1.96 * rng.standard_normal()
        record, truth = here.record, 0.0
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        record["holes"] = {}
        sizes = [(size, self.coefficient) for size in self.diameters]
        sizes += [] if self.beside is None else [(100.0, self.beside)]
        for i, (size, coefficient) in enumerate(sizes):
            true = size / 1e3 * (1 + rng.uniform(-2e-3, 2e-3))
            hole = {"diameter": f"{size:g} mm ± {2e-3 * size:g} mm", "serial": f"H{i}"}
            if coefficient is None:
                edge = 1 + LIMITS_OF_CUT[self.cut] / 1.96 * rng.standard_normal()
                flow = box_orifice_flow(drop, density, pressure, here.viscosity, true, 0.01, equation * edge)
                if self.box is not None:
                    beta = math.sqrt(math.pi / 4) * size / self.box
                    plate = (1 + (0.0261 * beta**2 - 0.216 * beta**8) / 0.5961) / math.sqrt(1 - beta**4)
                    flow *= 1 + rng.uniform() * (plate - 1)
                flow *= 1 + rng.uniform(-self.slow, self.slow)
                hole |= {"thickness": "1.5 mm", "edge": "sharp", "cut": self.cut}
            else:
                known = coefficient * (1 + 0.01 * rng.standard_normal())
                flow = calibrated_hole_flow(drop, density, true, known)
                hole |= {"coefficient": f"{coefficient:g} ± {0.02 * coefficient:g} (k=2)"}
            record["holes"][f"H{i}"] = hole
            truth += float(flow)
        shown = manometer.show(drop + 0.3 * rng.standard_normal(10))
        record["flow"] = [
            {"method": "box-orifice", "open": list(record["holes"]), "drop": [f"{x:.6f} Pa" for x in shown],
             "static": f"{manometer.show(static):.6f} Pa"}
        ]  # fmt: skip
        if self.box is not None:
            record["flow"][0] |= dict.fromkeys(("chamber_width", "chamber_height"), f"{self.box:g} mm")
        return Drawn(record, truth)


RIGS: tuple[Rig, ...] = (
    Rig("box orifice made with care, 85 Pa", "normal", Holes(85.0, (150.0,))),
    Rig("two box orifices made with care, 60 Pa", "normal", Holes(60.0, (150.0, 120.0))),
    Rig("box orifice cut by hand, 85 Pa", "normal", Holes(85.0, (150.0,), "by hand")),
    Rig("box orifice, calibrated, 85 Pa", "normal", Holes(85.0, (150.0,), coefficient=0.79)),
    Rig("box orifice made with care beside a calibrated one, 85 Pa", "normal", Holes(85.0, (150.0,), beside=0.79)),
    Rig("box orifice in a box of 400 mm, 85 Pa", "normal", Holes(85.0, (150.0,), box=400.0)),
    Rig("box orifice of 60 mm, slow air, 8 Pa", "normal", Holes(8.0, (60.0,), slow=0.017)),
)
