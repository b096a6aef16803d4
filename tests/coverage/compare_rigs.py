"""One flow measured by two methods that share air and manometer: their difference, and what they give together."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from tests.coverage.rigs import Drawn, Nozzle, Rig, Rng, Traverse

TOLD = ("methods disagree", "cannot tell")


@dataclass(frozen=True)
class TwoMethods:
    """A nozzle chamber and a traverse of a duct in line with it.

    Attributes
    ----------
    taken : {'difference', 'combined'}
        Which number is on trial.
    off : float
        Share by which the nozzles are further off than they say, which their owner does not know.
    """

    taken: Literal["difference", "combined"]
    traverse: Traverse
    nozzle: Nozzle = field(default_factory=lambda: Nozzle(100.0, diameters=(200.0, 200.0)))
    off: float = 0.0

    def draw(self, rng: Rng) -> Drawn:
        rig = self.nozzle.draw(rng)
        other = self.traverse.draw(rng, rig)
        record = rig.record
        record["ducts"] = other.record["ducts"]
        [section] = other.record["flow"]
        record["flow"].append(section)
        probe = section["method"].split("-")[0]
        if probe == "pitot":
            section["with"] = "manometer"
        else:
            record["instruments"][probe] = other.record["instruments"][probe]
        truth = rig.truth * (1 + self.off)
        return replace(rig, truth=truth, taken=self.taken)


VANE = Traverse("vane", 2.0, True, (0.02, 0.02, 0.01))
PITOT = Traverse("pitot", 3.0, True, (0.005, 0.25, 0.1))
RIGS: tuple[Rig, ...] = (
    Rig("nozzle less vane", "assumed limits", TwoMethods("difference", VANE), TOLD, slow=True),
    Rig("nozzle less pitot, one manometer", "assumed limits", TwoMethods("difference", PITOT), TOLD, slow=True),
    Rig("nozzle and vane combined", "normal", TwoMethods("combined", VANE), TOLD, slow=True),
    Rig("nozzle and pitot combined, one manometer", "normal", TwoMethods("combined", PITOT), TOLD, slow=True),
)
