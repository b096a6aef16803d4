"""Rigs that measure one flow twice with one manometer and one state of air: does their difference hold nothing, and
does the combined flow hold the truth?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

import flowrig
from tests.coverage.rigs import COEFFICIENT, Air, Drawn, Meter, Nozzle, Rig, Rng, Taken, Traverse, air

MANOMETER = (0.005, 0.25, 0.1)
NOISE, REPEATS = 0.5, 8  # of the nozzles' drop [Pa]


def combined(record: dict[str, Any]) -> Taken | None:
    """Mass flow of all measurements together, if they were combined."""
    result = flowrig.reduce(record)
    [group] = result.together
    if group.combined is None:
        return None
    q = group.combined["mass_flow"]
    return q.estimate, q.interval, [*result.findings, *group.findings, *group.combined.findings]


def difference(record: dict[str, Any]) -> Taken:
    """First less second, with what they share cancelled."""
    [group] = flowrig.reduce(record).together
    q = group.pairs[0].difference
    return q.estimate, q.interval, group.findings


@dataclass(frozen=True)
class Twice:
    """Two nozzles one after the other, or a nozzle and a traverse; the same mass of air through both.

    Attributes
    ----------
    taken : callable
        What is on trial, `combined` or `difference`.
    diameters : tuple of float
        Of the nozzles; a single one is read beside the traverse. [mm]
    traverse : Traverse, optional
    flow : float
        Mass flow through two nozzles, but for up to 4 % either way. [kg/s]
    """

    taken: Callable[[dict[str, Any]], Taken | None]
    diameters: tuple[float, ...]
    traverse: Traverse | None = None
    flow: float = 0.35

    def draw(self, rng: Rng) -> Drawn:
        shared = int(rng.integers(2**32))
        common = np.random.default_rng(shared)  # air and manometer are the first that a traverse draws, too
        here, manometer = air(common), Meter(common, *MANOMETER)
        record, mass_flow = here.record, self.flow * rng.uniform(0.96, 1.04)
        if self.traverse is not None:
            other = self.traverse.draw(np.random.default_rng(shared))
            record, mass_flow = other.record, other.truth * other.density
            del record["instruments"]["pitot"]
        record.setdefault("flow", [])
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        record["nozzles"] = {f"N{size:g}": {"diameter": f"{size:g} mm ± {size / 1e3:g} mm", "made": "machined"}
                             for size in self.diameters}  # fmt: skip
        coefficient = 1 + COEFFICIENT * rng.standard_normal()  # the standard's equation errs alike for all nozzles
        for size in self.diameters:
            record["flow"].append(self._nozzle(rng, here, manometer, size, mass_flow / coefficient))
        ways = len(record["flow"])
        assert ways == 2
        truth = 0.0 if self.taken is difference else mass_flow
        return Drawn(record, truth, self.taken, scale=mass_flow / here.density if truth == 0.0 else mass_flow)

    @staticmethod
    def _nozzle(rng: Rng, here: Air, manometer: Meter, size: float, mass_flow: float) -> dict[str, Any]:
        true = np.array([size * (1 + rng.uniform(-1e-3, 1e-3)) / 1e3])
        static = rng.uniform(-60, -20)
        density = here.density * (1 + static / here.pressure)
        equation = Nozzle(0.0)
        drop = 100.0
        for _ in range(6):  # the flow goes as the root of the drop, but for the coefficient
            drop *= (mass_flow / density / equation._flow(here, drop, static, true)) ** 2
        shown = manometer.show(drop + NOISE * rng.standard_normal(REPEATS))
        return {
            "name": f"nozzle of {size:g} mm", "method": "nozzle", "open": [f"N{size:g}"],
            "drop": [f"{x:.6f} Pa" for x in shown], "static": f"{manometer.show(static):.6f} Pa",
            "chamber_width": "1200 mm", "chamber_height": "1200 mm", "with": "manometer",
        }  # fmt: skip


PITOT = Traverse("pitot", 8.0, True, MANOMETER)
STRAIGHT = Traverse("pitot", 8.0, False, MANOMETER)
APART = ("disagree",)
RIGS = (
    Rig("two nozzles, one manometer: difference", "normal", Twice(difference, (150.0, 130.0)), APART),
    Rig("two nozzles, one manometer: combined", "normal", Twice(combined, (150.0, 130.0))),
    Rig("two nozzles at 25 and 75 Pa: combined", "normal", Twice(combined, (150.0, 115.0), flow=0.14)),
    Rig("nozzle and pitot, limits filled: difference", "rectangular", Twice(difference, (250.0,), PITOT), APART,
        slow=True),
    Rig("nozzle and pitot, limits filled: combined", "rectangular", Twice(combined, (250.0,), PITOT), slow=True),
    Rig("nozzle and pitot, straight duct: difference", "assumed limits", Twice(difference, (250.0,), STRAIGHT), APART,
        slow=True),
    Rig("nozzle and pitot, straight duct: combined", "assumed limits", Twice(combined, (250.0,), STRAIGHT), slow=True),
)  # fmt: skip
