"""What nobody stated of an option and so counted as nothing."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.own_facts import DUCT
from flowrig.studies.option import Option
from flowrig.studies.payments import ITEMS

INSTALLATION, FIRST_SET = "installation", "first filters, taken to be in the price"
LEAKAGE = "leakage of the ducts"
SOME_ONLY = FlagMeaning(
    "cost left out of some options only",
    "warning",
    "A cost is stated for one option and left out of another, where it counts as nothing: that favours the other. "
    "State it for both, as 0 where it truly costs nothing.",
)
FLAGS = (SOME_ONLY,)


def stated(option: Option) -> dict[str, bool]:
    """What an option may cost beside what it must state, and whether it is stated; what it cannot have is no part."""
    section, given = option.section, option.given
    found = {INSTALLATION: "installation" in section}
    if float(given["filters"].value):
        found[FIRST_SET] = not section["first_set"].assumed
        found[ITEMS["labour"]] = "labour_price" in given
        found[ITEMS["disposal"]] = "disposal_price" in given
    found[ITEMS["demand"]] = "demand_price" in given
    found[ITEMS["upkeep"]] = "upkeep" in section
    found[ITEMS["replacement"]] = "unit_life" in section
    found["residual value"] = "unit_life" in section or "residual" in section
    if section.value("sort") == DUCT and "duct_flow" in section:
        found[LEAKAGE] = not (section["supply_leakage"].assumed and section["return_leakage"].assumed)
    return found


def left_out(option: Option) -> list[str]:
    """What counted as nothing, in words."""
    return [name for name, told in stated(option).items() if not told]


def unevenly(options: Sequence[Option]) -> list[Finding]:
    """What some state and others leave out."""
    told = {option.name: stated(option) for option in options}
    lacking: dict[tuple[str, ...], list[str]] = {}
    for name in dict.fromkeys(name for of in told.values() for name in of if name != LEAKAGE):
        without = tuple(option for option, of in told.items() if of.get(name) is False)
        if without and any(of.get(name) for of in told.values()):
            lacking.setdefault(without, []).append(name)
    return [Finding(SOME_ONLY, f"{', '.join(of)}: not told of {'; '.join(who)}") for who, of in lacking.items()]
