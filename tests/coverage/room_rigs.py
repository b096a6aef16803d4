"""Simulated rooms: what is stated of each is off by anything within its limits, and the truth is the balance itself.

The balance is on trial elsewhere; here only the error bars are, of the clean-air rate that a target takes and of the
level that a number of units reaches. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal

import numpy as np

from flowrig.studies.room import room
from flowrig.studies.room_targets import LEVEL, PER_PERSON
from flowrig.uncertainty.estimate import Estimate
from tests.coverage.rigs import Drawn, Rig, Rng, Taken

TARGET = 25.0  # ug/m3
UNITS = 2


@dataclass(frozen=True)
class SmokyRoom:
    """A room in smoke, with cleaners.

    Attributes
    ----------
    wanted : {'needed', 'level', 'per person'}
        Clean-air rate that a level takes, level that units reach, or clean air needed for persons.
    share : float
        Limits over the usual ones.
    ducts : bool
        The building has a better filter in its ducts; the level is that with it.
    """

    wanted: Literal["needed", "level", "per person"]
    share: float = 1.0
    ducts: bool = False

    def draw(self, rng: Rng) -> Drawn:
        facts: dict[str, str] = {}

        def stated(name: str, true: float, limit: float, unit: str) -> float:
            half = self.share * limit
            shown = true + half * rng.uniform(-1, 1)
            facts[name] = f"({shown:.9g} ± {half:.9g}) {unit}"
            return true

        volume = stated("volume", rng.uniform(150, 250), 8.0, "m3")
        leak = stated("infiltration", rng.uniform(0.4, 0.9), 0.15, "1/h")
        through = stated("penetration", rng.uniform(0.6, 0.8), 0.1, "")
        settle = stated("deposition", rng.uniform(0.25, 0.5), 0.1, "1/h")
        outdoors = stated("outdoor_concentration", rng.uniform(120, 200), 20.0, "ug/m3")
        blown = stated("outdoor_air", rng.uniform(100, 200), 20.0, "m3/h")
        held = stated("outdoor_air_efficiency", rng.uniform(0.3, 0.6), 0.1, "")
        mixing = stated("mixing", rng.uniform(0.8, 0.95), 0.08, "")
        persons = stated("persons", rng.uniform(22, 30), 2.0, "")
        rate = rng.uniform(380, 450)
        unit = f"({rate + 20 * self.share * rng.standard_normal():.9g} ± {40 * self.share:.9g}) m3/h (k=2)"
        entering = outdoors * (through * leak * volume + (1 - held) * blown)  # ug/h
        leaving = (leak + settle) * volume + blown  # m3/h
        record: dict[str, Any] = {
            "title": "A simulated room", "date": dt.date(2026, 8, 24), "invented": True, "room": facts,
            **{  # what the number hangs on, and no more: each target is work of its own
                "needed": {"concentration_target": {"level": f"{TARGET} ug/m3", "particles": "smoke"}},
                "per person": {"per_person_target": {"per_person": "40 cfm"}},
                "level": {"cleaners": [
                    {"name": "unit", "count": UNITS, "clean_air_rate": unit, "particles": "0.3 to 1 um"},
                ]},
            }[self.wanted],
        }  # fmt: skip
        if self.ducts:
            room_facts, facts = facts, {}
            flow = stated("flow", rng.uniform(900, 1100), 80.0, "m3/h")
            loss = stated("flow_loss", rng.uniform(0.08, 0.12), 0.04, "")
            caught = stated("efficiency", rng.uniform(0.6, 0.8), 0.1, "")
            runs = stated("runtime", rng.uniform(0.6, 0.8), 0.1, "")
            out = stated("supply_leakage", rng.uniform(0.08, 0.12), 0.04, "")
            into = stated("return_leakage", rng.uniform(0.08, 0.12), 0.04, "")
            attic = stated("leak_concentration", outdoors, 40.0, "ug/m3")
            record["duct"] = facts | {"particles": "0.3 to 1 um", "runtime_now": "0"}
            facts = room_facts
            moved = flow * (1 - loss) * runs
            entering += moved * (into * (1 - out) * (1 - caught) * attic + max(out - into, 0) * through * outdoors)
            leaving += moved * (caught * (1 - out) * (1 - into) + max(into * (1 - out), out * (1 - into)))
        truth = {
            "needed": entering / TARGET - leaving,
            "level": entering / (leaving + UNITS * mixing * rate),
            "per person": persons * 40 * 0.3048**3 * 60 - blown,
        }[self.wanted]
        return Drawn(record, float(truth), partial(_worked_out, self.wanted, self.ducts))


def _worked_out(wanted: str, ducts: bool, record: dict[str, Any]) -> Taken:
    found = room(record)
    if wanted == "level":
        at = found.options[3 if ducts else 1].quantities["level"]
        return _in(at, 1e-9, found.findings)
    case = found[LEVEL if wanted == "needed" else PER_PERSON].cases[-1]
    return _in(case.needed, 1 / 3600, found.findings)


def _in(q: Any, unit: float, findings: Any) -> Taken:
    """Estimate and interval in the unit of the truth."""
    bar = replace(q.interval, low=np.asarray(q.interval.low / unit), high=np.asarray(q.interval.high / unit))
    return Estimate(q.estimate.value / unit), bar, list(findings)


RIGS: tuple[Rig, ...] = (
    Rig("room, clean air for a level of smoke", "rectangular", SmokyRoom("needed"), slow=True),
    Rig("room, level that two units reach", "rectangular", SmokyRoom("level"), slow=True),
    Rig("room, level, limits of a third", "rectangular", SmokyRoom("level", share=0.3), slow=True),
    Rig("room, clean air for persons", "rectangular", SmokyRoom("per person"), slow=True),
    Rig("building, level with duct filter and two units", "rectangular", SmokyRoom("level", ducts=True), slow=True),
)
