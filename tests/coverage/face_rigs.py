"""A filter or a grille gone over with an anemometer: what such a traverse is off by, drawn as the method assumes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.methods.face import FLOORS, UNCOMPARED
from flowrig.physics.traverse import side_positions
from tests.coverage.rigs import Drawn, Meter, Rig, Rng, air


@dataclass(frozen=True)
class Face:
    """A face of 610 mm by 610 mm inside its strips, read on five by five points in three passes.

    Attributes
    ----------
    probe : {'vane', 'thermal'}
    kind : {'filter', 'grille'}
    compared : bool
        Whether the record has a factor from a comparison, good to 3 % (k = 2).
    """

    probe: str
    kind: str = "filter"
    compared: bool = False

    def draw(self, rng: Rng) -> Drawn:
        here = air(rng)
        meter = Meter(rng, 0.02, 0.02, 0.01) if self.probe == "vane" else Meter(rng, 0.03, 0.03, 0.01)
        width, height = (0.650 + rng.uniform(-2e-3, 2e-3) for _ in range(2))
        strip = 0.020 + rng.uniform(-2e-3, 2e-3)
        free = 1.0 if self.kind == "filter" else 0.8 + rng.uniform(-0.03, 0.03)
        area = (width - 2 * strip) * (height - 2 * strip) * free
        places = side_positions("equal-area", 5)
        x, y = np.tile(places, 5), np.repeat(places, 5)
        local = 1.7 * (1 + 0.1 * rng.uniform(-1, 1) * (2 * x - 1) + 0.1 * rng.uniform(-1, 1) * (2 * y - 1))
        local = local * (1 + 0.05 * rng.standard_normal(25))  # pleats and jets, the same in every pass
        # how far the sum over the points is from the face, and what the anemometer does there
        missed = 1 + FLOORS[self.kind] * rng.uniform(-1, 1)
        low, high = UNCOMPARED
        true_factor = rng.uniform(low, high)
        truth = float(np.mean(local)) * area * missed * true_factor
        response = 1 + (0.005 if self.probe == "vane" else 0.03) * rng.uniform(-1, 1)
        moving = local * (1 + 0.03 * rng.standard_normal((3, 25)) + 0.005 * rng.standard_normal((3, 1))) * response
        shown = meter.show(moving if self.probe == "vane" else moving * here.density / 1.2)
        record = here.record
        record["instruments"]["anemometer"] = meter.words("velocity", "m/s")
        if self.probe == "thermal":
            record["instruments"]["anemometer"]["reference_density"] = "1.2 kg/m3"
        record["faces"] = {
            "bank": {"width": "650 mm ± 2 mm", "height": "650 mm ± 2 mm", "kind": self.kind,
                     "edge_strip": "20 mm ± 2 mm", **({} if self.kind == "filter" else {"free_area": "0.8 ± 0.03"})}
        }  # fmt: skip
        grid = {
            "pass": np.repeat([1, 2, 3], 25),
            "row": np.tile(np.repeat(np.arange(5) + 1, 5), 3),
            "column": np.tile(np.arange(5) + 1, 15),
            "velocity [m/s]": np.round(shown, 6).reshape(-1),
        }
        record["flow"] = [
            {"method": f"{self.probe}-face", "face": "bank", "across": 5, "down": 5, "grid": grid, "side": "upstream"}
        ]
        if self.compared:
            known = true_factor * (1 + 0.015 * rng.standard_normal())
            record["flow"][0]["factor"] = f"{known:.6f} ± {0.03 * known:.6f} (k=2)"
        return Drawn(record, truth, meter=meter)


RIGS: tuple[Rig, ...] = (
    Rig("vane at a filter, not compared", "rectangular", Face("vane"), slow=True),
    Rig("thermal at a grille, not compared", "rectangular", Face("thermal", "grille"), slow=True),
    Rig("vane at a filter, compared", "normal", Face("vane", compared=True)),
    Rig("thermal at a grille, compared", "rectangular", Face("thermal", "grille", compared=True)),
)
