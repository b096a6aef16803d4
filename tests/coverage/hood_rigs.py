"""A hood over a cleaner or a ducted outlet: what it shows, what it takes away, and what swirl does to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.methods.hood import FREE
from tests.coverage.rigs import Drawn, Meter, Rig, Rng, air


@dataclass(frozen=True)
class Hood:
    """A hood whose error over this outlet is drawn as its method assumes, and a unit whose flow falls with pressure.

    Attributes
    ----------
    way : {'two', 'curve', 'factor'}
        How its back-pressure is taken out.
    bend : float
        Of the unit's flow q = q0 (1 - P/Pmax)^bend: 1 is a straight line.
    orientations : int
    swirl : float
        Scatter between orientations, over the flow.
    uneven : float
        Limit that the record states of the hood's unevenness, and that it fills, at 95 %.
    """

    way: str
    bend: float = 1.0
    orientations: int = 1
    swirl: float = 0.0
    uneven: float = 0.08

    def draw(self, rng: Rng) -> Drawn:
        here = air(rng)
        manometer, hood = Meter(rng, 0.005, 0.2, 0.01), Meter(rng, 0.02, 5.0, 1.0)
        free, most = 420.0 * rng.uniform(0.9, 1.1), 60.0 * rng.uniform(0.9, 1.1)

        def under(resistance: float) -> tuple[float, float]:
            low, high = 0.0, most
            for _ in range(80):
                middle = (low + high) / 2
                flow = free * (1 - middle / most) ** self.bend
                low, high = (middle, high) if middle < resistance * flow**2 else (low, middle)
            return free * (1 - low / most) ** self.bend, low

        uneven = 1 + self.uneven / 1.96 * rng.standard_normal()
        first, pressure = under(2.5e-5)
        places = 1 + self.swirl * rng.standard_normal(self.orientations)
        passes = 3 if self.orientations > 1 else 6
        noise = 1 + 0.005 * rng.standard_normal((passes, self.orientations))
        shown = hood.show((first * uneven * places * noise).reshape(-1))
        record = here.record
        record["instruments"]["hood"] = hood.words("flow", "m3/h") | {"density_corrected": True}
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        flow = {
            "method": "hood", "over": "supply outlet" if self.way == "factor" else FREE, "sensor": "pressure grid",
            "reading": [f"{x:.6f} m3/h" for x in shown], "orientations": self.orientations,
            "uneven_limit": f"{100 * self.uneven:g} %",
        }  # fmt: skip
        if self.way != "factor":
            flow["hood_pressure"] = f"{manometer.show(pressure):.6f} Pa"
        if self.way == "two":
            second, harder = under(1.5e-4)
            flow["throttled_reading"] = f"{hood.show(second * uneven):.6f} m3/h"
            flow["throttled_pressure"] = f"{manometer.show(harder):.6f} Pa"
        elif self.way == "curve":
            flow["curve"] = "unit"
            at = np.linspace(0, 0.8 * most, 6)
            fall = 1 + 0.3 * rng.uniform(-1, 1)  # of the flow lost, as the record's limit allows
            stated = 1 - (1 - (1 - at / most) ** self.bend) / fall
            faster = 600 / free  # the maker tested it at another speed
            record["curves"] = {
                "unit": {
                    "pressure": [f"{faster**2 * x:.6f} Pa" for x in at],
                    "flow": [f"{600 * x:.6f} m3/h" for x in stated],
                }
            }
        else:
            true = free / first
            flow["backpressure_factor"] = f"{true * (1 + 0.01 * rng.uniform(-1, 1)):.6f} ± 0.01"
        record["flow"] = [flow]
        return Drawn(record, free / 3600)


RIGS: tuple[Rig, ...] = (
    Rig("hood, two resistances, straight curve", "normal", Hood("two")),
    Rig(
        "hood, two resistances, bent curve", "misspecified", Hood("two", bend=0.5), ("large back-pressure correction",)
    ),
    Rig("hood, by the unit's curve", "normal", Hood("curve", bend=0.7)),
    Rig("hood over a duct, maker's factor", "normal", Hood("factor")),
    Rig(
        "hood over a duct, four orientations", "few", Hood("factor", orientations=4, swirl=0.04, uneven=0.03), slow=True
    ),
)
