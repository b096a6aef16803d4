"""Particle counts of a record: efficiency by size, the share that goes round the filter, two counters side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from flowrig.records.count_record import CountRecord
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.particle_facts import BESIDE, CUMULATIVE, IN_USE, NO_FILTER, TAPED, TIGHT, ZERO
from flowrig.records.sizes import Sizes
from flowrig.studies import particle_flags as flags
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.bypass import Bypass, bypass
from flowrig.studies.clean_air_part import CleanAirPart
from flowrig.studies.counted_ratio import Key, Ratio, counted_ratio
from flowrig.studies.counter import FEW, Counter
from flowrig.studies.counting import Background, Given, Observed, by_size, observed
from flowrig.studies.result import Quantity, Result
from flowrig.studies.samples import Samples
from flowrig.studies.sampling import Sampling, aspiration, sampling
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.estimate import Bools, Estimate
from flowrig.uncertainty.interval import Interval, coverage_factor, intervals

FILTERED = (IN_USE, TAPED, TIGHT)
SETTLED = 0.05  # of u: to what share the ends of a drawn interval are to settle, as in a prediction
HALF = 0.5  # of the ratio: a standard error by which samples do not agree
PAIRS = 5  # samples behind the filter, below which that is told


@dataclass
class ParticlesResult(CleanAirPart):
    """What particle counts came to.

    Attributes
    ----------
    runs : dict of str to BySize
        Penetration by size of each run with a filter; of these `IN_USE` is what the record is about.
    beside : BySize or None
        Of two counters beside each other, what the second shows over what the first does.
    pair : tuple of str
        The two counters.
    bypass : dict of str to Bypass
        By the run that tells it.
    samples : dict of str to tuple of int
        Samples before and behind the filter in each run.
    """

    runs: dict[str, BySize] = field(default_factory=dict)
    beside: BySize | None = None
    pair: tuple[str, ...] = ()
    bypass: dict[str, Bypass] = field(default_factory=dict)
    samples: dict[str, tuple[int, int]] = field(default_factory=dict)

    @property
    def by_size(self) -> BySize | None:
        """Of the filter as it is used."""
        return self.runs.get(IN_USE)


def reduce_counts(result: Result) -> ParticlesResult:
    """The part `particles` of a record, reduced."""
    content: CountRecord = result.record.parts["particles"]
    read = sampling(result.record, content)
    part = ParticlesResult("particles", "Particle counts", findings=read.findings)
    place = result.record.id
    given = Given(place, read.counters, read.background(place), aspiration(content, read.table.lower))
    if not given.background:
        part.findings.append(Finding(flags.NO_ZERO, "no run 'zero'"))
    correlation = _observed(read, NO_FILTER, given, result.coverage)
    for run in FILTERED:
        own = _observed(read, run, given, result.coverage)
        if own is None:
            continue
        same = correlation if correlation is not None and _alike(own, correlation) else None
        if correlation is not None and same is None:
            part.findings.append(Finding(flags.NOT_ALIKE, f"{run}, {NO_FILTER}"))
        found = by_size(own, read.table.lower, read.table.upper, same, result.coverage, bool(given.background))
        found.findings = list(_found(run, own, found, same, given, read.of(run)))
        up = read.of(run).upstream
        part.runs[run], part.samples[run] = found, (int(np.sum(up)), int(np.sum(~up)))
        part.findings += found.findings
        for i in range(len(found)):
            if np.isfinite(found.penetration.value[i]):
                quantity = efficiency_quantity(found, i, run)
                part.quantities[quantity.name] = quantity
    _bypasses(part, result)
    part.sentences += _sentences(part, read, correlation, content)
    if part.by_size is not None and not np.any(_exchanged(part.by_size)):
        part.add_clean_air(result, part.by_size, content.particles)
    _beside(part, read, given, result)
    return part


def _observed(read: Sampling, run: str, given: Given, coverage: float) -> Observed | None:
    samples = read.of(run)
    if not len(samples):
        return None
    return observed(counted_ratio(samples, coverage), run, given, samples.lower, samples.upper, coverage)


def _exchanged(of: BySize) -> Bools:
    """Channels with clearly more behind the filter, where no other channel says that it holds anything back."""
    with np.errstate(invalid="ignore"):
        more, less = of.low > 1.0, of.high < 1.0
    return np.asarray(more & ~np.any(less))


def _alike(one: Observed, other: Observed) -> bool:
    """Whether the same counters stood on the same sides."""
    return set(one.ratio.sides) == set(other.ratio.sides)


def sizes_of(of: BySize, channel: int) -> Sizes:
    """Of one channel."""
    return Sizes(float(of.lower[channel]), float(of.upper[channel]))


def counts_interval(low: float, high: float, estimate: Estimate, coverage: float) -> Interval:
    """An interval from the exact limits of counts."""
    factor = coverage_factor(coverage, estimate.dof)
    no = np.zeros((), dtype=bool)
    return Interval(np.asarray(low), np.asarray(high), coverage, factor, "counts", no, no)


def efficiency_quantity(of: BySize, channel: int, run: str = IN_USE) -> Quantity:
    """Efficiency of one channel with its interval."""
    sizes, estimate = sizes_of(of, channel), one_of(of.efficiency, CHANNEL, channel)
    bar = counts_interval(1.0 - of.high[channel], 1.0 - of.low[channel], estimate, of.coverage)
    own = "" if run == IN_USE else f", {run}"
    name = f"efficiency{own} {sizes}".replace(",", "").replace(" ", "_")
    bound: Literal["", "at least"] = "at least" if of.upper_only[channel] else ""
    return Quantity(name, f"efficiency{own}, {sizes}", "ratio", "%", estimate, bar, bound=bound)


def _found(
    run: str, own: Observed, of: BySize, correlation: Observed | None, given: Given, samples: Samples
) -> Iterator[Finding]:
    """What the counts of a run say of themselves."""
    ratio, label = own.ratio, "" if run == IN_USE else f"{run}: "

    def told(where: Bools) -> str:
        return label + ", ".join(str(sizes_of(of, int(i))) for i in np.flatnonzero(where))

    value = of.penetration.value
    with np.errstate(invalid="ignore"):
        checks: list[tuple[FlagMeaning, Bools]] = [
            (flags.NOTHING, of.upper_only & np.isfinite(value)),
            (flags.NONE_BEFORE, np.isnan(value)),
            (flags.BELOW_ZERO, value > 1.0),
            (flags.MORE_BEHIND, _exchanged(of)),
            (flags.BELOW_NOTHING, value < 0.0),
            (flags.MANY_FALSE, ((own.behind.value > 0.5 * ratio.value) & ~of.upper_only) | (own.before.value > 0.5)),
            (flags.NO_AGREEMENT, np.maximum(ratio.unsteady, ratio.points) > HALF),
            (flags.DRIFT_UNTOLD, ratio.untold),
            (flags.POINTS_DIFFER, ratio.points * np.abs(ratio.value) > ratio.u),
        ]
        few = (of.counted[:, 1] < FEW) & np.isfinite(value)
        false = own.behind.high - own.behind.low
        checks.append((flags.FEW_ZERO, (false > ratio.high - ratio.low) & ~of.upper_only & np.isfinite(value)))
    if not given.background:
        checks.append((flags.FEW_NO_ZERO, few & ~of.upper_only))
    if ratio.burst is not None:
        checks.append((flags.BURST, np.isfinite(ratio.burst.ratio)))
    yield from (Finding(flag, told(where)) for flag, where in checks if np.any(where))
    if ratio.repeats == 1:
        yield Finding(flags.ONE_SAMPLE, f"{label or 'run '}{run if not label else ''}".strip(": "))
    elif ratio.repeats < PAIRS:
        yield Finding(flags.FEW_SAMPLES, f"{label}{ratio.repeats} samples behind the filter")
    if ratio.outside:
        yield Finding(flags.OUTSIDE, f"{label}{ratio.outside} of {ratio.repeats}")
    if len(set(samples.point)) > 1 and np.any(np.isnan(samples.velocity[~samples.upstream])):
        yield Finding(flags.NO_VELOCITY, f"{label}{len(set(samples.only(~samples.upstream).point))} points")
    if correlation is None and not _swapped(ratio):
        pair = {up: name for name, up in ratio.sides}
        yield Finding(flags.NOT_SWAPPED, f"{label}{pair[True]} upstream, {pair[False]} downstream")


def _swapped(ratio: Ratio) -> bool:
    """Whether every counter stood on both sides."""
    return all((name, not up) in ratio.sides for name, up in ratio.sides)


def _bypasses(part: ParticlesResult, result: Result) -> None:
    system = part.by_size
    runs = [(TAPED, system, part.runs.get(TAPED)), (TIGHT, part.runs.get(TIGHT), None)]
    for run, used, media in runs:
        if used is None or (run == TAPED and media is None):
            continue
        found = part.bypass[run] = bypass(used, media)
        part.findings += found.findings
        own = "" if run == TAPED else f", {run}"
        wanted = {} if found.combined is None else {f"bypass{own}": found.combined}
        for i in np.flatnonzero(found.told):
            wanted[f"bypass{own}, {sizes_of(used, int(i))}"] = one_of(found.share, CHANNEL, int(i))
        options: dict[str, Any] = {"samples": result.samples, "seed": result.seed, "tolerance": SETTLED}
        for label, bar in intervals(wanted, result.coverage, **options).items():
            name = label.replace(",", "").replace(" ", "_")
            part.quantities[name] = Quantity(name, label, "ratio", "%", wanted[label], bar)


def _beside(part: ParticlesResult, read: Sampling, given: Given, result: Result) -> None:
    """Two counters at one place: what the second shows over what the first does, with the bar of counting alone."""
    samples = read.of(BESIDE)
    if not len(samples):
        return
    first, second = sorted(samples.counters)
    at_first = {t for t, name in zip(samples.time, samples.counter, strict=True) if name == first}
    at_second = {t for t, name in zip(samples.time, samples.counter, strict=True) if name == second}
    both = at_first & at_second
    samples = samples.only([i for i, t in enumerate(samples.time) if t in both])
    samples = replace(samples, upstream=samples.by(first), point=("",) * len(samples))
    exact = {
        name: Counter(name, counter.identity, size_limit=0.0, flow_limit=0.0, count_limit=0.0)
        for name, counter in given.counters.items()
    }
    sides = ((first, True), (second, False))
    false: dict[Key, Background] = {key: given.background[key] for key in sides if key in given.background}
    alone = Given(given.place, exact, false)
    own = observed(
        counted_ratio(samples, result.coverage), BESIDE, alone, samples.lower, samples.upper, result.coverage
    )
    found = by_size(own, samples.lower, samples.upper, None, result.coverage)
    part.beside, part.pair = found, (first, second)
    apart = []
    for i in range(len(found)):
        if not np.isfinite(found.penetration.value[i]):
            continue
        sizes, estimate = sizes_of(found, i), one_of(found.penetration, CHANNEL, i)
        bar = counts_interval(found.low[i], found.high[i], estimate, result.coverage)
        name = f"counter {second} over {first} {sizes}".replace(" ", "_")
        label = f"counter {second} over {first}, {sizes}"
        part.quantities[name] = Quantity(name, label, "ratio", "%", estimate, bar)
        if not found.low[i] <= 1.0 <= found.high[i]:
            apart.append(f"{100 * float(estimate.value):.0f} % at {sizes}")
    if apart:
        part.findings.append(Finding(flags.COUNTERS_DIFFER, f"counter {second} over {first}: {'; '.join(apart)}"))
    part.sentences.append(_compared(first, second, apart, found))


def _compared(first: str, second: str, apart: list[str], found: BySize) -> str:
    if apart:
        more = f", {', '.join(apart[1:])}" if len(apart) > 1 else ""
        share, _, sizes = apart[0].partition(" at ")
        return (
            f"Beside each other, counter {second} shows {share} of what counter {first} does at {sizes}{more}: more "
            "than chance. Nothing was corrected by it; counters that are swapped, or counted with no filter, are freed "
            "of it."
        )
    told = np.isfinite(found.penetration.value)
    if not np.any(told):
        return f"Beside each other, counters {first} and {second} counted too little to be held against each other."
    widest = float(np.max((found.high - found.low)[told])) / 2.0
    return (
        f"Beside each other, counters {first} and {second} show the same within chance, which is up to "
        f"{100 * widest:.0f} % in a channel."
    )


def _sentences(
    part: ParticlesResult, read: Sampling, correlation: Observed | None, content: CountRecord
) -> Iterator[str]:
    own = read.of(IN_USE)
    if part.by_size is not None:
        names = own.counters
        way = f"counter {names[0]}, upstream and downstream in turn; a drift between is taken out in its logarithm"
        if len(names) > 1:
            moved = all(len(set(own.upstream[own.by(name)].tolist())) > 1 for name in names)
            way = f"counters {' and '.join(names)} at once{', which changed places' if moved else ''}"
        yield f"Counted by {way}."
    if len(set(own.only(~own.upstream).point)) > 1:
        yield "Points of the outlet are weighed by their velocity; each has to lie in the core of the jet."
    if any(s.value("counts") == CUMULATIVE for s in content.counters.values()):
        yield "Counts are cumulative as printed; a channel is the difference of two."
    if correlation is not None and part.runs:
        yield "Penetrations are over what was counted in the same way with no filter."
    missed = 1.0 - float(np.exp(-np.max(own.hidden))) if len(own) else 0.0
    if missed > 0.0:
        yield f"Particles missed as two came at once were put back: up to {100.0 * missed:.2g} % of a sample."
    if read.table.rows(ZERO):
        yield f"False counts through the zero filter were taken off: {_false_counts(read)}."
    for run, found in part.bypass.items():
        if found.combined is None:
            continue
        bar = part.quantities["bypass" if run == TAPED else "bypass_tight_filter"]
        low, high = float(bar.low), float(bar.high)
        how = "by taping the seams" if run == TAPED else "by a tight filter in the same frame"
        if low <= 0.0:
            yield f"No air is seen to go round the filter ({how}): at most {_percent(high)} %."
        else:
            share, ends = _percent(float(bar.value)), f"{_percent(low)} to {_percent(high)}"
            yield f"Round the filter goes {share} % of the air, {ends} % ({how})."


def _false_counts(read: Sampling) -> str:
    """How many each counter showed in how much air."""
    rows, by = read.table.rows(ZERO), np.array(read.table.counter)
    told = []
    for name in dict.fromkeys(by[rows].tolist()):
        own = [i for i in rows if by[i] == name]
        litres = 1e3 * float(np.sum(read.table.volume[own]))
        told.append(f"{float(np.sum(read.table.counts[own])):.0f} in {litres:.3g} L by counter {name}")
    return ", ".join(told)


def _percent(percentage: float) -> str:
    return f"{percentage:.1f}" if abs(percentage) < 10.0 else f"{percentage:.0f}"
