"""Decays in a room whose clean-air rate is known: particles drawn one by one, floors by what enters the room.

Whoever runs the room states its volume, how far losses may differ between the runs, mixing and the clock; each is drawn
anywhere within its limit. A floor is what enters over the loss, so that the cleaner lowers it; what was counted of it
beforehand has moved, within its limit, by the time of the run.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

import flowrig
from tests.coverage.rigs import Array, Drawn, Rig, Rng, Taken, correlated

SAMPLE_FLOW, SAMPLE_TIME = 2.83e-3 / 60.0, 60.0
VOLUME, MIXING, CLOCK, MOVED = 0.02, 0.02, 0.005, 0.20  # limits; MOVED of a background
OTHER = 0.10  # of the natural rate
DEAD_TIME, DEAD_TIME_LIMIT = 1e-5, 0.5


@dataclass(frozen=True)
class Decay:
    """A room of 40 to 60 m3, a counter with one channel, runs with the cleaner and without.

    Attributes
    ----------
    changes : float
        Clean air, volumes of the room an hour.
    natural : float
        What the room loses by itself. [1/h]
    first : float
        Particles counted in the first sample.
    enters : float
        Level that the room would settle at without the cleaner, over the first.
    minutes : tuple of float
        Of a run with the cleaner, and without.
    step : float
        Between samples. [min]
    scatter : float
        Of a reading beyond counting, as a share of it.
    follows : float
        Correlation of that scatter from a sample to the next.
    floors : tuple of bool
        Whether the floor of a run with the cleaner, and without, was counted; else nothing is told of it.
    repeats : int
        Of each run; their rates scatter by `apart`, as a share of the clean air.
    apart : float
    volume : float
        Limit of the volume, a share.
    hides : bool
        Particles hide each other, and the record states the dead time with its limit.
    """

    changes: float
    natural: float = 0.4
    first: float = 30_000.0
    enters: float = 0.05
    minutes: tuple[float, float] = (40.0, 60.0)
    step: float = 1.0
    scatter: float = 0.01
    follows: float = 0.0
    floors: tuple[bool, bool] = (False, True)
    repeats: int = 1
    apart: float = 0.0
    volume: float = VOLUME
    hides: bool = False

    def draw(self, rng: Rng) -> Drawn:
        room, changes = rng.uniform(40.0, 60.0), self.changes * rng.uniform(0.9, 1.1)
        natural = self.natural * rng.uniform(0.8, 1.2)
        # what the counter's place shows with the cleaner, and what is lost beside it then
        shown = changes / (1 + MIXING * rng.uniform(-1, 1)) + natural * (1 + OTHER * rng.uniform(-1, 1))
        clock, dead = 1 + CLOCK * rng.uniform(-1, 1), DEAD_TIME * (1 + DEAD_TIME_LIMIT * rng.uniform(-1, 1))
        runs = []
        for i in range(self.repeats):
            for on in (True, False):
                rate = (shown if on else natural) + self.apart * self.changes * rng.standard_normal() * on
                runs.append(self._run(rng, f"{'on' if on else 'off'} {i}", on, rate, natural, clock, dead))
        stated = room / (1 + self.volume * rng.uniform(-1, 1))
        counter = {
            "sample_flow": "2.83 L/min", "sample_time": "60 s", "counts": "by channel", "per": "sample", "serial": "C",
        }  # fmt: skip
        if self.hides:
            counter["dead_time"] = f"{DEAD_TIME:.9f} s ± {DEAD_TIME * DEAD_TIME_LIMIT:.9f} s"
        record = {
            "title": "Simulated (invented)", "date": dt.date(2026, 8, 21), "invented": True, "counters": {"A": counter},
            "decay": {
                "net_volume": f"{stated:.6f} m3 ± {self.volume * stated:.6f} m3", "mixing": "mixing fan",
                "natural_run": "fan running without filters", "windows_and_doors": "unchanged",
                "mixing_limit": f"{100 * MIXING:g} %", "clock_limit": f"{100 * CLOCK:g} %", "mixing_time": "0 s",
                "natural_limit": f"{OTHER * natural:.9f} 1/h",
            },
            "decay_runs": runs,
        }  # fmt: skip
        return Drawn(record, room * changes / 3600.0, _clean_air)

    def _run(
        self, rng: Rng, name: str, on: bool, loss: float, natural: float, clock: float, dead: float
    ) -> dict[str, Any]:
        time = np.arange(0.0, self.minutes[not on] + self.step / 2, self.step)
        floor = self.enters * natural / loss
        puffs = np.exp(self.scatter * correlated(rng, len(time), self.follows))
        level = self.first * (np.exp(-loss * time * clock / 60.0) + floor) * puffs
        run: dict[str, Any] = {
            "name": name, "cleaner": "on" if on else "off",
            "counts": {"time [min]": time, "0.3-0.5 um": self._counted(rng, level, dead)},
        }  # fmt: skip
        if self.floors[not on]:
            before = np.full(5, self.first * floor * (1 + MOVED * rng.uniform(-1, 1)))
            run |= {"background": {"0.3-0.5 um": self._counted(rng, before, dead)}, "background_limit": "20 %"}
        return run

    def _counted(self, rng: Rng, expected: Array, dead: float) -> Array:
        """Particles counted of those that came; some hide others."""
        hidden = expected / SAMPLE_TIME * dead if self.hides else 0.0
        return rng.poisson(expected * np.exp(-hidden)).astype(float)


def _clean_air(record: dict[str, Any]) -> Taken | None:
    part: Any = flowrig.reduce(record).parts["decay"]
    if not part.told:
        return None
    q = part.told[0].clean_air
    return q.estimate, q.interval, part.findings


FAST, SLOW = 8.0, 1.2
RIGS = (
    Rig("decay, fast cleaner, its floor fitted", "normal", Decay(FAST)),
    Rig("decay, fast cleaner, floors counted", "normal", Decay(FAST, floors=(True, True))),
    Rig("decay, slow cleaner, floors counted", "normal", Decay(SLOW, minutes=(90.0, 90.0), floors=(True, True))),
    Rig("decay, slow cleaner, its floor fitted", "normal", Decay(SLOW, minutes=(240.0, 90.0), step=2.0)),
    Rig("decay, 300 particles at first", "few", Decay(FAST, first=300.0, scatter=0.0, floors=(True, True))),
    Rig("decay, readings scatter by 5 %", "normal", Decay(FAST, scatter=0.05, step=2.0)),
    Rig("decay, particles hide each other", "normal", Decay(FAST, first=400_000.0, hides=True)),
    Rig("decay, volume within 6 %", "rectangular", Decay(FAST, volume=0.06), slow=True),
    Rig("decay, three runs of each, 3 % apart", "few", Decay(FAST, repeats=3, apart=0.03)),
    Rig("decay, puffs of some minutes", "misspecified", Decay(FAST, scatter=0.03, follows=0.6),
        ("readings follow each other",)),
    Rig("decay, nothing told of the floors", "misspecified", Decay(FAST, floors=(False, False)), ("floor assumed",)),
)  # fmt: skip
