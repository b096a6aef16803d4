"""What a particle counter may get wrong, as causes known by its serial number and the date of its calibration."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.physics.sampling import density_at_limits, mean_log_size, spectrum_slope
from flowrig.studies.counted_ratio import Ratio
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array

FEW = 10.0  # counts behind the filter in a channel, below which they do not tell the form of the spectrum
STEEPEST = 3.0  # of a penetration at a limit against that in the middle of its channel
SIZE_LIMIT = 0.10  # ISO 21501-4:2018 (from memory)
FLOW_LIMIT = 0.05  # the same
# the same: from 30 to 70 % of particles at the smallest size, 90 to 110 % above; as half the logarithm of their ratio
SMALLEST_LIMIT, COUNT_LIMIT = 0.42, 0.1
ABOVE_SMALLEST = 1.5  # times the smallest size, from which the second holds
MOST_HIDDEN = 0.95  # beyond, a counter shows fewer for more: the loss is an alarm long before
APART = math.sqrt(0.5)  # of the size limit, for each limit's own error; own judgement, no source
DEAD_TIME_LIMIT = 0.5  # of the dead time; own judgement, no source


@dataclass(frozen=True)
class Counter:
    """A counter.

    Attributes
    ----------
    name : str
    identity : str
        By serial number and date, or local to the record.
    flow : float
        Sample flow. [m^3/s]
    size_limit, flow_limit : float
        Of the limits of the channels, and of the sample flow; each a share.
    count_limit : float or None
        How far the share of particles that it sees may be off; None: as its standard allows.
    dead_time : float
        0 where none is known. [s]
    dead_time_limit : float
        A share of it.
    most : float
        Concentration up to which it is to be used, NaN where none is stated. [1/m^3]
    serial : str
        In words behind its name.
    """

    name: str
    identity: str
    flow: float = math.nan
    size_limit: float = SIZE_LIMIT
    flow_limit: float = FLOW_LIMIT
    count_limit: float | None = None
    dead_time: float = 0.0
    dead_time_limit: float = DEAD_TIME_LIMIT
    most: float = math.nan
    serial: str = ""

    @property
    def label(self) -> str:
        return f"counter {self.name}{self.serial}".strip()

    def counting_limit(self, lower: Array) -> Array:
        """How far the share of particles seen may be off, in each channel."""
        if self.count_limit is not None:
            return np.full(len(lower), self.count_limit)
        return np.where(lower >= ABOVE_SMALLEST * lower[0], COUNT_LIMIT, SMALLEST_LIMIT)


def counter_parts(ratio: Ratio, counters: Mapping[str, Counter], lower: Array, upper: Array) -> dict[Cause, Array]:
    """What the counters of a run leave open of its ratio, each a share of it by channel; signed.

    Parameters
    ----------
    ratio : Ratio
    counters : mapping
    lower, upper : array, shape (k,)
        Limits of the channels. [m]

    Returns
    -------
    dict of Cause to array, shape (n, k)
        Movement of the logarithm of the ratio. What moves counts before and behind the filter alike is not there.
    """
    found: dict[Cause, Array] = {}
    behind, before = _spectra(ratio, lower, upper)
    for (name, up), side in ratio.sides.items():
        counter = counters[name]
        sign = np.where(up, side.share, -side.share)

        def add(what: str, limit: str, parts: Array, counter: Counter = counter) -> None:
            cause = Cause(
                f"{counter.identity}|{what}{limit}",
                n=len(parts),
                shape="rectangular",
                scope="calibration",
                label=f"{counter.label} {what}",
            )
            found[cause] = found.get(cause, np.zeros(parts.shape)) + parts

        root = math.sqrt(3.0)
        add("sample flow", f" ±{counter.flow_limit:.6g}", sign[np.newaxis] * (counter.flow_limit / root))
        seen = counter.counting_limit(lower)
        add("counting efficiency", _stated(counter.count_limit, lower), sign[np.newaxis] * (seen / root))
        edges, moved = _edges(lower, upper, *(before if up else behind))
        if len(edges):
            # whether the limits of a counter err alike is not known: wide enough for either
            part = sign * moved * (counter.size_limit / root)
            add("size of all limits alike", f" ±{counter.size_limit:.6g}", np.sum(part, axis=0, keepdims=True))
            named = "/".join(f"{e * 1e6:.6g}" for e in edges)
            add("size of each limit", f" {named} um ±{counter.size_limit:.6g}", part * APART)
        if counter.dead_time > 0.0:
            # the count stands still, not the true concentration: d ln f / d ln tau = x/(1 - x)
            part = -sign * side.hidden / (1.0 - np.minimum(side.hidden, MOST_HIDDEN)) * (counter.dead_time_limit / root)
            add("dead time", f" {counter.dead_time:.6g} s ±{counter.dead_time_limit:.6g}", part[np.newaxis])
    return {cause: parts for cause, parts in found.items() if np.any(np.abs(parts) > 1e-12)}


def _stated(limit: float | None, lower: Array) -> str:
    return f" as its standard allows from {lower[0] * 1e6:.6g} um" if limit is None else f" ±{limit:.6g}"


def _spectra(ratio: Ratio, lower: Array, upper: Array) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Of counts behind and before the filter, what each limit of a channel lets in or out.

    Behind the filter the spectrum is that before it times the penetration, which in a channel goes as a power of size.
    """
    counts = np.sum([side.counts for (_, up), side in ratio.sides.items() if up], axis=0)
    slope = np.asarray(spectrum_slope(counts, lower, upper))
    through = slope + _penetration_slope(ratio, slope, lower, upper)
    before, behind = density_at_limits(slope, lower, upper), density_at_limits(through, lower, upper)
    return (np.asarray(behind[0]), np.asarray(behind[1])), (np.asarray(before[0]), np.asarray(before[1]))


