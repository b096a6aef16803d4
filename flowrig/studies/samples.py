"""Samples of a particle counter: raw counts by channel, with when, where and by which counter they were taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flowrig.uncertainty.estimate import Array, Bools

UPSTREAM, DOWNSTREAM = "upstream", "downstream"


@dataclass(frozen=True)
class Samples:
    """One row a sample.

    Attributes
    ----------
    time : array, shape (n,)
        Middle of the sample, or its number in the order of taking.
    upstream : array of bool, shape (n,)
        Taken before the filter; else behind it.
    counter : tuple of str, length n
    point : tuple of str, length n
        Place in the outlet; empty where there is one alone.
    velocity : array, shape (n,)
        Of the air at that point, NaN where it was not read. [m/s]
    counts : array, shape (n, k)
        Particles counted in each channel, none of them twice.
    volume : array, shape (n,)
        Of air sampled. [m^3]
    hidden : array, shape (n,)
        Particles within the dead time of one, on average: a count is short by the factor exp of this.
    lower, upper : array, shape (k,)
        Limits of the channels, rising; the last one may be infinite. [m]
    """

    time: Array
    upstream: Bools
    counter: tuple[str, ...]
    point: tuple[str, ...]
    velocity: Array
    counts: Array
    volume: Array
    hidden: Array
    lower: Array
    upper: Array

    def __len__(self) -> int:
        return len(self.time)

    @property
    def gain(self) -> Array:
        """Concentration that one count stands for. [1/m^3]"""
        return np.asarray(np.exp(self.hidden) / self.volume)

    @property
    def counters(self) -> list[str]:
        """Names, in the order met."""
        return list(dict.fromkeys(self.counter))

    def only(self, rows: Sequence[int] | Array | Bools) -> Samples:
        """Some of the samples."""
        at = np.arange(len(self))[np.asarray(rows)] if len(np.asarray(rows)) else np.zeros(0, dtype=int)
        names = {f: tuple(getattr(self, f)[i] for i in at) for f in ("counter", "point")}
        arrays = {f: getattr(self, f)[at] for f in ("time", "upstream", "velocity", "counts", "volume", "hidden")}
        return replace(self, **names, **arrays)

    def by(self, counter: str) -> Bools:
        return np.asarray([name == counter for name in self.counter], dtype=bool)


def samples_of(
    counts: Array,
    upstream: Sequence[bool] | Bools,
    lower: Array,
    upper: Array,
    volume: Array | float,
    *,
    time: Array | None = None,
    counter: Sequence[str] | None = None,
    point: Sequence[str] | None = None,
    velocity: Array | None = None,
    hidden: Array | None = None,
) -> Samples:
    """Samples from what is known of them: one counter at one point, in order of their rows, where nothing else is said."""
    n = len(counts)
    return Samples(
        np.arange(n, dtype=float) if time is None else np.asarray(time, dtype=float),
        np.asarray(upstream, dtype=bool),
        tuple(counter) if counter is not None else ("",) * n,
        tuple(point) if point is not None else ("",) * n,
        np.full(n, np.nan) if velocity is None else np.asarray(velocity, dtype=float),
        np.asarray(counts, dtype=float),
        np.broadcast_to(np.asarray(volume, dtype=float), (n,)),
        np.zeros(n) if hidden is None else np.asarray(hidden, dtype=float),
        np.asarray(lower, dtype=float),
        np.asarray(upper, dtype=float),
    )
