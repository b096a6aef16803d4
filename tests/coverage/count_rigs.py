"""Simulated filters and particle counters: penetration of one channel, from samples in turn or of two swapped counters.

Particles come by chance. The room drifts and is never quite still; what each counter sees of a size, where it cuts its
channels and its sample flow are drawn once a rig, anywhere within what its standard allows. The spectrum falls with the
third power of size. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import partial
from typing import Any
from unittest.mock import patch

import numpy as np

import flowrig
from flowrig.studies.clean_air_part import CleanAirPart
from tests.coverage.rigs import Array, Drawn, Rig, Rng, Taken

SIZES = np.array([0.3, 0.5, 1.0, 2.5, 5.0, 10.0])
SEEN = ((0.3, 0.7), (0.9, 1.1))  # share of particles seen: at the smallest size, and above it
SIZE, FLOW = 0.10, 0.05
FINE = np.geomspace(0.2, 15.0, 3000)


def _in_channels(density: Array, edges: Array) -> Array:
    """Integral of a density for each ln d between the limits of the channels."""
    steps = 0.5 * (density[1:] + density[:-1]) * np.diff(np.log(FINE))
    return np.diff(np.interp(np.log(edges), np.log(FINE), np.concatenate([[0.0], np.cumsum(steps)])))


@dataclass(frozen=True)
class Filter:
    """A filter between samples.

    Attributes
    ----------
    behind : float
        Counts expected behind the filter in the channel on trial, in all.
    through : float
        What it lets through of the smallest; of larger ones less.
    channel : int
    pairs : int
        Samples behind the filter.
    drift : float
        Fall of the logarithm of the room's concentration from one sample to the next.
    waver : float
        Relative fluctuation of every sample, of all sizes alike.
    false : float
        False counts of a sample in every channel, counted through a zero filter for five samples.
    swapped, apart : bool
        Two counters at once, with sizes and shares of their own, that change places halfway, or do not.
    """

    behind: float
    through: float = 0.4
    channel: int = 1
    pairs: int = 5
    drift: float = 0.0
    waver: float = 0.0
    false: float = 0.0
    swapped: bool = False
    apart: bool = False

    @property
    def two(self) -> bool:
        return self.swapped or self.apart

    def draw(self, rng: Rng) -> Drawn:
        spectrum = FINE**-3.0
        passed = spectrum * self.through / (1 + (FINE / 1.5) ** 1.5)
        true = _in_channels(passed, SIZES) / _in_channels(spectrum, SIZES)
        names = "AB" if self.two else "A"
        cuts = {n: SIZES * (1 + SIZE * rng.uniform(-1, 1, len(SIZES)) * self.two) for n in names}
        seen = {n: np.array([rng.uniform(*SEEN[min(j, 1)]) for j in range(5)]) if self.two else 1.0 for n in names}
        flow = {n: 1 + FLOW * rng.uniform(-1, 1) for n in names}
        told = {
            (n, up): flow[n] * seen[n] * _in_channels(spectrum if up else passed, cuts[n])
            for n in names for up in (True, False)
        }  # fmt: skip
        level = self.behind / self.pairs / _in_channels(passed, SIZES)[self.channel]
        rows = self._at_once(rng, level, told) if self.two else self._in_turn(rng, level, told)
        for _ in range(5):
            counts = rng.poisson(self.false, 5)
            rows.append({"run": "zero", "place": None, "counter": "A", "number": 100 + len(rows)} | _named(counts))
        if self.two:
            counts = rng.poisson(self.false, 5)
            rows.append({"run": "zero", "place": None, "counter": "B", "number": 100 + len(rows)} | _named(counts))
        table = {key: [row[key] for row in rows] for key in rows[0]}
        record = {
            "title": "Simulated counts",
            "date": dt.date(2026, 1, 15),
            "particles": {"counts": table},
            "counters": {n: _counter(n, self.two) for n in names},
        }
        return Drawn(record, float(true[self.channel]), partial(_penetration, self.channel))

    def _in_turn(self, rng: Rng, level: float, told: dict[tuple[str, bool], Array]) -> list[dict[str, Any]]:
        rows = []
        for i in range(2 * self.pairs + 1):
            up = i % 2 == 0
            here = level * np.exp(-self.drift * (i - self.pairs) + self.waver * rng.standard_normal())
            counts = rng.poisson(here * told["A", up] + self.false)
            rows.append(_row("A", up, i) | _named(counts))
        return rows

    def _at_once(self, rng: Rng, level: float, told: dict[tuple[str, bool], Array]) -> list[dict[str, Any]]:
        rows = []
        for i in range(self.pairs):
            here = level * np.exp(-self.drift * (i - self.pairs / 2) + self.waver * rng.standard_normal())
            first = self.apart or i < self.pairs / 2
            for name, up in (("A", first), ("B", not first)):
                waver = np.exp(self.waver * rng.standard_normal())
                rows.append(_row(name, up, i) | _named(rng.poisson(here * waver * told[name, up] + self.false)))
        return rows


def _named(counts: Array) -> dict[str, int]:
    return {f"{low:g}-{high:g} um": int(n) for low, high, n in zip(SIZES[:-1], SIZES[1:], counts, strict=True)}


def _row(counter: str, up: bool, number: int) -> dict[str, Any]:
    place = "upstream" if up else "downstream"
    return {"run": "in use", "place": place, "counter": counter, "number": number}


def _counter(name: str, two: bool) -> dict[str, Any]:
    return {
        "serial": f"PC-{name}", "sample_flow": "2.83 L/min ± 5 %", "sample_time": "60 s", "counts": "by channel",
        "per": "sample", "size_error": f"{100 * SIZE * two:g} %",
    }  # fmt: skip


def _penetration(channel: int, record: dict[str, Any]) -> Taken | None:
    with patch.object(CleanAirPart, "add_clean_air"):  # averages and classes are drawn, and not on trial here
        part: Any = flowrig.reduce(record).parts["particles"]
    low, high = (f"{x:g}" for x in SIZES[channel : channel + 2])
    q = part.quantities.get(f"efficiency_{low}_to_{high}_um")
    if q is None:
        return None
    of = part.by_size
    bar = q.interval
    ends = type(bar)(of.low[channel], of.high[channel], bar.coverage, bar.factor, bar.source, bar.curved, bar.shape)
    estimate = type(q.estimate)(of.penetration.value[channel], (), {})
    return estimate, ends, part.findings


RIGS = (
    *(Rig(f"efficiency at {n} counts downstream", "counted", Filter(n, pairs=4)) for n in (3, 10, 30, 300)),
    Rig("zero counts: half a count expected downstream", "counted", Filter(0.5, through=0.01)),
    Rig("30 counts downstream, of which 10 are false", "counted", Filter(20, through=0.01, false=2.0)),
    Rig("drifting room alternating", "counted", Filter(300, drift=0.05)),
    Rig("drifting and unsteady room alternating", "counted", Filter(30_000, drift=0.05, waver=0.03)),
    Rig("drifting and unsteady room alternating, few counts", "counted", Filter(20, channel=3, drift=0.05, waver=0.03)),
    Rig("two swapped counters with different efficiencies and size cuts", "counted",
        Filter(100_000, pairs=6, drift=0.05, swapped=True)),
    Rig("two swapped counters, smallest size", "counted",
        Filter(1_000_000, pairs=6, channel=0, drift=0.05, waver=0.02, swapped=True)),
    Rig("two counters not swapped", "assumed limits", Filter(100_000, pairs=6, drift=0.05, apart=True)),
    Rig("two swapped counters, 12 counts downstream", "counted",
        Filter(12, pairs=6, channel=3, drift=0.05, swapped=True)),
)  # fmt: skip
