"""One option as numbers with their ranges: how many units, what clean air they give over the life of their filters,
what they draw, and what is paid when."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.physics.duct_filter import duct_clean_air
from flowrig.records import own_facts as facts
from flowrig.records.declare import Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Item, Section, as_written
from flowrig.records.record import Record
from flowrig.records.sizes import read_sizes
from flowrig.records.words import three_digits, to_its_bar
from flowrig.studies.cleaner_source import source_of
from flowrig.studies.lifetime import Lifetime, lifetime
from flowrig.studies.option_flags import (
    CHARGE_KEPT,
    HALFWAY,
    LASTS,
    LIFE_CUT,
    NEW_ALL_LIFE,
    RESIDUAL_ABOVE,
    SHORT,
)
from flowrig.studies.payments import YEAR, Terms
from flowrig.studies.tornado import Input
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval, tangent
from flowrig.uncertainty.propagate import linear

MOST_UNITS = 1000
ROUNDING = 1e-9  # of a number of units: no more is another unit
MONEY = ("price", "installation", "replacement_price", "residual", "upkeep", *facts.SHARED)


@dataclass
class Option:
    """One option, ready to be reckoned.

    Attributes
    ----------
    name : str
    section : Section
    how : str
        Where its clean air is from: ``measured``, ``predicted``, ``stated``, ``in a duct``, or ``nothing``.
    particles : str
        Sizes that its clean-air rate is for.
    terms : Terms or None
        None for doing nothing.
    given : dict of str to Estimate
        Inputs of the kernel `flowrig.studies.payments.paid`.
    clean_air, mean_share : Estimate
        Of one unit with new filters, and the mean over their life as a share of it.
    counted : bool
        The number of units was found from the clean air that is needed.
    inputs : list of Input
        What it is made of, beside what all options share.
    findings : list of Finding
    sizes : Any
    """

    name: str
    section: Section
    how: str
    particles: str = ""
    terms: Terms | None = None
    given: dict[str, Estimate] = field(default_factory=dict)
    clean_air: Estimate = field(default_factory=lambda: Estimate(0.0))
    mean_share: Estimate = field(default_factory=lambda: Estimate(1.0))
    counted: bool = False
    inputs: list[Input] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    sizes: Any = None

    @property
    def of_new_filters(self) -> bool:
        """Whether its clean air is that of new filters, as nothing is told of its mean over their life."""
        return any(f.meaning == NEW_ALL_LIFE for f in self.findings)


@dataclass
class Shared:
    """What all options have in common.

    Attributes
    ----------
    record : Record
    terms : Section
        The table [own].
    given : dict of str to Estimate
        Inputs of the kernel: rates, hours, tariff.
    prices : dict of str to Estimate
        For options that state none of their own.
    settings : mapping
        ``coverage``, ``samples`` and ``seed`` of tests and predictions.
    flow_unit : str
    """

    record: Record
    terms: Section
    given: dict[str, Estimate]
    prices: dict[str, Estimate]
    settings: Mapping[str, Any]
    flow_unit: str


def option_of(shared: Shared, section: Section) -> Option:
    """An option from its section.

    Raises
    ------
    InputError
        If its test or prediction does not tell what is needed.
    CalculationError
        If no clean-air rate follows from it.
    """
    if section.value("sort") == facts.NOTHING:
        return Option(str(section.value("name")), section, "nothing")
    return _Maker(shared, section).made()


class _Maker:
    """Puts one option together."""

    def __init__(self, shared: Shared, section: Section) -> None:
        self.shared, self.section = shared, section
        self.option = Option(str(section.value("name")), section, "")
        self.place = f"{shared.record.id}:{section.name}"
        self.predicted: Any = None
        self.life: Lifetime | None = None

    def made(self) -> Option:
        self._air_and_power()
        option, section = self.option, self.section
        if self.predicted is not None and self.predicted.life is not None:
            self._life()
        self._mean_share()
        own = {name: self._stated(name) for name in MONEY if name in section}
        filters = self._filters()
        prices = {name: x for name, x in self.shared.prices.items() if name not in own and filters}
        option.given |= {**self.shared.given, **prices, **own}
        if "unit_life" in section:
            option.given["unit_life"] = linear(_in_years, {"time": self._stated("unit_life")}, (), {"x": ()})["x"]
        else:
            years = int(self.shared.terms.value("years"))
            option.findings.append(Finding(LASTS, f"{option.name}: {years} year{'s'[: years - 1]} or more"))
        worth, anew = (option.given.get(name) for name in ("residual", "replacement_price"))
        if worth is not None and float(worth.value) > float((anew or option.given["price"]).value):
            told = f"{as_written(section['residual'])} where one costs"
            price = section["replacement_price" if anew is not None else "price"]
            option.findings.append(Finding(RESIDUAL_ABOVE, f"{option.name}: {told} {as_written(price)}"))
        option.given["filters"] = Estimate(float(filters))
        if filters:
            option.given["interval"] = self._interval()
        option.terms = self._terms(self._count())
        return option

    def _stated(self, name: str) -> Estimate:
        """A stated number, which is kept among the inputs."""
        item = self.section[name]
        words = f"{name.replace('_', ' ')} of {self.option.name}"
        x = given_estimate(item, self.place, words)
        self._keep(words, x, item)
        return x

    def _keep(self, words: str, x: Estimate, item: Item | None, kind: str = "", unit: str = "") -> None:
        kind = kind or getattr(item.field if item is not None else None, "kind", "ratio")
        shown = unit or (item.unit if item is not None else "") or units.default_display(kind)
        self.option.inputs.append(Input(words, x, kind, shown))

    def _air_and_power(self) -> None:
        section, option = self.section, self.option
        if "duct_flow" in section:
            self._duct()
            return
        source = source_of(self.shared.record, section, self.shared.settings)
        option.how, option.particles, option.sizes = source.how, source.particles, source.sizes
        option.findings += source.findings
        option.clean_air = tangent(source.clean_air)
        # of a test or a prediction what moves it is taken as linear: neither is reckoned again for each draw
        stated = section.items.get("clean_air_rate")
        self._keep(
            f"clean air of {option.name}",
            option.clean_air,
            stated,
            "flow",
            stated.unit if stated else self.shared.flow_unit,
        )
        if source.how == "predicted":
            self.predicted = source.of
        if source.power is None:
            where = section[next(name for name in facts.HOW if name in section)].where
            remedy = 'Add power = "92 W ± 3 W", true power read while it runs.'
            raise InputError(Fault(where, "no power", "the electrical power of one unit", remedy))
        power = tangent(source.power)
        self._keep(f"power of {option.name}", power, section.items.get("power"), "power")
        option.given |= {"power": power, "demand_power": power}

    def _duct(self) -> None:
        section, option = self.section, self.option
        option.how, option.particles = "in a duct", str(section.value("particles", ""))
        option.sizes = read_sizes(option.particles)
        names = {"flow": "duct_flow", "efficiency": "filter_efficiency", "runtime": "runtime",
                 "supply_leakage": "supply_leakage", "return_leakage": "return_leakage"}  # fmt: skip
        inputs = {name: self._stated(of) for name, of in names.items()}
        option.clean_air = linear(_ducted, inputs, (), {"clean_air": ()})["clean_air"]
        told = ("power",) if "power" in section else ("added_drop", "fan_efficiency")
        drawn = {"flow": inputs["flow"], "runtime": inputs["runtime"], **{name: self._stated(name) for name in told}}
        option.given |= linear(_added, drawn, (), {"power": (), "demand_power": ()})

    def _life(self) -> None:
        """What the prediction tells of the use of the filters, up to their change."""
        section, option, life = self.section, self.option, self.predicted.life
        hours = float(self.shared.given["hours"].value)
        if "change_after" in section:
            change = float(section.value("change_after"))
        elif "change_every" in section:
            change = float(section.value("change_every")) / YEAR * hours
        elif "changes_per_year" in section:
            change = hours / float(section.value("changes_per_year"))
        else:
            ruled = life.ruled
            if ruled is None or not ruled.time:
                where = section["prediction"].where
                said = "a prediction that tells when its filters are to be changed"
                remedy = 'Add change_after = "600 h", for instance; flowrig predict says why it tells none.'
                raise InputError(Fault(where, f"{life.record.name}, which tells no time of a change", said, remedy))
            change = float(ruled.time)
        self.life = lifetime(life, change)
        if self.life is None:
            return
        if "mean_over_life" not in section and "end_of_life_share" not in section:
            shown = [float(life.shown(t)) for t in (self.life.known, self.life.change)]
            if self.life.known < 0.999 * self.life.change:
                message = f"{option.name}: told up to {three_digits(shown[0])} of {three_digits(shown[1])} {life.unit}"
                option.findings.append(Finding(LIFE_CUT, message))
            if self.life.kept:
                option.findings.append(Finding(CHARGE_KEPT, f"{option.name}: {self.life.branch}"))
        if "power" not in section and self.life.power is not None:
            option.inputs = [one for one in option.inputs if not one.name.startswith("power of")]
            self._keep(f"power of {option.name}, mean over the life of filters", self.life.power, None, "power")
            option.given |= {"power": self.life.power, "demand_power": self.life.power}

    def _mean_share(self) -> None:
        section, option = self.section, self.option
        if "mean_over_life" in section:
            option.mean_share = self._stated("mean_over_life")
        elif "end_of_life_share" in section:
            cause = Cause(f"{self.place}:course", shape="rectangular", scope="setup",
                          label=f"course of the clean air of {option.name}")  # fmt: skip
            bend = Estimate(0.0, (), {cause: [1.0 / math.sqrt(3.0)]})
            self._keep(f"course of the clean air of {option.name}, from late to early", bend, None, "ratio")
            inputs = {"end": self._stated("end_of_life_share"), "bend": bend}
            option.mean_share = linear(_halfway, inputs, (), {"share": ()})["share"]
            option.findings.append(
                Finding(HALFWAY, f"{option.name}: {100 * float(option.mean_share.value):.3g} % of new")
            )
        elif self.life is not None:
            option.inputs = [one for one in option.inputs if one.estimate is not option.clean_air]  # it cancels below
            words = f"clean air of {option.name}, mean over the life of filters"
            self._keep(words, self.life.clean_air, None, "flow", self.shared.flow_unit)
            inputs = {"mean": self.life.clean_air, "new": option.clean_air}
            option.mean_share = linear(_ratio, inputs, (), {"share": ()})["share"]
        elif self._filters():
            option.findings.append(Finding(NEW_ALL_LIFE, f"{option.name}: an upper bound of its clean air"))

    def _filters(self) -> int:
        """In a set of one unit."""
        if "filters" in self.section:
            return int(self.section.value("filters"))
        prediction = self.section.value("prediction").prediction
        return int(sum(filters.value("count", 1) for filters in prediction.filters))

    def _interval(self) -> Estimate:
        """Years from one change to the next."""
        section, hours = self.section, self.shared.given["hours"]
        if "change_every" in section:
            return linear(_in_years, {"time": self._stated("change_every")}, (), {"x": ()})["x"]
        if "changes_per_year" in section:
            return linear(_each, {"number": self._stated("changes_per_year")}, (), {"x": ()})["x"]
        if "change_after" in section:
            running = self._stated("change_after")
        else:
            assert self.predicted is not None
            running = Estimate(float(self.predicted.life.ruled.time))  # a decision: that is when they are changed
        return linear(_run_down, {"running": running, "hours": hours}, (), {"x": ()})["x"]

    def _count(self) -> int:
        """How many units: as stated, else as many as the need takes; one of a filter in the ducts."""
        section, option, need = self.section, self.option, self.shared.terms.value("clean_air")
        one = section.value("sort") == facts.DUCT or need is None
        stated = section.value("count", 1 if one else None)
        if need is None:
            return int(stated)
        each = linear(_product, {"a": option.clean_air, "b": option.mean_share}, (), {"x": ()})["x"]
        sure = self.shared.terms.value("meets") == facts.LOWER
        settings = self.shared.settings
        bar = interval(each, settings["coverage"], seed=settings["seed"]) if sure else None
        given = float(each.value if bar is None else bar.low)
        needed = math.ceil(float(need) / given * (1.0 - ROUNDING)) if given > 0.0 else MOST_UNITS + 1
        if stated is None:
            option.counted = True
            if needed <= MOST_UNITS:
                return max(needed, 1)
            said = f"one of which at most {MOST_UNITS} units meet the need"
            remedy = "Correct the rate or the need, or state its count."
            told = f"a clean-air rate of {three_digits(float(self._in_unit(given)))} {self.shared.flow_unit}"
            raise InputError(Fault(section.where, told, said, remedy))
        if stated < needed:
            what = "lower end of the mean" if sure else "mean"
            over = "with new filters" if option.of_new_filters else f"{what} over the life of filters"
            told = to_its_bar(*(float(self._in_unit(stated * float(x))) for x in (given, each.u)))
            unit, lacking = self.shared.flow_unit, 100.0 * (1.0 - stated * given / float(need))
            said = f"{told} {unit} where {as_written(self.shared.terms['clean_air'])} are needed"
            option.findings.append(Finding(SHORT, f"{option.name}: {said}, {lacking:.2g} % too little; {over}"))
        return int(stated)

    def _in_unit(self, flow: Any) -> Any:
        return units.from_si(flow, self.shared.flow_unit, "flow")

    def _terms(self, count: int) -> Terms:
        terms = self.shared.terms
        return Terms(
            years=int(terms.value("years")),
            units=count,
            billings=int(terms.value("billings", 12)),
            on_the_day=terms.value("payments") == facts.ON_THE_DAY,
            last_change=terms.value("last_change") == facts.MADE,
            first_set=self.section.value("first_set") == facts.BOUGHT,
        )


def _ducted(
    *, runtime: Array, flow: Array, efficiency: Array, supply_leakage: Array, return_leakage: Array
) -> dict[str, Array]:
    return {"clean_air": np.asarray(duct_clean_air(runtime, flow, efficiency, supply_leakage, return_leakage))}


def _added(
    *,
    flow: Array,
    runtime: Array,
    power: Array | None = None,
    added_drop: Array | float = 0.0,
    fan_efficiency: Array | float = 1.0,
) -> dict[str, Array]:
    """Power that a filter adds to the fan of the ducts: air power over the efficiency of fan, drive and motor."""
    running = flow * added_drop / fan_efficiency if power is None else power + 0.0 * flow
    return {"power": runtime * running, "demand_power": running + 0.0 * runtime}


def _halfway(*, end: Array, bend: Array) -> dict[str, Array]:
    return {"share": (1.0 + end) / 2.0 - bend * (1.0 - end) / 4.0}


def _ratio(*, mean: Array, new: Array) -> dict[str, Array]:
    return {"share": mean / new}


def _product(*, a: Array, b: Array) -> dict[str, Array]:
    return {"x": a * b}


def _in_years(*, time: Array) -> dict[str, Array]:
    return {"x": time / YEAR}


def _each(*, number: Array) -> dict[str, Array]:
    return {"x": 1.0 / number}


def _run_down(*, running: Array, hours: Array) -> dict[str, Array]:
    return {"x": running / hours}
