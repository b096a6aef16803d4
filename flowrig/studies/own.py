"""What options cost over years, at equal clean air delivered: present values, cost of clean air, which is cheaper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import CalculationError, Fault, InputError
from flowrig.progress import doing, each
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Section
from flowrig.records.own_facts import OWN, SHARED, Owning
from flowrig.records.record import Record
from flowrig.records.words import folded, to_its_bar
from flowrig.studies import left_out
from flowrig.studies.arguments import checked
from flowrig.studies.drawn import Drawn, settle
from flowrig.studies.option import Option, Shared, option_of
from flowrig.studies.option_flags import SHORT
from flowrig.studies.own_flags import (
    LOST_DRAWS,
    NO_NEED,
    NO_RANGES,
    ON_STEP,
    OTHER_SIZES,
    UNEQUAL,
    UNLIKE_LIVES,
)
from flowrig.studies.pairs import Course, Pair, courses, drawn, less, lowest, odds
from flowrig.studies.payments import ITEMS, course, for_need, numbers_bought, service, totals, yearly
from flowrig.studies.rates import rates_of
from flowrig.studies.reduce import load
from flowrig.studies.tornado import Input, tornado
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, intervals
from flowrig.uncertainty.propagate import linear

DRAWS = 65_536  # a probability is then known to 0.2 % at worst
UNLIKE = 0.01  # of the clean air: more is another service
LOST = 0.001  # share of draws without a value
PRESENT, LEVELISED = "present_value", "levelised"
LABELS = {  # name: words, kind; money and price of air are of the record's currency
    "present_value": ("present value", "money"),
    "yearly_cost": ("present value, annualised", "money"),
    "for_need": ("present value, in part units", "money"),
    "levelised": ("cost of clean air", "price of air"),
    "delivered": ("lifetime-mean clean air", "flow"),
    "yearly_air": ("clean air in a year", "volume"),
}
BY = {name: LABELS[name][0] for name in (PRESENT, LEVELISED)}
NEW_AIR = "clean air of new filters"  # in place of the mean over their life, where that is not told


@dataclass
class OwnedOption:
    """One option over the years.

    Attributes
    ----------
    option : Option
    quantities : dict of str to Quantity
        ``present_value``, ``yearly_cost`` (the same sum at the end of every year), ``levelised`` (cost of clean air),
        ``delivered`` (clean-air rate, mean over the life of the filters), ``yearly_air``, and where a need is stated
        ``for_need`` (present value of just that much clean air, as if a part of a unit could be had).
    items : dict of str to Quantity
        Present values by what is paid for, those that are not nothing; together they are the present value.
    sets, anew : float
        Sets of filters and units that one unit takes after its first, by what is known best.
    course : Course
    left_out : list of str
        What nobody stated of it, so that it counted as nothing.
    cheapest : float
        Share of the draws in which it is the cheapest of all that give what is needed, by the figure that leads; NaN
        for one that does not.
    """

    option: Option
    quantities: dict[str, Drawn]
    items: dict[str, Drawn]
    sets: float
    anew: float
    course: Course
    left_out: list[str] = field(default_factory=list)
    cheapest: float = math.nan

    @property
    def name(self) -> str:
        return self.option.name

    @property
    def short(self) -> bool:
        """Whether it gives less clean air than is needed."""
        return any(f.meaning == SHORT for f in self.option.findings)

    @property
    def units(self) -> int:
        assert self.option.terms is not None
        return self.option.terms.units

    def __getitem__(self, name: str) -> Drawn:
        return self.quantities[name]


@dataclass
class Owned:
    """Options compared.

    Attributes
    ----------
    record : Record
    options : list of OwnedOption
        Those that clean air, in the order of the record.
    idle : list of str
        Options of doing nothing: they cost and deliver none.
    pairs : list of Pair
        Every two of the options.
    leads : {'present_value', 'levelised'}
        The figure that is like for like.
    currency : str
    findings : list of Finding
        Of the comparison and of every option.
    coverage : float
    seed : int
    samples : int or None
    """

    record: Record
    options: list[OwnedOption]
    idle: list[str]
    pairs: list[Pair]
    leads: str
    currency: str
    findings: list[Finding] = field(default_factory=list)
    coverage: float = 0.95
    seed: int = 1
    samples: int | None = None

    def __repr__(self) -> str:
        return f"<Owned {self.record.name}: {[x[self.leads] for x in self.options]!r}>"

    def __iter__(self) -> Iterator[OwnedOption]:
        return iter(self.options)

    def __getitem__(self, name: str) -> OwnedOption:
        for option in self.options:
            if option.name == name:
                return option
        raise KeyError(name)

    @property
    def terms(self) -> Section:
        held: Owning = self.record.parts[OWN.name]
        return held.terms

    @property
    def ranked(self) -> list[OwnedOption]:
        """The cheapest first, by the figure that leads; behind all others what gives less clean air than is needed."""
        return sorted(self.options, key=lambda x: (x.short, float(x[self.leads].value)))

    def pair(self, first: str, second: str) -> Pair:
        """Two options, in the order of the record."""
        for pair in self.pairs:
            if {pair.first, pair.second} == {first, second}:
                return pair
        raise KeyError((first, second))


@checked
def own(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> Owned:
    """Compare what options cost over years.

    Parameters
    ----------
    source : path, mapping or Record
        With a table [own] and sections [[options]].
    coverage : float
        Probability of the intervals.
    samples : int, optional
        Draws behind intervals and probabilities; 65 536 where nothing is said.
    seed : int
        Of the draws.
    unit : str, optional
        Unit of flow, before the record's own.

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the records.
    CalculationError
        If an option has no present value.

    Notes
    -----
    Each payment is discounted to today; what all options share (tariff, hours, rates) is one cause in all of them, so
    that it cancels in their differences as far as it moves them alike. Intervals and probabilities are from draws.

    Source
    ------
    Life-cycle cost by present values: NIST Handbook 135 (1995, superseded by that of 2020). JCGM 101:2008 for the draws
    (from memory).
    """
    record = source if isinstance(source, Record) else load(source)
    if OWN.name not in record.parts:
        remedy = "Add [own] with years, money and prices; flowrig sheet own writes a blank one."
        raise InputError(Fault(record.name, "no [own]", "a table [own]: on what terms options are compared", remedy))
    return _Comparison(record, coverage, samples, seed, unit).made()


class _Comparison:
    def __init__(self, record: Record, coverage: float, samples: int | None, seed: int, unit: str | None) -> None:
        self.record, self.coverage, self.samples, self.seed = record, coverage, samples, seed
        self.held: Owning = record.parts[OWN.name]
        self.terms = self.held.terms
        self.currency = str(self.terms.value("currency"))
        self.flow_unit = unit or record.heading.value("flow_unit") or "m3/h"
        self.number = samples or DRAWS
        self.findings: list[Finding] = []
        self.inputs: list[Input] = []

    def made(self) -> Owned:
        options = [option_of(self.shared, section) for section in each("option", self.held.options)]
        cleaning = [option for option in options if option.terms is not None]
        sums = [self._reckoned(option) for option in cleaning]
        owned = self._owned(cleaning, sums)
        leads = self._leading(owned)
        inputs = [*self.inputs, *(one for option in cleaning for one in option.inputs)]
        pairs = self._pairs(owned, sums, inputs)
        self.findings += left_out.unevenly(cleaning)
        meeting = [i for i, one in enumerate(owned) if not one.short]
        for i, share in zip(meeting, lowest([self.draws[f"{i} {leads}"] for i in meeting]), strict=True):
            owned[i].cheapest = share
        if not any(float(one[PRESENT].estimate.u) > 0.0 for one in owned):
            self.findings.append(Finding(NO_RANGES, "no price, time or rate has one"))
        idle = [option.name for option in options if option.terms is None]
        findings = [*self.findings, *(f for option in cleaning for f in option.findings)]
        findings = list({(f.code, f.message): f for f in findings}.values())
        findings.sort(key=lambda f: SEVERITIES.index(f.severity))
        return Owned(
            self.record, owned, idle, pairs, leads, self.currency, findings, self.coverage, self.seed, self.samples
        )

    @cached_property
    def shared(self) -> Shared:
        """Rates, hours and tariff: one estimate each, in every option."""
        place = f"{self.record.id}:{self.terms.name}"
        rates, stated, self.findings = rates_of(self.terms, place)
        names = ("hours", "energy_price", "demand_price", "demand_share", *SHARED)
        given = {
            name: given_estimate(self.terms[name], place, name.replace("_", " "))
            for name in names
            if name in self.terms
        }
        if "demand_price" not in given:
            given.pop("demand_share", None)
        for name, x in {**stated, **given}.items():
            item = self.terms[name]
            kind = getattr(item.field, "kind", "ratio")
            self.inputs.append(Input(name.replace("_", " "), x, kind, item.unit or units.default_display(kind)))
        prices = {name: given.pop(name) for name in SHARED if name in given}
        settings = {"coverage": self.coverage, "samples": None, "seed": self.seed}
        return Shared(self.record, self.terms, {**rates, **given}, prices, settings, self.flow_unit)

    def _reckoned(self, option: Option) -> dict[str, Estimate]:
        """Everything of one option that is a single number."""
        assert option.terms is not None
        found = totals(option.given, option.terms)
        if not np.isfinite(found[PRESENT].value):
            raise CalculationError(f"{option.name} has no present value: check its times, prices and rates.")
        both = {"present_value": found[PRESENT], "discount": option.given["discount"]}
        air = {"clean_air": option.clean_air, "mean_share": option.mean_share, "hours": option.given["hours"]}
        kept = {"levelised": (), "delivered": (), "yearly_air": ()}
        told: dict[str, Estimate] = {PRESENT: found.pop(PRESENT)}
        told |= linear(yearly, both, (), {"yearly_cost": ()}, terms=option.terms)
        told |= linear(service, {**both, **air}, (), kept, terms=option.terms)
        need = self.terms.value("clean_air")
        if need is not None:
            inputs = {name: told[name] for name in (PRESENT, "delivered")}
            told |= linear(for_need, inputs, (), {"for_need": ()}, need=float(need))
        return {**told, **found}

    @doing("costs over time")
    def _owned(self, cleaning: list[Option], sums: list[dict[str, Estimate]]) -> list[OwnedOption]:
        """Numbers with their bars, all on the same draws, and the costs over time."""
        told = {f"{i} {name}": x for i, of in enumerate(sums) for name, x in of.items()}
        bars = intervals(told, self.coverage, samples=self.number, seed=self.seed)
        led = {k: x for k, x in told.items() if k.endswith((PRESENT, LEVELISED))}
        self.draws = drawn(led, self.number, self.seed)
        self._lost(bars)
        paths = {option.name: course(option.given, option.terms) for option in cleaning if option.terms is not None}
        times = next(iter(paths.values()))[0]
        over, self.meetings = courses(times, {name: x for name, (_, x) in paths.items()}, self.coverage, self.seed)
        owned = []
        for i, option in enumerate(cleaning):
            made = {name: self._quantity(name, x, bars[f"{i} {name}"]) for name, x in sums[i].items()}
            if option.of_new_filters:
                made["delivered"].label = NEW_AIR
            self._settle(option.name, made)
            items = {name: q for name, q in made.items() if name in ITEMS and any((q.value, q.low, q.high))}
            rest = {name: q for name, q in made.items() if name not in ITEMS}
            assert option.terms is not None
            bought = numbers_bought(option.given, option.terms)
            counted = (bought["sets"], bought["units"])
            owned.append(OwnedOption(option, rest, items, *counted, over[option.name], left_out.left_out(option)))
        return owned

    def _settle(self, of: str, quantities: Mapping[str, Drawn]) -> None:
        """No value outside its interval."""
        odd = settle(quantities.values(), self.number, self.seed)
        if odd:
            self.findings.append(Finding(ON_STEP, f"{of}: {', '.join(q.label for q in odd)}"))

    def _quantity(self, name: str, x: Estimate, bar: Interval) -> Drawn:
        label, kind = {**{item: (words, "money") for item, words in ITEMS.items()}, **LABELS}[name]
        kind = f"{kind} {self.currency}" if kind in ("money", "price of air") else kind
        shown = self.flow_unit if kind == "flow" else units.default_display(kind)
        return Drawn(name, label, kind, shown, x, bar)

    @doing("pairs of options")
    def _pairs(self, owned: list[OwnedOption], sums: list[dict[str, Estimate]], inputs: list[Input]) -> list[Pair]:
        numbers = [(i, j) for i in range(len(owned)) for j in range(i + 1, len(owned))]
        gaps = {
            f"{i} {j} {name}": less(sums[i][name], sums[j][name]) for i, j in numbers for name in (PRESENT, LEVELISED)
        }
        bars = intervals(gaps, self.coverage, samples=self.number, seed=self.seed)
        moved = tornado(inputs, gaps, self.coverage)
        pairs = []
        for i, j in numbers:
            by = {name: f"{i} {j} {name}" for name in (PRESENT, LEVELISED)}
            gap = {name: self._quantity(name, gaps[key], bars[key]) for name, key in by.items()}
            chance = {name: odds(self.draws[f"{i} {name}"], self.draws[f"{j} {name}"]) for name in by}
            names = (owned[i].name, owned[j].name)
            self._settle(f"{names[0]} less {names[1]}", gap)
            told = (gap[PRESENT], chance[PRESENT], gap[LEVELISED], chance[LEVELISED])
            lives = self._lives(owned[i].option, owned[j].option)
            bars_of = (moved[by[PRESENT]], moved[by[LEVELISED]])
            pairs.append(Pair(*names, *told, self.meetings[names], *bars_of, lives))
        return pairs

    def _lives(self, one: Option, other: Option) -> str:
        """Whether both tell the mean of their clean air over the life of their filters."""
        if one.of_new_filters and other.of_new_filters:
            return "Both by the clean air of new filters, not by its mean over their life."
        if one.of_new_filters == other.of_new_filters:
            return ""
        new, mean = (one.name, other.name) if one.of_new_filters else (other.name, one.name)
        self.findings.append(Finding(UNLIKE_LIVES, f"{new} by new filters, {mean} by its mean"))
        return (
            f"NOT LIKE FOR LIKE: {mean} by its mean over the life of its filters, {new} by the clean air of new ones, "
            f"which favours {new}."
        )

    def _leading(self, owned: list[OwnedOption]) -> str:
        """The figure that is like for like, and what speaks against the others."""
        rates = [float(one["delivered"].value) for one in owned]
        need = self.terms.value("clean_air")
        if need is None:
            self.findings.append(Finding(NO_NEED, "one of each, or as many as is stated"))
        for one in owned[1:]:
            if not _alike(owned[0].option, one.option):
                said = f"{owned[0].name}: {owned[0].option.particles}; {one.name}: {one.option.particles}"
                self.findings.append(Finding(OTHER_SIZES, said))
        if max(rates) <= (1.0 + UNLIKE) * min(rates):
            return PRESENT
        shown = "; ".join(
            f"{one.name} {to_its_bar(float(one['delivered'].value), float(one['delivered'].u))}" for one in owned
        )
        self.findings.append(Finding(UNEQUAL, f"{shown} {self.flow_unit}"))
        return LEVELISED

    def _lost(self, bars: Mapping[str, Interval]) -> None:
        lost = max(float(bar.lost) for bar in bars.values())
        if lost > LOST:
            self.findings.append(Finding(LOST_DRAWS, f"{100 * lost:.2g} % of the draws"))


def _alike(one: Option, other: Option) -> bool:
    if one.sizes is not None and other.sizes is not None:
        return bool(one.sizes.same(other.sizes))
    return folded(one.particles) == folded(other.particles)
