"""What a record says of options to be owned for years: on what terms they are compared, and what each costs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from flowrig.records.cleaner_facts import CLEANER, cleaner_checks
from flowrig.records.declare import Choice, Count, Field, Given, OneOf, Table, Text, Wrong
from flowrig.records.items import Section, as_written, path_name
from flowrig.records.part import Part, PartReader
from flowrig.records.words import folded, shown
from flowrig.unit_table import CURRENCIES

REAL, NOMINAL = "real", "nominal"
YEAR_END, ON_THE_DAY = "end of year", "on the day"
NOT_MADE, MADE = "not made", "made"
MEAN, LOWER = "mean", "lower end"
UNIT, DUCT, NOTHING = "room unit", "duct filter", "nothing"
IN_PRICE, BOUGHT = "in the price", "bought"
DISCOUNT = "discount"
ESCALATIONS = ("energy_escalation", "filter_escalation", "labour_escalation", "unit_escalation")
SHARED = ("filter_price", "labour_price", "disposal_price")
INTERVALS = ("change_every", "change_after", "changes_per_year")
IN_DUCT = (
    "duct_flow",
    "filter_efficiency",
    "runtime",
    "supply_leakage",
    "return_leakage",
    "added_drop",
    "fan_efficiency",
)
HOW = ("test", "prediction", "clean_air_rate")
MOST_MONEY = 1e7  # in any currency, for one unit, filter or change
MOST_ENERGY_PRICE = 10.0 / 3.6e6  # ten a kWh, in any currency: more nobody is billed
MOST_DEMAND_PRICE = 1.0  # a thousand a kW
MOST_HOURS = 366 * 86400.0
MOST_CHANGES = 366.0  # in a year: one a day


def _rates(name: str, what: str, example: str) -> tuple[Field, ...]:
    """A rate in either sort: its name says which."""
    kinds = ((REAL, "in money of today, beyond inflation"), (NOMINAL, "in money as it is paid, inflation in it"))
    return tuple(
        Given(f"{sort}_{name}", f"{what}, {words}.", kind="ratio", above=-0.2, high=0.5, example=example)
        for sort, words in kinds
    )


def _money(name: str, help_: str, example: str, **more: Any) -> Given:
    return Given(name, help_, kind="money USD", example=example, **({"low": 0.0, "high": MOST_MONEY} | more))


def _shared_prices(of: str) -> tuple[Field, ...]:
    return (
        _money("filter_price", f"Price of one filter{of}.", '"from 18 to 26 USD"'),
        _money("labour_price", f"Labour of one change of one unit{of}.", '"12 USD ± 4 USD"'),
        _money("disposal_price", f"Price of getting rid of one used filter{of}.", '"1 USD"'),
    )


def _sorts_checks(section: Section) -> Sequence[Wrong]:
    """Inflation must be told wherever a rate is turned into one of the other sort."""
    money = section.value("money")
    other = NOMINAL if money == REAL else REAL
    turned = [f"{other}_{name}" for name in (DISCOUNT, *ESCALATIONS) if f"{other}_{name}" in section]
    untold = [name for name in ESCALATIONS if not any(f"{sort}_{name}" in section for sort in (REAL, NOMINAL))]
    if "inflation" in section or not (turned or (money == NOMINAL and untold)):
        return []
    why = turned[0] if turned else f"prices without an escalation, such as {untold[0].replace('_', ' ')}, rise with it"
    said = f'the inflation that turns {why} into money = "{money}"' if turned else f"the inflation: {why}"
    return [Wrong("inflation", said, 'Add inflation = "from 2 to 3 %", for instance.')]


def _demand_checks(section: Section) -> Sequence[Wrong]:
    if "demand_price" in section:
        return []
    told = [name for name in ("billings", "demand_share") if name in section and not section[name].assumed]
    return [
        Wrong("demand_price", f"the price of the demand, beside {name}", "Add it, or remove the line.") for name in told
    ]


OWN = Table(
    "own",
    "Options to be owned for years, and on what terms they are compared. All prices are those of today, and all in "
    "one currency. Any number may carry its ± or a range, from one value to another.",
    (
        Count("years", "Years that are looked at.", required=True, low=1, high=60, example="10"),
        Choice("currency", "Currency that all prices here are written in.", required=True, choices=tuple(CURRENCIES),
               example='"USD"'),
        Choice(
            "money",
            "In which money it is reckoned: real, of today's value, or nominal, as it is paid. Rates of the other sort "
            "are turned by the inflation.",
            required=True,
            choices=(REAL, NOMINAL),
        ),
        *_rates(DISCOUNT, "Discount rate of a year", '"from 2 to 4 %"'),
        Given("inflation", "General rise of prices in a year.", kind="ratio", above=-0.2, high=0.5,
              example='"from 2 to 3 %"'),
        *_rates("energy_escalation", "Rise of the tariff in a year, of energy and demand", '"from 0 to 1 %"'),
        *_rates("filter_escalation", "Rise of the prices of filters and their disposal in a year", '"from -1 to 1 %"'),
        *_rates("labour_escalation", "Rise of the prices of labour and upkeep in a year", '"from 0 to 1 %"'),
        *_rates("unit_escalation", "Rise of the prices of units in a year", '"from -1 to 1 %"'),
        Choice(
            "payments",
            "When payments count: all of a year at its end, or each purchase on its day and energy month by month.",
            choices=(YEAR_END, ON_THE_DAY),
        ),
        Choice(
            "last_change",
            "Whether filters that fall due on the very last day are bought: of four changes a year for ten years, 39 "
            "sets after the first, or 40.",
            choices=(NOT_MADE, MADE),
        ),
        Given("hours", "Running time in a year, the same for every option.", required=True, kind="time", above=0.0,
              high=MOST_HOURS, example='"from 1200 to 1800 h"'),
        Given("clean_air", "Clean-air rate that is needed while they run. Without it, options are compared as they "
              "stand.", kind="flow", above=0.0, limits="never", example='"900 m3/h"'),
        Choice(
            "meets",
            "Whether the mean of the clean air over the life of the filters must meet the need at its value, or at the "
            "lower end of its error bar.",
            choices=(MEAN, LOWER),
        ),
        Given("energy_price", "Price of electrical energy.", required=True, kind="price of energy USD", low=0.0,
              high=MOST_ENERGY_PRICE, example='"from 0.14 to 0.20 USD/kWh"'),
        Given("demand_price", "Demand charge, for the greatest power of each billing.", kind="price of power USD",
              low=0.0, high=MOST_DEMAND_PRICE, example='"14 USD/kW"'),
        Count("billings", "Billings of the demand charge in a year; 12 where nothing is said.", low=1, high=12,
              example="12"),
        Given("demand_share", "Share of their power that runs in the hour of the greatest power.", kind="ratio",
              default="100 %", low=0.0, high=1.0, example='"from 50 to 100 %"'),
        *_shared_prices(", for options that state none of their own"),
        Text("notes", "Where the prices and rates are from."),
    ),
    alternatives=(
        OneOf((("real_discount",), ("nominal_discount",))),
        *(OneOf(((f"real_{name}",), (f"nominal_{name}",)), required=False) for name in ESCALATIONS),
    ),
    checks=(_sorts_checks, _demand_checks),
)  # fmt: skip


def _option_checks(section: Section) -> Sequence[Wrong]:
    sort = section.value("sort")
    if sort == NOTHING:
        told = [
            name for name, item in section.items.items() if not item.assumed and name not in ("name", "sort", "notes")
        ]
        remedy = 'Remove the line, or the words sort = "nothing".'
        return [Wrong(name, "nothing else: doing nothing costs nothing and cleans no air", remedy) for name in told]
    wrong = [*_how_checks(section, sort), *_change_checks(section)]
    if sort == UNIT and "power" in section and not section.value("power") > 0.0:
        said = "a power above 0 W: what moves air draws some"
        wrong.append(Wrong("power", said, "Correct the power, or its unit."))
    if "price" not in section:
        wrong.append(Wrong("price", "price, of one unit today", 'Add price = "220 USD", for instance.'))
    if "replacement_price" in section and "unit_life" not in section:
        wrong.append(Wrong("unit_life", "how long a unit lasts, beside what the next one costs",
                           'Add unit_life = "from 5 to 8 years", for instance.'))  # fmt: skip
    return wrong


def _how_checks(section: Section, sort: str) -> Iterator[Wrong]:
    """Where its clean air and watts are from."""
    told = [name for name in HOW if name in section]
    duct = [name for name in IN_DUCT if name in section and not section[name].assumed]
    if sort == DUCT and "duct_flow" in duct:
        if told:
            yield Wrong(told[0], "a flow in the duct or a clean-air rate, not both", "Remove one of the two.")
        if "filter_efficiency" not in section:
            yield Wrong("filter_efficiency", "the share of particles that the filter holds back, for its sizes",
                        'Add filter_efficiency = "(70 ± 8) %", for instance.')  # fmt: skip
        if "power" not in section and not {"added_drop", "fan_efficiency"} <= set(section):
            yield Wrong("added_drop", "the power that the filter adds: added_drop with fan_efficiency, or power",
                        'Add added_drop = "from 30 to 60 Pa" and fan_efficiency = "from 25 to 40 %".')  # fmt: skip
        if "power" in section and "added_drop" in section:
            yield Wrong("added_drop", "the added power or the added drop, not both", "Remove one of the two.")
    elif duct:
        remedy = 'Add sort = "duct filter" and duct_flow, or remove the line.'
        yield Wrong(duct[0], "no such line without the flow in a duct", remedy)
    elif not told:
        yield Wrong("clean_air_rate", "test, prediction or clean_air_rate",
                    'Add clean_air_rate = "410 m3/h ± 40 m3/h", for instance.')  # fmt: skip
    if len(told) > 1:
        yield Wrong(told[1], f"only one of: {', '.join(HOW)}", "Remove the others.")
    yield from cleaner_checks(section)


def _change_checks(section: Section) -> Iterator[Wrong]:
    """How often filters are changed, and how many."""
    named = section.value("prediction")
    life = named is not None and named.prediction is not None and named.prediction.life is not None
    intervals = [name for name in INTERVALS if name in section]
    if section.value("filters") == 0:
        of_filters = [
            name for name in (*intervals, *SHARED, "first_set") if name in section and not section[name].assumed
        ]
        for name in of_filters:
            yield Wrong(name, "no such line where there are no filters", "Remove the line, or correct filters.")
    elif not intervals and not life:
        yield Wrong("change_every", " or ".join(INTERVALS) + ", or a prediction with a table [life]",
                    'Add change_every = "from 3 to 4 months", for instance; filters = 0 if it has none.')  # fmt: skip
    if "filters" not in section and named is None:
        yield Wrong("filters", "how many filters are in a set of one unit", "Add filters = 4, for instance.")


COUNT = Count(
    "count",
    "How many of them; where nothing is said, as many as the clean air that is needed takes.",
    low=1,
    high=1000,
    example="2",
)
AS_OPTION = {  # what a field of a cleaner means here
    "power": "True electrical power of one unit as the mean over the life of its filters, in place of what test or "
    "prediction tell; of a duct filter, what it adds to that of the fan.",
}
OPTIONS = Table(
    "options",
    "One way to have clean air; a further section for each further one. Prices are those of today, each of one unit or "
    "one filter.",
    (
        *(
            replace(f, help=AS_OPTION.get(f.name, f.help)) if f.name != "count" else COUNT
            for f in CLEANER
            if f.name not in ("sound", "sound_distance")
        ),
        Choice("sort", "What it is. To do nothing costs nothing and cleans nothing.", choices=(UNIT, DUCT, NOTHING)),
        _money("price", "Price of one unit.", '"from 180 to 240 USD"'),
        _money("installation", "What it costs once to put a unit up.", '"60 USD ± 20 USD"'),
        Choice("first_set", "Whether the first filters are in the price of a unit, or bought beside it.",
               choices=(IN_PRICE, BOUGHT)),
        Given("unit_life", "How long a unit lasts before it is bought anew. Without it, as long as is looked at.",
              kind="time", low=30 * 86400.0, example='"from 5 to 8 years"'),
        _money("replacement_price", "What is paid for the next one; the price where nothing is said.", '"150 USD"'),
        _money("residual", "Value of a unit at the end, at a price of today; below zero where getting rid of it costs "
               "money. Without it the straight-line share of its price, where its life is told.", '"10 USD"',
               low=-MOST_MONEY),
        Count("filters", "Filters in a set of one unit.", low=0, high=1000, example="4"),
        Given("change_every", "Calendar time from one change to the next.", kind="time", low=86400.0,
              example='"from 3 to 4 months"'),
        Given("change_after", "Running time from one change to the next.", kind="time", low=3600.0,
              example='"from 500 to 700 h"'),
        Given("changes_per_year", "How often in a year filters are changed.", kind="ratio", above=0.0,
              high=MOST_CHANGES, example='"from 3 to 4"'),
        *_shared_prices(""),
        Given("mean_over_life", "Clean air as the mean over the life of the filters, as a share of that with new ones.",
              kind="ratio", above=0.0, high=1.0, example='"from 70 to 90 %"'),
        Given("end_of_life_share", "Clean air that is left when the filters are changed, as a share of that with new "
              "ones; the mean is then taken halfway, give or take half of the way to either end.",
              kind="ratio", above=0.0, high=1.0, example='"from 60 to 80 %"'),
        _money("upkeep", "What else one unit costs in a year: checks, cleaning.", '"5 USD"'),
        Given("duct_flow", "Of a duct filter, the flow through it with the filter in place.", kind="flow", above=0.0,
              example='"1900 m3/h ± 10 %"'),
        Given("filter_efficiency", "Share of the particles that the filter in its frame holds back in one pass.",
              kind="ratio", above=0.0, high=1.0, example='"(70 ± 8) %"'),
        Given("runtime", "Share of the hours in which the fan of the ducts runs.", kind="ratio", default="100 %",
              above=0.0, high=1.0, example='"from 60 to 100 %"'),
        Given("supply_leakage", "Share of the flow that leaks out behind the filter.", kind="ratio", default="0 %",
              low=0.0, high=1.0, example='"from 5 to 15 %"'),
        Given("return_leakage", "Share of the flow that leaks in before the filter.", kind="ratio", default="0 %",
              low=0.0, high=1.0, example='"from 0 to 10 %"'),
        Given("added_drop", "Drop that the filter adds to the ducts, beyond the one it replaces, as the mean over its "
              "life.", kind="pressure difference", above=0.0, example='"from 30 to 60 Pa"'),
        Given("fan_efficiency", "Of fan, drive and motor together: air power over electrical power.", kind="ratio",
              above=0.0, high=1.0, example='"from 25 to 40 %"'),
    ),
    alternatives=(
        OneOf(tuple((name,) for name in INTERVALS), required=False),
        OneOf((("mean_over_life",), ("end_of_life_share",)), required=False),
    ),
    checks=(_option_checks,),
)  # fmt: skip


def priced(table: Table, currency: str) -> Table:
    """A table with its prices in one currency."""
    if currency not in CURRENCIES:
        return table
    fields: list[Field] = []
    for f in table.fields:
        if _is_priced(f):
            kind = getattr(f, "kind", "")
            changed: Any = {"kind": kind.replace("USD", currency), "example": f.example.replace("USD", currency)}
            f = replace(f, **changed)
        fields.append(f)
    return replace(table, fields=tuple(fields))


@dataclass
class Owning:
    """The tables of options to be owned.

    Attributes
    ----------
    terms : Section
        The table [own].
    options : list of Section
    """

    terms: Section
    options: list[Section]

    @property
    def sections(self) -> list[Section]:
        return [self.terms, *self.options]


def _is_priced(f: Field) -> bool:
    return getattr(f, "kind", "").endswith(" USD")


def _unpriced(reader: PartReader, table: Table, raw: Any, path: tuple[str | int, ...], currency: str) -> Any:
    """A table without its prices where the currency is none of ours: that is a fault, and each price no other."""
    if currency in CURRENCIES or not isinstance(raw, Mapping):
        return raw
    prices = {f.name for f in table.fields if _is_priced(f)} & set(raw)
    reader.walker.spoiled |= {path_name((*path, name)) for name in prices}
    return {name: value for name, value in raw.items() if name not in prices}


def read_own(reader: PartReader) -> Owning:
    """The tables, their prices in the currency that [own] names."""
    raw = reader.data[OWN.name]
    currency = str(raw.get("currency", "")) if isinstance(raw, Mapping) else ""
    stated = _unpriced(reader, OWN, _sorts_told(reader, raw), (OWN.name,), currency)
    terms = reader.section(priced(OWN, currency), stated, (OWN.name,))
    options = reader.data.get(OPTIONS.name)
    if isinstance(options, list):
        unpriced = [_unpriced(reader, OPTIONS, one, (OPTIONS.name, i), currency) for i, one in enumerate(options)]
        reader = replace(reader, data={**reader.data, OPTIONS.name: unpriced})
    found = Owning(terms, reader.several(priced(OPTIONS, currency)))
    _together(reader, found)
    return found


def _sorts_told(reader: PartReader, raw: Any) -> Any:
    """The table without rates that do not say whether they are real or nominal, each of which is a fault of its own."""
    if not isinstance(raw, Mapping):
        return raw
    silent = [name for name in (DISCOUNT, *ESCALATIONS) if name in raw]
    for name in silent:
        said = f"real_{name} or nominal_{name}: a rate must say whether inflation is in it"
        remedy = f"Rename the line to real_{name} if the rate is beyond inflation, else to nominal_{name}."
        reader.walker.fault((OWN.name, name), raw[name], said, remedy)
        for sort in (REAL, NOMINAL):
            reader.walker.spoiled.add(path_name((OWN.name, f"{sort}_{name}")))
    return {name: value for name, value in raw.items() if name not in silent}


def _together(reader: PartReader, found: Owning) -> None:
    """What options and terms must agree in."""
    walker = reader.walker
    if not found.options and not walker.is_spoiled(OPTIONS.name):
        walker.miss(
            (), "no [[options]]", "what is to be owned, in sections [[options]]", "Add [[options]] for each of them."
        )
    known: dict[str, int] = {}
    for i, section in enumerate(found.options):
        name = section.value("name")
        if name is not None and known.setdefault(folded(name), i) != i:
            walker.fault(
                (OPTIONS.name, i, "name"),
                name,
                "a name of its own",
                f"{path_name((OPTIONS.name, known[folded(name)]))} has this one.",
            )
        if section.value("sort") == NOTHING or section.value("filters") == 0:
            continue
        hours = found.terms.value("hours")
        if "change_after" in section and hours is not None and hours > MOST_CHANGES * section.value("change_after"):
            said = f"at most {MOST_CHANGES:.0f} changes in a year of {as_written(found.terms['hours'])}"
            remedy = "Check the time between changes, and its unit."
            walker.fault((OPTIONS.name, i, "change_after"), as_written(section["change_after"]), said, remedy)
        if not any("filter_price" in s or walker.is_spoiled(*s.path, "filter_price") for s in (section, found.terms)):
            remedy = "Add filter_price to the option, or to [own] if all filters cost the same."
            walker.miss(section.path, "no filter_price", "filter_price, of one filter", remedy)
    if found.options and all(section.value("sort") == NOTHING for section in found.options):
        walker.miss((OPTIONS.name,), shown("nothing"), "at least one option that cleans air", "Add [[options]] for it.")


OWNING = Part(OWN.name, read_own, (OWN,), (OPTIONS,))
