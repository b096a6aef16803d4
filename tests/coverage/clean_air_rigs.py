"""A nozzle chamber and a particle counter before and behind a cleaner: flow times efficiency, from simulated counts.

The true penetration of each channel is known; what came through is drawn by chance, particle by particle. Two counters
see a little apart, which is one error of all channels. The counts of wide channels come from a smooth curve of
efficiency and particles that get fewer with size as the rig draws it; the truth is then the mean over the logarithm of
size. All invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal

import numpy as np

import flowrig
from flowrig.records.sizes import Sizes
from flowrig.studies.clean_air_flow import clean_air_flow
from flowrig.studies.clean_air_rate import CleanAir, rates_of
from flowrig.studies.counted import three_ways
from flowrig.studies.size_classes import SizeClasses
from flowrig.studies.size_ranges import channels, range_over
from flowrig.uncertainty.cause import Cause
from tests.coverage.rigs import Array, Drawn, Nozzle, Rig, Rng, Taken
from tests.studies.counted_filters import beside, filter_by_size

APART = Cause("rig:counters apart", scope="setup", label="counters apart")
UM = 1e-6
TWO = (0.3, 0.5, 1.0)
FIVE = (0.3, 0.5, 1.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Counted:
    """A cleaner whose flow is measured by a nozzle and whose particles are counted.

    Attributes
    ----------
    before : float
        Particles expected before the filter in each channel; in the first one, where the curve is smooth.
    passed : tuple of float
        True penetration of each channel.
    edges : tuple of float
        Of the channels. [um]
    sizes : tuple of float
        Of the rate on trial. [um]
    apart : float
        Standard deviation of the ratio of the two counters, stated and drawn.
    smooth : bool
        The penetration is not given by channel, but by a curve over size.
    """

    before: float
    passed: tuple[float, ...] = (0.5, 0.3)
    edges: tuple[float, ...] = TWO
    sizes: tuple[float, float] = (0.3, 0.5)
    apart: float = 0.0
    smooth: bool = False
    nozzle: Nozzle = field(default_factory=lambda: Nozzle(100.0))

    def draw(self, rng: Rng) -> Drawn:
        drawn = self.nozzle.draw(rng)
        passed, held, share = self._smooth(rng) if self.smooth else (np.array(self.passed), self._held(), 1.0)
        gain = np.exp(self.apart * rng.standard_normal())
        before = rng.poisson(self.before * share, len(passed))
        behind = rng.poisson(self.before * share * passed * gain)
        counts = np.stack([np.maximum(before, 1), behind], axis=1)
        taken = partial(self.taken, counts)
        return Drawn(drawn.record, drawn.truth * held, taken)

    def taken(self, counts: Array, record: dict[str, Any]) -> Taken | None:
        result = flowrig.reduce(record)
        shared = {APART: self.apart} if self.apart else None
        by_size = filter_by_size(counts, self.edges, shared=shared)
        flow = clean_air_flow(result, beside(filter_state="clean", measured_on="system"))
        # one range is on trial: the others need not be drawn
        found = CleanAir(by_size, three_ways(by_size), flow, [], {}, {}, SizeClasses(), "system", None, 1)
        lower, upper = (size * UM for size in self.sizes)
        [own] = [each for each in channels(by_size) if each.sizes.same(Sizes(lower, upper))] or [
            range_over(by_size, Sizes(lower, upper))
        ]
        [rate] = rates_of([own], found)
        assert rate.clean_air is not None
        sized = rate.clean_air
        bar = sized.quantity.interval
        if sized.one_sided:  # no more than the flow, for the width
            assert flow.quantity is not None
            bar = replace(bar, high=flow.quantity.interval.high)
        return sized.quantity.estimate, bar, flow.findings

    def _held(self) -> float:
        low, high = (np.array(end) for end in (self.edges[:-1], self.edges[1:]))
        inside = np.clip(np.log(np.minimum(high, self.sizes[1]) / np.maximum(low, self.sizes[0])), 0.0, None)
        return float(np.sum(inside * (1 - np.array(self.passed))) / np.sum(inside))

    def _smooth(self, rng: Rng) -> tuple[Array, float, Array]:
        """What each channel lets through by what is in it, the true efficiency over the range, and its particles."""
        least, steep, middle = rng.uniform(0.25, 0.5), rng.uniform(1.0, 2.5), rng.uniform(0.6, 1.2)

        def efficiency(size: Array) -> Array:
            return np.asarray(least + (0.97 - least) / (1 + (size / middle) ** -steep))

        n = rng.uniform(1.0, 4.5)
        passed, inside = [], []
        for low, high in zip(self.edges[:-1], self.edges[1:], strict=True):
            size = np.geomspace(low, high, 201)
            passed.append(np.average(1 - efficiency(size), weights=size**-n))
            inside.append(low**-n - high**-n)
        over = np.geomspace(*self.sizes, 401)
        return np.array(passed), float(np.mean(efficiency(over))), np.array(inside) / inside[0]


few: Callable[..., Counted] = partial(Counted, passed=(0.05, 0.03))


def rig(name: str, expected: Literal["normal", "assumed limits"], setup: Counted) -> Rig:
    return Rig(f"clean-air rate, {name}", expected, setup, slow=True)


# At few counts the exact limits hold more than they say, as all of a count that comes in whole numbers do.
RIGS: tuple[Rig, ...] = (
    rig("5000 counts before", "normal", Counted(5000.0)),
    rig("5000 counts before, counters apart", "normal", Counted(5000.0, apart=0.03)),
    rig("5000 counts before, over a range", "normal",
        Counted(5000.0, passed=(0.4, 0.4), sizes=(0.4, 0.9), apart=0.03)),
    rig("60 counts before, 3 behind", "assumed limits", few(60.0)),
    rig("60 counts before, 3 behind, over a range", "assumed limits", few(60.0, sizes=(0.35, 0.9))),
    rig("12 counts before, half come through", "assumed limits", Counted(12.0)),
    rig("400 counts before, hardly one behind", "assumed limits", Counted(400.0, passed=(0.001, 0.001))),
    rig("five wide channels, dust range", "assumed limits",
        Counted(200_000.0, edges=FIVE, sizes=(0.5, 3.0), smooth=True)),
    rig("five wide channels, smoke range", "assumed limits",
        Counted(200_000.0, edges=FIVE, sizes=(0.3, 1.0), smooth=True)),
)  # fmt: skip
