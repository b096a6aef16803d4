"""Averages as the standards have them, over twelve channels of size, from the channels that a counter has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from flowrig.physics.classes import PARTICULATE
from flowrig.physics.particles import geometric_mean_size
from flowrig.physics.size_averages import (
    AVERAGED,
    CHANNELS,
    SAME,
    efficiency_at_size,
    particulate_efficiency,
    range_averages,
)
from flowrig.records.sizes import Sizes
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.within_channels import ONE_CHANNEL, content, content_limits, off_by
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.propagate import linear

EDGES: Array = np.array(CHANNELS)
STRADDLES = 7  # the channel from 2.2 to 3.0 um holds the limit of ePM2.5
CUT = "ePM2.5 cut"
# From which to which size each average goes. [m]
BOUNDS = {**AVERAGED, **{name: (CHANNELS[0], limit) for name, (limit, _) in PARTICULATE.items()}}


@dataclass(frozen=True)
class TwelveChannels:
    """How a counter's efficiencies make the averages of the standards.

    Attributes
    ----------
    by_size : BySize
    parts : list of slice
        Runs of channels with both ends that are next to each other.
    whole : bool
        One of them reaches from 0.3 to 3 um: the channel that holds 2.5 um is taken whole, else cut there.
    limits : dict of str to float
        By how much each average may be off as the counter's channels hold other sizes than their means.
    """

    by_size: BySize
    parts: list[slice]
    whole: bool
    limits: dict[str, float]

    @classmethod
    def of(cls, by_size: BySize) -> TwelveChannels:
        """For this counter."""
        parts = _runs(by_size)
        whole = any(_reaches(by_size, part, EDGES[0], EDGES[STRADDLES + 1]) for part in parts)
        bare = cls(by_size, parts, whole, {})
        held = 1.0 - by_size.penetration.value
        moved = bare._averages(held + content_limits(by_size, standard=True), (*BOUNDS, CUT))
        limits = {n: float(np.squeeze(moved[n] - x)) for n, x in bare._averages(held, (*BOUNDS, CUT)).items()}
        return cls(by_size, parts, whole, limits)

    def bounds(self, name: str) -> tuple[float, float]:
        """From which to which size an average goes here, a channel that is taken whole included. [m]"""
        lower, upper = BOUNDS[name]
        return (lower, CHANNELS[STRADDLES + 1]) if name == "ePM2.5" and self.whole else (lower, upper)

    def averages(self, efficiency: Estimate, names: Sequence[str]) -> dict[str, Estimate]:
        """The averages asked for, of any efficiencies in these channels; NaN where one cannot be told."""
        inputs = {"efficiency": efficiency, "content": content()}
        return linear(self._told, inputs, (CHANNEL,), dict.fromkeys(names, ()), names=tuple(names))

    def covers(self, name: str) -> bool:
        """Whether channels with both ends cover an average without a gap."""
        return any(_reaches(self.by_size, part, *BOUNDS[name]) for part in self.parts)

    def why_not(self, name: str) -> str:
        """Why an average is not told."""
        by_size, asked = self.by_size, Sizes(*BOUNDS[name])
        closed = np.flatnonzero(np.isfinite(by_size.upper))
        if not len(closed):
            return f"{asked}: no channel has an upper end"
        if self.covers(name):
            return f"{asked}: {ONE_CHANNEL if len(closed) < 2 else 'a channel in it has no value'}"
        reach = Sizes(float(by_size.lower[closed[0]]), float(by_size.upper[closed[-1]]))
        gap = ", with a gap between" if reach.holds(asked) else ""
        return f"{asked}: the channels with both ends are {reach}{gap}"

    def _told(self, *, efficiency: Array, content: Array, names: Sequence[str]) -> Mapping[str, Any]:
        found = self._averages(efficiency, names)
        return {name: off_by(found[name], content * self.limits[name]) for name in names}

    def _averages(self, efficiency: Array, names: Sequence[str]) -> dict[str, Array]:
        """Averages over the last axis; NaN where a channel that counts is in none of the counter's."""
        by_size, ends = self.by_size, EDGES[1:].copy()
        if not self.whole:  # a counter may end at 2.5 um, and so does the channel that holds it
            ends[STRADDLES] = PARTICULATE["ePM2.5"][0]
        sizes = np.asarray(geometric_mean_size(EDGES[:-1], ends))
        at: Array = np.full((*efficiency.shape[:-1], len(sizes)), np.nan)
        for part in self.parts:
            own = efficiency_at_size(efficiency[..., part], by_size.lower[part], by_size.upper[part], sizes)
            at = np.where(np.isnan(at), own, at)
        out = dict(zip(AVERAGED, range_averages(at), strict=True))
        for name, (limit, aerosol) in {**PARTICULATE, CUT: PARTICULATE["ePM2.5"]}.items():
            if name in names:
                how = "cut" if name == CUT or (name == "ePM2.5" and not self.whole) else "whole"
                out[name] = particulate_efficiency(at, EDGES[:-1], EDGES[1:], limit, aerosol, how)
        return {name: np.asarray(out[name]) for name in names}


def _runs(by_size: BySize) -> list[slice]:
    runs: list[slice] = []
    for k in range(len(by_size)):
        if not np.isfinite(by_size.upper[k]):
            continue
        last = runs[-1] if runs else None
        if last is not None and last.stop == k and abs(by_size.lower[k] / by_size.upper[k - 1] - 1.0) < SAME:
            runs[-1] = slice(last.start, k + 1)
        else:
            runs.append(slice(k, k + 1))
    return runs


def _reaches(by_size: BySize, part: slice, lower: float, upper: float) -> bool:
    return Sizes(float(by_size.lower[part][0]), float(by_size.upper[part][-1])).holds(Sizes(lower, upper))
