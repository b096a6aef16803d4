"""Rates of a year brought to one sort: real ones and nominal ones are never mixed, and inflation alone turns them."""

from __future__ import annotations

from flowrig.physics.present_value import nominal_rate, real_rate
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Item, Section, as_written
from flowrig.records.own_facts import DISCOUNT, ESCALATIONS, NOMINAL, REAL
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

WITH_INFLATION = FlagMeaning(
    "prices rise with inflation",
    "note",
    "Where no escalation is stated, prices are taken to rise as prices in general do: by nothing in real money, by the "
    "inflation in nominal money.",
    "constant prices: NIST Handbook 135 (1995, superseded by that of 2020)",
)
INFLATION_UNUSED = FlagMeaning(
    "inflation not used",
    "note",
    "An inflation is stated, and every rate is of the sort in which the money is reckoned: nothing had to be turned.",
)
STEEP = FlagMeaning(
    "rate of a year out of the ordinary",
    "warning",
    "A discount, inflation or escalation reaches 15 % a year or more, either way: over ten years that is a factor of "
    "four. Check the number and its %.",
    "15 %: own judgement, no source",
)
STEEPEST = 0.15  # of a year
FLAGS = (WITH_INFLATION, INFLATION_UNUSED, STEEP)


def rates_of(terms: Section, place: str) -> tuple[dict[str, Estimate], dict[str, Estimate], list[Finding]]:
    """Discount and escalations in the money of the table [own].

    Parameters
    ----------
    terms : Section
        The table [own]; its checks have seen to it that inflation is stated where it is needed.
    place : str
        Identity of what is stated there.

    Returns
    -------
    rates : dict of str to Estimate
        By ``discount`` and the names of the escalations, all of one sort.
    stated : dict of str to Estimate
        What they are made of, by field.
    findings : list of Finding
    """
    money = terms.value("money")
    stated = {
        name: given_estimate(terms[name], place, name.replace("_", " "))
        for name in ("inflation", *(f"{sort}_{of}" for of in (DISCOUNT, *ESCALATIONS) for sort in (REAL, NOMINAL)))
        if name in terms
    }
    rates, untold, turned = {}, [], False
    for name in (DISCOUNT, *ESCALATIONS):
        sort = next((sort for sort in (REAL, NOMINAL) if f"{sort}_{name}" in stated), None)
        rate = stated[f"{sort}_{name}"] if sort is not None else Estimate(0.0)  # a price without escalation: real
        untold += [name] if sort is None else []
        if (sort or REAL) == money:
            rates[name] = rate
            continue
        turned = True
        inputs = {"rate": rate, "inflation": stated["inflation"]}
        rates[name] = linear(_turned, inputs, (), {"rate": ()}, into=money)["rate"]
    findings = [
        Finding(STEEP, f"{name.replace('_', ' ')} {terms[name].text or as_written(terms[name])}")
        for name in stated
        if _reach(terms[name]) >= STEEPEST
    ]
    if untold:
        findings.append(Finding(WITH_INFLATION, f"no {', no '.join(name.replace('_', ' ') for name in untold)}"))
    if "inflation" in stated and not turned:
        findings.append(Finding(INFLATION_UNUSED, f"all rates are {money}"))
        del stated["inflation"]
    return rates, stated, findings


def _reach(item: Item) -> float:
    """How far from nothing it goes, its ± included."""
    value = float(item.value)
    return abs(value) + max((float(c.half_width(value)) for c in item.components), default=0.0)


def _turned(*, rate: Array, inflation: Array, into: str) -> dict[str, Array]:
    return {"rate": nominal_rate(rate, inflation) if into == NOMINAL else real_rate(rate, inflation)}  # type: ignore[dict-item]
