"""What a filter lets through in each channel of a particle counter, with error bars that respect few counts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flowrig.records.declare import Finding
from flowrig.uncertainty.estimate import Array, Bools, Estimate
from flowrig.uncertainty.propagate import linear

CHANNEL = "channel"  # axis of the channels of a counter


@dataclass
class BySize:
    """Penetration by size.

    Attributes
    ----------
    lower : array, shape (k,)
        Lower limit of each channel, rising. [m]
    upper : array, shape (k,)
        Upper limit; infinite for an open last channel. [m]
    penetration : Estimate
        Axis ``channel``, as measured: below 0 and above 1 are kept. What counting leaves open is a cause of each
        channel's own (``each="channel"``); causes that channels share (size cuts, background) are signed.
    low, high : array, shape (k,)
        Ends of the coverage interval of the penetration, exact where counts are few. Where nothing came through,
        ``low`` is 0 and ``high`` a one-sided limit.
    upper_only : array of bool, shape (k,)
        Nothing came through.
    counted : array, shape (k, 2)
        Raw counts before and behind the filter, in all samples together.
    coverage : float
    findings : list of Finding
    """

    lower: Array
    upper: Array
    penetration: Estimate
    low: Array
    high: Array
    upper_only: Bools
    counted: Array
    coverage: float
    findings: list[Finding] = field(default_factory=list)

    @property
    def efficiency(self) -> Estimate:
        """1 less the penetration; its interval is 1 - high to 1 - low."""
        out = linear(_held_back, {"penetration": self.penetration}, (CHANNEL,), {"efficiency": (CHANNEL,)})
        return out["efficiency"]

    def __len__(self) -> int:
        return int(np.size(self.lower))


def _held_back(*, penetration: Array) -> dict[str, Array]:
    return {"efficiency": 1.0 - penetration}
