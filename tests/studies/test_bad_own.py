"""Records of options that are spoilt in one place: one clear report of each fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowrig.errors import InputError
from flowrig.studies.own import own
from tests.cli.rig import edited, spread
from tests.studies.test_bad_predict import refuses

RECORD = """title = "Two ways to clean air"
date = 2026-08-20
invented = true

[own]
years = 10
currency = "USD"
money = "real"
real_discount = "from 2 to 4 %"
hours = "from 1200 to 1800 h"
energy_price = "0.16 USD/kWh"
demand_price = "14 USD/kW"
billings = 10
filter_price = "from 18 to 26 USD"

[[options]]
name = "four-filter box"
clean_air_rate = "480 m3/h ± 60 m3/h"
particles = "0.3 to 1 um"
power = "92 W"
price = "70 USD"
filters = 4
change_every = "3 months"

[[options]]
name = "filter in the ducts"
sort = "duct filter"
particles = "0.3 to 1 um"
price = "200 USD"
duct_flow = "1900 m3/h"
filter_efficiency = "(60 ± 10) %"
added_drop = "50 Pa"
fan_efficiency = "30 %"
filters = 2
change_every = "3 months"

[[options]]
name = "as it is"
sort = "nothing"
"""
BOX, DUCT, IDLE = (
    "record.toml, line 16, options[1]",
    "record.toml, line 25, options[2]",
    "record.toml, line 37, options[3]",
)
OWN = "record.toml, line 5, own"
NAMES = "line 17, options[1].name"


def laid_out(folder: Path, text: str) -> Path:
    path = folder / "record.toml"
    path.write_text(text, encoding="utf-8")
    return path


def without(line: str) -> str:
    return edited(RECORD, f"{line}\n", "")


def test_the_sound_record_is_sound(tmp_path: Path) -> None:
    found = own(laid_out(tmp_path, RECORD), samples=1000)
    assert [x.name for x in found] == ["four-filter box", "filter in the ducts"]
    assert found.idle == ["as it is"]


TERMS = spread(
    1,
    ("no years", without("years = 10"), (OWN, "no years", "Add years = 10")),
    ("half a year", edited(RECORD, "years = 10", "years = 2.5"),
     ("record.toml, line 6, own.years", "read 2.5", "a whole number from 1 to 60")),
    ("no money", without('money = "real"'), (OWN, "no money", "one of: real, nominal")),
    ("no sort of money", edited(RECORD, 'money = "real"', 'money = "constant"'),
     ("record.toml, line 8, own.money", "'constant'", "one of: real, nominal")),
    ("a rate that does not say", edited(RECORD, "real_discount", "discount"),
     ("record.toml, line 9, own.discount", "'from 2 to 4 %'", "real_discount or nominal_discount",
      "whether inflation is in it", "Rename the line")),
    ("an escalation that does not say", edited(RECORD, "billings", 'energy_escalation = "1 %"\nbillings'),
     ("record.toml, line 13, own.energy_escalation", "real_energy_escalation or nominal_energy_escalation")),
    ("both sorts at once", edited(RECORD, "hours =", 'nominal_discount = "5 %"\nhours ='),
     (OWN, "real_discount and nominal_discount", "only one of", "Remove the others")),
    ("no discount", without('real_discount = "from 2 to 4 %"'),
     (OWN, "neither real_discount nor nominal_discount")),
    ("nominal without inflation", edited(RECORD, "real_discount", "nominal_discount"),
     (OWN, "no inflation", 'the inflation that turns nominal_discount into money = "real"', "Add inflation =")),
    ("nominal money and prices of today",
     edited(edited(RECORD, "real_discount", "nominal_discount"), '"real"', '"nominal"'),
     (OWN, "no inflation", "prices without an escalation, such as energy escalation, rise with it")),
    ("per cent forgotten", edited(RECORD, '"from 2 to 4 %"', '"from 2 to 4"'),
     ("record.toml, line 9, own.real_discount", "'from 2 to 4'", "at most 0.5")),
    ("range upside down", edited(RECORD, '"from 2 to 4 %"', '"from 4 to 2 %"'),
     ("record.toml, line 9, own.real_discount", "'from 4 to 2 %'", "from a lower to a higher", "lower end first")),
    ("half a range", edited(RECORD, '"from 2 to 4 %"', '"from 2 %"'),
     ("record.toml, line 9, own.real_discount", "'from 2 %'")),
    ("a currency of its own", edited(RECORD, '"0.16 USD/kWh"', '"0.16 EUR/kWh"'),
     ("record.toml, line 11, own.energy_price", "'0.16 EUR/kWh'", "'EUR/kWh' is not a unit of price of energy USD")),
    ("no such currency", edited(RECORD, '"USD"', '"CHF"'),
     ("record.toml, line 7, own.currency", "'CHF'", "one of: USD, EUR, GBP")),
    ("no such currency, in every price", RECORD.replace("USD", "CHF"),
     ("record.toml, line 7, own.currency", "'CHF'", "one of: USD, EUR, GBP")),
    ("no currency, and prices in one", without('currency = "USD"').replace("USD", "GBP"),
     (OWN, "no currency", 'Add currency = "USD"')),
    ("a list of currencies", edited(RECORD, 'currency = "USD"', 'currency = ["USD"]'),
     ("record.toml, line 7, own.currency", "one of: USD, EUR, GBP")),
    ("years left blank", edited(RECORD, "years = 10", 'years = ""'), (OWN, "no years", "Add years = 10")),
    ("a discount of 60 %", edited(RECORD, '"from 2 to 4 %"', '"60 %"'),
     ("record.toml, line 9, own.real_discount", "'60 %'", "at most 50 %")),
    ("an escalation of -30 %", edited(RECORD, "billings", 'real_energy_escalation = "-30 %"\nbillings'),
     ("record.toml, line 13, own.real_energy_escalation", "'-30 %'", "above -20 %")),
    ("a tariff of 20", edited(RECORD, '"0.16 USD/kWh"', '"20 USD/kWh"'),
     ("record.toml, line 11, own.energy_price", "'20 USD/kWh'", "a price of energy in USD from 0", "to 10 USD/kWh")),
    ("watts for kilowatts", edited(RECORD, '"14 USD/kW"', '"14 USD/W"'),
     ("record.toml, line 12, own.demand_price", "'14 USD/W'", "to 1 USD/W")),
    ("a price of energy for one of power", edited(RECORD, '"14 USD/kW"', '"14 USD/kWh"'),
     ("record.toml, line 12, own.demand_price", "'USD/kWh' is not a unit of price of power USD")),
    ("billings of no charge", without('demand_price = "14 USD/kW"'),
     (OWN, "no demand_price", "the price of the demand, beside billings")),
    ("a year of 9000 hours", edited(RECORD, '"from 1200 to 1800 h"', '"9000 h"'),
     ("record.toml, line 10, own.hours", "'9000 h'", "8784 h")),
    ("no hours", without('hours = "from 1200 to 1800 h"'), (OWN, "no hours")),
    ("a price below nothing", edited(RECORD, '"0.16 USD/kWh"', '"0.1 USD/kWh ± 0.2 USD/kWh"'),
     ("record.toml, line 11, own.energy_price", "the lower end of its ± too")),
    ("no options", RECORD[: RECORD.index("[[options]]")], ("record.toml", "no [[options]]", "Add [[options]]")),
    ("a single table", RECORD[: RECORD.index("[[options]]")] + '[options]\nname = "A"\n',
     ("record.toml, line 16, options", "[options], a single table", "[[options]], in double brackets")),
    ("nothing but nothing", RECORD[: RECORD.index("[[options]]")] + '[[options]]\nname = "A"\nsort = "nothing"\n',
     ("record.toml, line 16, options", "'nothing'", "at least one option that cleans air")),
    ("options without terms", RECORD[: RECORD.index("[own]")] + RECORD[RECORD.index("[[options]]") :],
     ("record.toml, line 5, options", "[[options]] without [own]", "Add [own]")),
)  # fmt: skip
OPTIONS = spread(
    1,
    ("no name", without('name = "four-filter box"'), (BOX, "no name")),
    ("one name twice", edited(RECORD, '"filter in the ducts"', '"Four-filter  box"'),
     ("record.toml, line 26, options[2].name", "'Four-filter  box'", "a name of its own", "options[1] has this one")),
    ("no price", without('price = "70 USD"'), (BOX, "no price", "of one unit today", "Add price =")),
    ("no clean air", without('clean_air_rate = "480 m3/h ± 60 m3/h"'),
     (BOX, "no clean_air_rate", "test, prediction or clean_air_rate")),
    ("a rate without its error", edited(RECORD, '"480 m3/h ± 60 m3/h"', '"480 m3/h"'),
     ("record.toml, line 18, options[1].clean_air_rate", "'480 m3/h'", "with its ±")),
    ("no particles", edited(RECORD, 'particles = "0.3 to 1 um"\npower', "power"),
     (BOX, "no particles", "the sizes of particles that the clean-air rate is for")),
    ("particles in other words", edited(RECORD, 'particles = "0.3 to 1 um"\npower', 'particles = "dust"\npower'),
     ("record.toml, line 19, options[1].particles", "'dust'", "no range of sizes")),
    ("no watts", without('power = "92 W"'),
     ("record.toml, line 18, options[1].clean_air_rate", "no power", "Add power =")),
    ("no filters", without("filters = 4"), (BOX, "no filters", "how many filters are in a set")),
    ("filters that are never changed", edited(RECORD, 'filters = 4\nchange_every = "3 months"', "filters = 4"),
     (BOX, "no change_every", "change_every or change_after or changes_per_year", "filters = 0 if it has none")),
    ("changes of no filters", edited(RECORD, "filters = 4", "filters = 0"),
     ("record.toml, line 23, options[1].change_every", "no such line where there are no filters")),
    ("two times between changes", edited(RECORD, "filters = 4", 'filters = 4\nchange_after = "500 h"'),
     (BOX, "change_every and change_after", "only one of")),
    ("nobody tells the price of a filter", without('filter_price = "from 18 to 26 USD"'),
     ("record.toml, line 15, options[1]", "no filter_price"), ("record.toml, line 24, options[2]", "no filter_price")),
    ("changes of a thousandth of an hour", RECORD.replace('change_every = "3 months"', 'change_after = "0.001 h"'),
     ("record.toml, line 23, options[1].change_after", "'0.001 h'", "at least 1 h"),
     ("record.toml, line 35, options[2].change_after", "'0.001 h'", "at least 1 h")),
    ("changes of a few hours",
     RECORD.replace('filters = 2\nchange_every = "3 months"', 'filters = 2\nchange_after = "4 h"'),
     ("record.toml, line 35, options[2].change_after", "read '4 h'", "at most 366 changes in a year of 1500 h")),
    ("no power at all", edited(RECORD, '"92 W"', '"0 W"'),
     ("record.toml, line 20, options[1].power", "0 W", "above 0 W")),
    ("a key with a slip", edited(RECORD, 'particles = "0.3 to 1 um"\npower', 'partickles = "0.3 to 1 um"\npower'),
     ("record.toml, line 19, options[1].partickles", "Did you mean particles?")),
    ("a mean above new", edited(RECORD, "filters = 4", 'filters = 4\nmean_over_life = "120 %"'),
     ("record.toml, line 23, options[1].mean_over_life", "'120 %'", "at most 100 %")),
    ("two means", edited(RECORD, "filters = 4", 'filters = 4\nmean_over_life = "80 %"\nend_of_life_share = "70 %"'),
     (BOX, "mean_over_life and end_of_life_share", "only one of")),
    ("the next one of what lasts", edited(RECORD, "filters = 4", 'filters = 4\nreplacement_price = "50 USD"'),
     (BOX, "no unit_life", "how long a unit lasts")),
    ("a life of nothing", edited(RECORD, "filters = 4", 'filters = 4\nunit_life = "0 years"'),
     ("record.toml, line 23, options[1].unit_life", "'0 years'", "at least 0.08219 year")),
    ("a unit of ten million", edited(RECORD, '"70 USD"', '"70000000 USD"'),
     ("record.toml, line 21, options[1].price", "'70000000 USD'", "money in USD from 0 USD to 10000000 USD")),
    ("a life in hours of sunshine", edited(RECORD, "filters = 4", 'filters = 4\nunit_life = "5"'),
     ("record.toml, line 23, options[1].unit_life", "'5'", "A unit of time is missing")),
    ("a duct in a room unit", edited(RECORD, 'sort = "duct filter"\n', ""),
     ("record.toml, line 29, options[2].duct_flow", "no such line without the flow in a duct", 'sort = "duct filter"')),
    ("a duct without its flow", without('duct_flow = "1900 m3/h"'),
     ("record.toml, line 30, options[2].filter_efficiency", "no such line without the flow in a duct")),
    ("a duct that tells its rate twice",
     edited(RECORD, "duct_flow", 'clean_air_rate = "900 m3/h ± 90 m3/h"\nduct_flow'),
     ("record.toml, line 30, options[2].clean_air_rate", "a flow in the duct or a clean-air rate, not both")),
    ("a duct without efficiency", without('filter_efficiency = "(60 ± 10) %"'),
     (DUCT, "no filter_efficiency", "the share of particles that the filter holds back")),
    ("a duct without a drop", without('added_drop = "50 Pa"'),
     (DUCT, "no added_drop", "added_drop with fan_efficiency, or power")),
    ("added twice", edited(RECORD, "added_drop", 'power = "80 W"\nadded_drop'),
     ("record.toml, line 33, options[2].added_drop", "the added power or the added drop, not both")),
    ("nothing that costs something", edited(RECORD, 'sort = "nothing"', 'sort = "nothing"\nprice = "5 USD"'),
     ("record.toml, line 40, options[3].price", "read 5 USD", "doing nothing costs nothing")),
    ("a sort of its own", edited(RECORD, 'sort = "nothing"', 'sort = "window"'),
     ("record.toml, line 39, options[3].sort", "'window'", "one of: room unit, duct filter, nothing")),
    ("sound of a unit", edited(RECORD, "filters = 4", 'filters = 4\nsound = "52 dB"'),
     ("record.toml, line 23, options[1].sound", "'sound'", "one of: name, count")),
    ("a record that is not there", edited(RECORD, 'clean_air_rate = "480 m3/h ± 60 m3/h"', 'test = "box.toml"'),
     ("record.toml, line 18, options[1].test", "there is no file 'box.toml'", "a record of a cleaner")),
    ("a currency of its own", edited(RECORD, '"70 USD"', '"70 EUR"'),
     ("record.toml, line 21, options[1].price", "'70 EUR'", "'EUR' is not a unit of money USD")),
    ("a rate that no number reaches", edited(edited(RECORD, "480 m3/h ± 60", "0.1 m3/h ± 0.01"), "filter_price",
     'clean_air = "900 m3/h"\nfilter_price'),
     ("record.toml, line 17, options[1]", "a clean-air rate of 0.1 m3/h", "at most 1000 units")),
)  # fmt: skip


@pytest.mark.parametrize(("text", "says"), TERMS)
def test_terms_that_cannot_be_used(text: str, says: tuple[tuple[str, ...], ...], tmp_path: Path) -> None:
    refuses(lambda: own(laid_out(tmp_path, text)), says, tmp_path)


@pytest.mark.parametrize(("text", "says"), OPTIONS)
def test_options_that_cannot_be_used(text: str, says: tuple[tuple[str, ...], ...], tmp_path: Path) -> None:
    refuses(lambda: own(laid_out(tmp_path, text)), says, tmp_path)


def test_every_fault_in_one_report(tmp_path: Path) -> None:
    spoilt = edited(edited(edited(RECORD, '"70 USD"', '"70"'), "years = 10", 'years = "10"'), '"50 Pa"', '"50 W"')
    with pytest.raises(InputError) as caught:
        own(laid_out(tmp_path, spoilt))
    assert [fault.where for fault in caught.value.faults] == [
        "record.toml, line 6, own.years",
        "record.toml, line 21, options[1].price",
        "record.toml, line 32, options[2].added_drop",
    ]


def test_an_option_cannot_name_the_record_it_stands_in(tmp_path: Path) -> None:
    itself = edited(RECORD, 'clean_air_rate = "480 m3/h ± 60 m3/h"', 'test = "record.toml"')
    with pytest.raises(InputError, match=r"a table \[\[options\]\]; expected the record of a cleaner"):
        own(laid_out(tmp_path, itself))


def test_reduce_knows_the_command_for_it(tmp_path: Path) -> None:
    from flowrig.studies.reduce import reduce

    with pytest.raises(InputError, match=r"Run flowrig own for it"):
        reduce(laid_out(tmp_path, RECORD))