def _penetration_slope(ratio: Ratio, slope: Array, lower: Array, upper: Array) -> Array:
    """Power of size by which the penetration goes in each channel.

    From its neighbours, each at the mean size of its particles; counts too few to tell leave it flat.
    """
    told = (ratio.counted[:, 1] >= FEW) & (ratio.counted[:, 0] >= FEW) & (ratio.value > 0.0)
    if len(lower) < 2:
        return np.zeros(len(lower))
    place = np.asarray(mean_log_size(slope, lower, upper))
    step = np.diff(np.log(np.where(told, ratio.value, 1.0))) / np.diff(place)
    step = np.where(told[1:] & told[:-1], step, 0.0)
    own = np.convolve(step, [0.5, 0.5])
    own[0], own[-1] = step[0], step[-1]
    with np.errstate(divide="ignore"):
        width = np.where(np.isfinite(upper), np.log(upper / lower), 2.0 * (place - np.log(lower)))
    most = 2.0 * math.log(STEEPEST) / width
    return np.asarray(np.clip(own, -most, most))


def _edges(lower: Array, upper: Array, at_lower: Array, at_upper: Array) -> tuple[Array, Array]:
    """The limits of the channels, each once, and how the counts (e, k) go with it: one that lies too high takes from
    the channel above it and gives to the one below."""
    edges = np.unique(np.concatenate([lower, upper[np.isfinite(upper)]]))
    keep = np.concatenate([[True], np.diff(edges) > 1e-9 * edges[1:]])
    edges = edges[keep]
    if np.any(np.isnan(at_lower)):
        return np.zeros(0), np.zeros((0, len(lower)))
    moved = np.zeros((len(edges), len(lower)))
    for j in range(len(lower)):
        moved[np.argmin(np.abs(edges - lower[j])), j] -= at_lower[j]
        if np.isfinite(upper[j]):
            moved[np.argmin(np.abs(edges - upper[j])), j] += at_upper[j]
    return edges, moved
