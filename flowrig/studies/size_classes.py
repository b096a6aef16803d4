"""Averages over published ranges of size, and the class that they would meet: with its probability, by edition."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from flowrig import units
from flowrig.physics.classes import EDITIONS, reporting_class
from flowrig.physics.size_averages import AVERAGED
from flowrig.records.clean_air_facts import CLEAN, MEDIA, NOT_TOLD, SYSTEM, USED
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.sizes import Sizes
from flowrig.studies.by_size import BySize
from flowrig.studies.counted import Sized, ThreeWays, Wanted, between, counted_efficiency, with_bars
from flowrig.studies.twelve_channels import BOUNDS, CUT, TwelveChannels
from flowrig.uncertainty.montecarlo import chunks

DRAWS = 40_960  # of the averages, for the probability of a class: its own error is at most a quarter of a point
TESTED = {SYSTEM: "whole unit", MEDIA: "filter media"}
SHOWN, ALMOST = 0.01, 0.995  # probabilities of a class: less is not told, more is not told apart

NO_TEST = FlagMeaning(
    "class not by the standard",
    "note",
    "The averages are held against the published limits of a class. A class itself comes of a test in a duct, with its "
    "own aerosol and flow, in which the filter is loaded with dust in steps and each channel counts with its least "
    "efficiency, a conditioning step included. None of that was done: what is told is like which class this test came "
    "out, and is no rating.",
    "ANSI/ASHRAE 52.2 (from memory)",
)
UPPER_BOUND = FlagMeaning(
    "class at most",
    "warning",
    "The filter was clean. Charged media lose efficiency in use, and the standard takes the least of all its steps: "
    "what a clean filter comes out like is at most an upper bound of its class.",
    "ANSI/ASHRAE 52.2 (from memory)",
)
STATE_NOT_TOLD = FlagMeaning(
    "state of the filter not told",
    "warning",
    "Whether the filter was clean or had been in use is not said, and the class that a test comes out like means "
    "something else for each. Write filter_state.",
)
RANGE_NOT_COVERED = FlagMeaning(
    "sizes not covered",
    "note",
    "The channels of the counter do not cover a published range of sizes from end to end, or one of them has no value: "
    "there is no average over that range, and no class that needs it. Nothing is told beyond the channels.",
)
STRADDLED = FlagMeaning(
    "channel at 2.5 um",
    "note",
    "Of the twelve channels of the standards the one from 2.2 to 3.0 um holds 2.5 um. It is taken whole, as the "
    "standard does (from memory), where the counter reaches 3 um, else cut at 2.5 um; they differ by up to 2 points.",
    "ISO 16890-1:2016 (from memory)",
)
FLAGS = (NO_TEST, UPPER_BOUND, STATE_NOT_TOLD, RANGE_NOT_COVERED, STRADDLED)


@dataclass
class ClassEquivalent:
    """What the averages would be by one published table of classes.

    Attributes
    ----------
    edition : str
        Key of `EDITIONS`.
    number : int
        Class that the averages themselves meet; 0 for one below 5.
    probability : dict of int to float
        Of each class, the highest first; those that no draw came to are left out.
    tested : str
        What was, and its state, in words.
    upper_bound : bool
        The filter was clean.
    """

    edition: str
    number: int
    probability: dict[int, float]
    tested: str = ""
    upper_bound: bool = False

    @property
    def likeliest(self) -> int:
        return max(self.probability, key=lambda number: self.probability[number])

    def at_least(self, number: int) -> float:
        """Probability of that class or a higher one."""
        return sum(p for found, p in self.probability.items() if found >= number)

    @property
    def sentence(self) -> str:
        """In words: what this test came out like, never what the filter is."""
        first, *others = sorted(self.probability, key=lambda number: -self.probability[number])
        shown = [number for number in others if self.probability[number] >= SHOWN]
        told = "".join(f", {class_name(number)} {_share(self.probability[number])}" for number in shown)
        most = ", at most" if self.upper_bound else ""
        return (
            f"{self.tested} performed in this test like {class_name(first)} of {self.edition}{most}: probability "
            f"{_share(self.probability[first])}{told}."
        )

    def __repr__(self) -> str:
        said = ", ".join(f"{n}: {p:.2f}" for n, p in self.probability.items())
        return f"<ClassEquivalent {self.edition}: {said}>"


def class_name(number: int) -> str:
    """A class in words."""
    return f"class {number}" if number else "a filter below class 5"


def _share(probability: float) -> str:
    return f"{100 * probability:.0f} %" if probability < ALMOST else "over 99 %"


@dataclass
class SizeClasses:
    """Averages of an efficiency over published ranges, and what class they would meet.

    Attributes
    ----------
    averages : dict of str to Sized
        ``E1``, ``E2``, ``E3``, ``ePM1``, ``ePM2.5`` and ``ePM10``, those that the counter covers.
    missing : dict of str to str
        Why one of them is not told.
    straddle : str
        How the channel at 2.5 um was taken for ePM2.5: ``whole`` or ``cut``; empty where there is none.
    other_straddle : float
        What ePM2.5 would be the other way. NaN where it cannot be told.
    classes : list of ClassEquivalent
        One an edition; empty where one of the three averages is missing.
    findings : list of Finding
    """

    averages: dict[str, Sized] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    straddle: str = ""
    other_straddle: float = math.nan
    classes: list[ClassEquivalent] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def sentences(self) -> list[str]:
        return [each.sentence for each in self.classes]


def size_classes(
    by_size: BySize,
    ways: ThreeWays,
    filter_state: str = NOT_TOLD,
    measured_on: str = NOT_TOLD,
    samples: int | None = None,
    seed: int = 1,
) -> SizeClasses:
    """Averages over the published ranges with their bars, and the probability of each class by edition.

    Parameters
    ----------
    by_size : BySize
    ways : ThreeWays
        Its efficiencies, by `three_ways`.
    filter_state, measured_on : str
        Words of `records.clean_air_facts`.
    samples, seed
        As of `intervals`.

    Notes
    -----
    The efficiencies are taken at the geometric means of the twelve channels of the standard, between those of the
    counter on straight lines in ln d; four each make an average. Counts have no say in it. The class of each draw is
    that of its three averages, causes that the channels share being the same error in all of them, and counting drawn
    as the exact limits are (`counted_efficiency`, `between` the two).

    Source
    ------
    ANSI/ASHRAE 52.2 and ISO 16890-1:2016, as in `physics.size_averages` and `physics.classes`.
    """
    twelve = TwelveChannels.of(by_size)
    found = SizeClasses()
    nominal = twelve.averages(ways.nominal, (*BOUNDS, CUT))
    told = [name for name in BOUNDS if twelve.covers(name) and math.isfinite(nominal[name].value)]
    found.missing = {name: twelve.why_not(name) for name in BOUNDS if name not in told}
    least, most = (twelve.averages(x, told) for x in (ways.least, ways.most))
    wanted = {}
    for name in told:
        lower, upper = twelve.bounds(name)
        none = bool(np.all(by_size.upper_only[(by_size.upper > lower) & (by_size.lower < upper)]))
        own = ThreeWays(nominal[name], least[name], most[name])
        wanted[name] = Wanted(f"{name}, {Sizes(lower, upper)}", "ratio", "%", lower, upper, own, none)
    found.averages = with_bars(wanted, by_size.coverage, samples, seed)
    if "ePM2.5" in told:
        found.straddle = "whole" if twelve.whole else "cut"
        found.other_straddle = float(nominal[CUT].value) if twelve.whole else math.nan
    if all(name in told for name in AVERAGED):
        found.classes = class_equivalents(by_size, twelve, filter_state, measured_on, seed)
    found.findings = _findings(found, filter_state)
    return found


def class_equivalents(
    by_size: BySize,
    twelve: TwelveChannels,
    filter_state: str = NOT_TOLD,
    measured_on: str = NOT_TOLD,
    seed: int = 1,
) -> list[ClassEquivalent]:
    """Like which class by each edition, with the probability of each; E1, E2 and E3 have to be told."""
    names = tuple(AVERAGED)
    averages = twelve.averages(counted_efficiency(by_size, between(by_size, len(names))), names)
    pieces = chunks([averages[name] for name in names], DRAWS, seed)
    drawn = [np.concatenate(column) for column in zip(*pieces, strict=True)]
    nominal = [x.value for x in twelve.averages(by_size.efficiency, names).values()]
    state = {CLEAN: ", filters clean,", USED: ", filters in use,"}.get(filter_state, "")
    tested = f"The {TESTED.get(measured_on, 'filter as sampled')}{state}"
    found = []
    for edition in EDITIONS:
        (e1, e2, e3), (d1, d2, d3) = nominal, drawn
        number = int(reporting_class(e1, e2, e3, edition))
        numbers = np.asarray(reporting_class(d1, d2, d3, edition))
        each, times = np.unique(numbers[np.isfinite(numbers)], return_counts=True)
        probability = {int(n): float(t / times.sum()) for n, t in zip(each[::-1], times[::-1], strict=True)}
        found.append(ClassEquivalent(edition, number, probability, tested, filter_state == CLEAN))
    return found


def _findings(found: SizeClasses, filter_state: str) -> list[Finding]:
    findings = []
    if found.missing:
        said = "; ".join(f"no {name}, {why}" for name, why in found.missing.items())
        findings.append(Finding(RANGE_NOT_COVERED, said))
    if found.straddle:
        own = found.averages["ePM2.5"].quantity
        value = f"{float(own.value):.3g} %"
        if found.straddle == "whole":
            other = f"{float(units.from_si(found.other_straddle, '%', 'ratio')):.3g} %"
            if other != value:  # to the digits told
                said = f"ePM2.5 of {value} takes the channel whole; cut it would be {other}"
                findings.append(Finding(STRADDLED, said))
        else:
            findings.append(Finding(STRADDLED, f"ePM2.5 of {value} takes the channel cut at 2.5 um"))
    if found.classes:
        findings.append(Finding(NO_TEST, "no class of a standard is given"))
        if filter_state == CLEAN:
            findings.append(Finding(UPPER_BOUND, "no step of loading and no conditioning was done"))
        elif filter_state == NOT_TOLD:
            findings.append(Finding(STATE_NOT_TOLD, "clean, or in use"))
    return findings
