"""Flow times efficiency: the clean-air rate of a unit by size, each rate with the sizes that it holds for."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from flowrig.physics.clean_air import short_circuit_clean_air
from flowrig.records.clean_air_facts import MEDIA, NOT_TOLD, SYSTEM
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.items import Section
from flowrig.records.sizes import Sizes
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.clean_air_flow import CleanAirFlow, clean_air_flow
from flowrig.studies.counted import Sized, ThreeWays, Wanted, carried, three_ways, with_bars
from flowrig.studies.result import Quantity, Result
from flowrig.studies.size_classes import SizeClasses, size_classes
from flowrig.studies.size_ranges import Range, channels, published_ranges, range_over
from flowrig.studies.within_channels import content, off_by
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.estimate import Array, Estimate

RANGE = "range"  # axis of the ranges of size

RANGE_NOT_WHOLE = FlagMeaning(
    "range of sizes not whole",
    "note",
    "The channels of the counter do not reach both ends of a published range of sizes. The clean-air rate is that of "
    "the part they cover and says from which size: particles outside it may be held back less. Optical counters see "
    "nothing below about 0.3 um, where most particles of smoke are.",
    "ranges of ANSI/AHAM AC-1 (from memory)",
)
RANGE_NOT_TOLD = FlagMeaning(
    "range of sizes not told",
    "note",
    "The channels of the counter cover less than half of a published range of sizes (on the logarithmic scale), have a "
    "gap in it or have no value: no clean-air rate is told for it. An open last channel has no upper end and covers "
    "nothing.",
    "ranges of ANSI/AHAM AC-1 (from memory)",
)
MEDIA_ALONE = FlagMeaning(
    "gaps not in the efficiency",
    "warning",
    "The air behind was taken from behind the filter media, so that what passes beside the filters is not in the "
    "efficiency: flow times it is at most the clean-air rate of the unit. Take samples at the outlet of the unit.",
)
GAPS_NOT_TOLD = FlagMeaning(
    "gaps perhaps not in the efficiency",
    "warning",
    "Whether the air behind was taken at the outlet of the whole unit or from behind the filter media is not said. If "
    "what passes beside the filters is not in the efficiency, flow times it is more than the clean-air rate of the "
    "unit. Write measured_on.",
)
FLAGS = (RANGE_NOT_WHOLE, RANGE_NOT_TOLD, MEDIA_ALONE, GAPS_NOT_TOLD)


@dataclass
class Rate:
    """Efficiency and clean-air rate of particles between two sizes.

    Attributes
    ----------
    name : str
        As of its `Range`.
    words : str
        ``smoke range from 0.3 um``, ``1 to 3 um``.
    efficiency : Sized
    clean_air : Sized or None
        None where no flow is known. [m3/s]
    per_watt : Sized or None
        Clean-air rate over the electrical power, where that is known. [m3/s/W]
    """

    name: str
    words: str
    efficiency: Sized
    clean_air: Sized | None = None
    per_watt: Sized | None = None

    @property
    def sizes(self) -> Sizes:
        return Sizes(self.efficiency.lower, self.efficiency.upper)


@dataclass
class CleanAir:
    """Efficiencies and clean-air rates by size, and classes.

    Attributes
    ----------
    by_size : BySize
    ways : ThreeWays
        Efficiency of every channel.
    flow : CleanAirFlow
    channels : list of Rate
        One a channel of the counter that has a value.
    ranges : dict of str to Rate
        By name.
    missing : dict of str to str
        Why a published range has none.
    classes : SizeClasses
    measured_on : str
        Word of `records.clean_air_facts`.
    coverage, samples, seed
        As of the result.
    findings : list of Finding
    """

    by_size: BySize
    ways: ThreeWays
    flow: CleanAirFlow
    channels: list[Rate]
    ranges: dict[str, Rate]
    missing: dict[str, str]
    classes: SizeClasses
    measured_on: str
    samples: int | None
    seed: int
    findings: list[Finding] = field(default_factory=list)

    @property
    def coverage(self) -> float:
        return self.by_size.coverage

    def over(self, lower: float, upper: float) -> Rate | None:
        """Efficiency and clean-air rate of any range of sizes that the channels cover; None where they do not.

        Parameters
        ----------
        lower, upper : float
            [m]
        """
        wanted = Sizes(lower, upper)
        for rate in (*self.ranges.values(), *self.channels):
            if rate.sizes.same(wanted):
                return rate
        own = range_over(self.by_size, wanted)
        return next(iter(rates_of([own], self)), None) if own.told else None

    def rate(self, lower: float, upper: float) -> Quantity | None:
        """Clean-air rate of the particles between two sizes; None where it cannot be told."""
        found = self.over(lower, upper)
        return found.clean_air.quantity if found is not None and found.clean_air is not None else None

    @property
    def quantities(self) -> dict[str, Quantity]:
        """Every number with its bar: the rates of the published ranges first."""
        found = {}
        every = [*self.ranges.values(), *self.channels]
        for kind in ("clean_air", "efficiency", "per_watt"):
            for rate in every:
                own: Sized | None = getattr(rate, kind)
                if own is not None and not (kind == "efficiency" and rate in self.channels):
                    found[own.quantity.name] = own.quantity
        for name, average in self.classes.averages.items():
            found[name] = average.quantity
        return found

    @property
    def sentences(self) -> list[str]:
        """What follows, in words: limits on one side, and what the test came out like."""
        every = (*self.ranges.values(), *self.channels)
        return [*(s for rate in every for s in _at_least(rate, self.coverage)), *self.classes.sentences]


def _at_least(rate: Rate, coverage: float) -> Iterator[str]:
    clean = rate.clean_air
    if clean is not None and clean.one_sided:
        yield (
            f"Nothing came through ({rate.words}): clean-air rate at least {at_least_shown(clean)} "
            f"({100 * coverage:.6g} %, one side)."
        )


def at_least_shown(found: Sized) -> str:
    """A limit on one side as printed, rounded down."""
    q = found.quantity
    value = float(q.low)
    room = (float(q.value) - value) / 2
    digits = 1 - math.floor(math.log10(room)) if room > 0.0 else 3
    rounded = math.floor(value * 10.0**digits) / 10.0**digits
    return f"{rounded:.{max(digits, 0)}f} {q.unit}"


def clean_air_of(result: Result, by_size: BySize, section: Section) -> CleanAir:
    """Everything that follows from efficiencies by size: rates, averages and classes.

    Parameters
    ----------
    result : Result
        With its flows reduced.
    by_size : BySize
    section : Section
        [particles], which holds `records.clean_air_facts.CLEAN_AIR_FIELDS`.

    Raises
    ------
    InputError
        If the section does not say which of several flows, or gives one beside those of the record.

    Notes
    -----
    CADR = Q E, with E of the whole unit, gaps included where samples are those of the system. Over a range of sizes E
    is the mean over the logarithm of size: each channel counts with how much of the range it holds, never with how
    many particles there were. Within a channel they may have been nearer to one end: `within_channels` says how much
    that leaves open. What flow and efficiency share is the same error in both.

    Source
    ------
    Flow times efficiency: common practice, no source. Ranges: ANSI/AHAM AC-1, from memory. The mean: own convention.
    """
    ways = three_ways(by_size)
    state, measured_on = (section.value(name, NOT_TOLD) for name in ("filter_state", "measured_on"))
    classes = size_classes(by_size, ways, state, measured_on, result.samples, result.seed)
    flow = clean_air_flow(result, section)
    found = CleanAir(by_size, ways, flow, [], {}, {}, classes, measured_on, result.samples, result.seed)
    told = published_ranges(by_size)
    found.missing = told.missing
    made = rates_of([*told.ranges, *channels(by_size)], found)  # drawn together
    published = {own.name for own in told.ranges}
    found.ranges = {rate.name: rate for rate in made if rate.name in published}
    found.channels = [rate for rate in made if rate.name not in published]
    power = power_of(result)
    if power is not None:
        per_watt(list(found.ranges.values()), power, by_size.coverage, result.samples, result.seed)
    found.findings += flow.findings
    if flow.quantity is not None and measured_on != SYSTEM:
        flag = MEDIA_ALONE if measured_on == MEDIA else GAPS_NOT_TOLD
        found.findings.append(Finding(flag, "the clean-air rate of the unit is at most what is told"))
    if told.not_whole and flow.quantity is not None:
        found.findings.append(Finding(RANGE_NOT_WHOLE, "; ".join(told.not_whole)))
    if found.missing and flow.quantity is not None:
        said = "; ".join(f"no {name} range, {why}" for name, why in found.missing.items())
        found.findings.append(Finding(RANGE_NOT_TOLD, said))
    found.findings += classes.findings
    return found


def power_of(result: Result) -> Quantity | None:
    """Electrical power of the unit, where the record has it and it is known by now."""
    electrical = result.parts.get("electrical")
    return electrical.quantities.get("power") if electrical is not None else None


def per_watt(
    rates: Sequence[Rate], power: Quantity, coverage: float, samples: int | None = None, seed: int = 1
) -> None:
    """Give each rate its clean air over electrical power, what both share respected; all are drawn together.

    Parameters
    ----------
    rates : sequence of Rate
        One without a clean-air rate is left as it is.
    power : Quantity
        True electrical power, in one state with the flow.
    coverage, samples, seed
        As of `intervals`.
    """
    wanted = {}
    for rate in rates:
        clean = rate.clean_air
        if clean is None:
            continue
        ways = carried(clean.ways, _over_power, {"power": power.estimate}, "per_watt")
        unit = {"cfm": "cfm/W", "L/s": "L/s/W", "m3/s": "m3/s/W"}.get(clean.quantity.unit, "m3/h/W")
        label = clean.quantity.label.replace("clean-air rate", "clean-air rate per watt", 1)
        name = f"clean_air_per_watt_{rate.name}"
        wanted[name] = replace(clean.wanted, label=label, kind="flow per power", unit=unit, ways=ways)
    made = with_bars(wanted, coverage, samples, seed)
    for rate in rates:
        rate.per_watt = made.get(f"clean_air_per_watt_{rate.name}")


def _over_power(*, x: Array, power: Array) -> dict[str, Array]:
    with np.errstate(all="ignore"):
        return {"per_watt": np.where(power > 0.0, x / power, np.nan)}


def rates_of(ranges: Sequence[Range], found: CleanAir) -> list[Rate]:
    """Each range that has a value, with its efficiency and its rate, drawn together.

    Parameters
    ----------
    ranges : sequence of Range
    found : CleanAir
        With its flow and the efficiency of every channel.
    """
    if not ranges:
        return []
    flow = found.flow.quantity
    inputs = {
        "weights": Estimate(np.array([own.weights for own in ranges]), (RANGE, CHANNEL)),
        "limit": Estimate([own.limit for own in ranges], (RANGE,)),
        "content": content(),
    }
    held = carried(found.ways, _average, inputs, "average", (RANGE, CHANNEL), (RANGE,), as_="efficiency")
    asked = {}
    for i, own in enumerate(ranges):
        asked[f"mean_efficiency_{own.name}"] = _wanted(found, own, held, i, "efficiency", "ratio", "%")
    if flow is not None:
        clean = carried(held, _clean_air, {"flow": flow.estimate}, "clean", (RANGE,), (RANGE,), as_="efficiency")
        for i, own in enumerate(ranges):
            asked[f"clean_air_rate_{own.name}"] = _wanted(found, own, clean, i, "clean-air rate", "flow", flow.unit)
    made = with_bars(asked, found.coverage, found.samples, found.seed)
    return [
        Rate(own.name, own.words, made[f"mean_efficiency_{own.name}"], made.get(f"clean_air_rate_{own.name}"))
        for own in ranges
        if f"mean_efficiency_{own.name}" in made
    ]


def _wanted(found: CleanAir, own: Range, ways: ThreeWays, i: int, label: str, kind: str, unit: str) -> Wanted:
    none = bool(np.all(found.by_size.upper_only[own.weights > 0.0]))
    one = ThreeWays(*(one_of(x, RANGE, i) for x in ways.all.values()))
    return Wanted(f"{label}, {own.label}", kind, unit, own.sizes.lower, own.sizes.upper, one, none)


def _average(*, efficiency: Array, weights: Array, limit: Array, content: Array) -> dict[str, Array]:
    known = np.isfinite(efficiency)  # a hole that has no share does no harm
    average = np.matmul(weights, np.where(known, efficiency, 0.0)[..., 0, :, np.newaxis])
    holes = np.matmul((weights != 0.0).astype(float), (~known)[..., 0, :, np.newaxis].astype(float)) > 0.0
    return {"average": off_by(np.where(holes, np.nan, average), limit * content)}


def _clean_air(*, efficiency: Array, flow: Array) -> dict[str, Array]:
    return {"clean": np.asarray(short_circuit_clean_air(flow, efficiency, 0.0))}
