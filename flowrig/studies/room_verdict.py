"""What a number of units comes to, in words: each target has its own verdict, and says what it does not speak of."""

from __future__ import annotations

from collections.abc import Iterator

from flowrig import units
from flowrig.records.words import three_digits
from flowrig.studies.result import Quantity
from flowrig.studies.room_targets import AIR_CHANGES, BOTH, LEVEL, PER_PERSON, Case, Target
from flowrig.studies.room_units import BEYOND, UnitsFor

FASTEST = 30.0 / 3600.0  # 1/s of clean air from units: beyond, no room is well mixed; own judgement, no source
MEETS = {  # how a target is met
    AIR_CHANGES: "give the air changes of clean air asked for",
    PER_PERSON: "give the clean air asked for each person",
    BOTH: "give the larger of the two",
    LEVEL: "hold the level",
}


def verdict(target: Target, case: Case, found: UnitsFor) -> str:
    """What is to be said of units of one sort against one target."""
    sure = f"{100 * found.confidence:g} % confidence"
    meets, name = MEETS[target.kind], found.name
    if found.sure is None and found.on_mean is None:
        why = f"not even {BEYOND} are enough" if float(case.needed.estimate.value) > 0.0 else "one adds no clean air"
        return f"Not achievable: no number of {name} will {meets}; {why}."
    if found.sure is None:
        return (
            f"Not achievable with {sure} by any number of {name}: within its error bar one adds no clean air, or too "
            f"little. With every value as it is stated {_units(found.on_mean)} would {meets}."
        )
    if not found.allowed:
        assert found.most is not None
        chance = percent(found.probability_of(found.most))
        reached = _at(found.reached, min(found.most, len(found.numbers) - 1))
        return (
            f"Not achievable with at most {found.most} of {name}: {found.sure} would be needed to {meets} with {sure}. "
            f"At {found.most} the room comes to {reached}, which meets the target with a probability of {chance}."
        )
    if found.sure == 0:
        return f"Met without any {name}, with {sure}."
    if found.on_mean == found.sure:
        return f"{_units(found.sure)} {_do(found.sure, meets)}, on the mean and with {sure}."
    if not found.on_mean:
        return f"On the mean none is needed; {_units(found.sure)} {_do(found.sure, meets)} with {sure}."
    chance = percent(found.probability_of(found.on_mean))
    return (
        f"{_units(found.on_mean)} {_do(found.on_mean, meets)} on the mean (a probability of {chance}), "
        f"{_units(found.sure, False)} with {sure}."
    )


def sentences(target: Target, case: Case) -> Iterator[str]:
    """All that is to be said of a target in one state of the ducts, sort by sort."""
    if case.changes > FASTEST:
        changes = units.from_si(case.changes, "1/h", "rate")
        yield (
            "Not achievable in a room that stays well mixed: outdoor air, leaks and sources bring in so much that "
            f"units would have to clean it {changes:.3g} times an hour."
        )
    for found in case.units:
        said = verdict(target, case, found)
        yield f"{found.name}: {said[:1].lower()}{said[1:]}" if len(case.units) > 1 else said
    if case.there is not None:
        yield f"Those that the record counts will {MEETS[target.kind]} with a probability of {percent(case.there)}."
    if not case.units and case.without is not None:
        yield f"Without any unit the target is met with a probability of {percent(case.without)}."


def _at(q: Quantity, row: int) -> str:
    value, low, high = (three_digits(float(x[row])) for x in (q.value, q.low, q.high))
    return f"{value} {q.unit} ({low} to {high})"


def _units(number: int | None, word: bool = True) -> str:
    said = f"{number}" if number is not None else "no number"
    return f"{said} unit{'' if number == 1 else 's'}" if word else said


def _do(number: int, meets: str) -> str:
    """The verb of one, or of several."""
    first, _, rest = meets.partition(" ")
    return f"{first}s {rest}" if number == 1 else meets


def percent(share: float) -> str:
    """A probability; what draws do not tell from none or from all is not said as if they did."""
    if share >= 0.9995:
        return "over 99.9 %"
    return "below 0.1 %" if share < 0.0005 else f"{100 * share:.1f} %"
