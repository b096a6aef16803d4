"""A box with plain holes in its wall: made with care, cut by hand, or calibrated."""

from __future__ import annotations

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
    """

    drop: float
    diameters: tuple[float, ...]
    cut: str = "with care"
    coefficient: float | None = None

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
        for i, size in enumerate(self.diameters):
            true = size / 1e3 * (1 + rng.uniform(-2e-3, 2e-3))
            hole = {"diameter": f"{size:g} mm ± {2e-3 * size:g} mm", "serial": f"H{i}"}
            if self.coefficient is None:
                edge = 1 + LIMITS_OF_CUT[self.cut] / 1.96 * rng.standard_normal()
                flow = box_orifice_flow(drop, density, pressure, here.viscosity, true, 0.01, equation * edge)
                hole |= {"thickness": "1.5 mm", "edge": "sharp", "cut": self.cut}
            else:
                known = self.coefficient * (1 + 0.01 * rng.standard_normal())
                flow = calibrated_hole_flow(drop, density, true, known)
                hole |= {"coefficient": f"{self.coefficient:g} ± {0.02 * self.coefficient:g} (k=2)"}
            record["holes"][f"H{i}"] = hole
            truth += float(flow)
        shown = manometer.show(drop + 0.3 * rng.standard_normal(10))
        record["flow"] = [
            {"method": "box-orifice", "open": list(record["holes"]), "drop": [f"{x:.6f} Pa" for x in shown],
             "static": f"{manometer.show(static):.6f} Pa"}
        ]  # fmt: skip
        return Drawn(record, truth)


RIGS: tuple[Rig, ...] = (
    Rig("box orifice made with care, 85 Pa", "normal", Holes(85.0, (150.0,))),
    Rig("two box orifices made with care, 60 Pa", "normal", Holes(60.0, (150.0, 120.0))),
    Rig("box orifice cut by hand, 85 Pa", "normal", Holes(85.0, (150.0,), "by hand")),
    Rig("box orifice, calibrated, 85 Pa", "normal", Holes(85.0, (150.0,), coefficient=0.79)),
)
