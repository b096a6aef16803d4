"""What a number of units comes to, in words: each target has its own verdict, and says what it does not speak of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from flowrig import units
from flowrig.records.words import ends_rounded, three_digits
from flowrig.studies.room_targets import AIR_CHANGES, BOTH, LEVEL, PER_PERSON, Case, Target
from flowrig.studies.room_units import UnitsFor

FASTEST = 30.0 / 3600.0  # 1/s of clean air from units: beyond, no room is well mixed; own judgement, no source
LIMIT = "30 air changes an hour"
MEETS = {  # how a target is met
    AIR_CHANGES: "give the air changes of clean air asked for",
    PER_PERSON: "give the clean air asked for each person",
    BOTH: "give the larger of the two",
    LEVEL: "hold the level",
}


def verdict(target: Target, case: Case, found: UnitsFor) -> str:
    """What is to be said of units of one sort against one target, beside which others that is."""
    said = _verdict(target, case, found)
    return f"Beside {found.beside}: {said[:1].lower()}{said[1:]}" if found.beside else said


def _verdict(target: Target, case: Case, found: UnitsFor) -> str:
    sure = f"{100 * found.confidence:g} % confidence"
    meets, name = MEETS[target.kind], found.name
    if case.changes > FASTEST:
        return f"Not achievable with any number of {name} in a room that stays well mixed."
    if found.sure == 0:
        return f"Met without any {name}, with {sure}."
    if found.adds_nothing:
        return f"Not achievable with {name}: with every value as it is stated, one adds no clean air."
    if found.never > 1.0 - found.confidence:
        mean = found.told(found.on_mean)
        said = f"Not achievable with {sure} by any number of {name}: within its error bar one may add no clean air"
        said += f" (a probability of {percent(found.never)})."
        return f"{said} With every value as it is stated {_units(mean)} would {meets}." if mean is not None else said
    if found.number_is_short:
        return _short(case, found, meets, sure)
    assert found.sure is not None
    if found.too_fast:
        few = found.told(found.on_mean)
        also = f"; on the mean {_units(few)} would {meets}" if few is not None else ""
        return (
            f"Not achievable with {sure} by {name} in a room that stays well mixed: more than {LIMIT} would be "
            f"needed{also}."
        )
    if found.on_mean == found.sure:
        return f"{_units(found.sure)} {_do(found.sure, meets)}, on the mean and with {sure}."
    if not found.on_mean:
        return f"On the mean none is needed; {_units(found.sure)} {_do(found.sure, meets)} with {sure}."
    chance = percent(found.probability_of(found.on_mean))
    return (
        f"{_units(found.on_mean)} {_do(found.on_mean, meets)} on the mean (a probability of {chance}), "
        f"{_units(found.sure, False)} with {sure}."
    )


def _short(case: Case, found: UnitsFor, meets: str, sure: str) -> str:
    """More are needed than may stand there."""
    assert found.most is not None
    chance = percent(found.probability_of(found.most))
    row = min(found.most, len(found.numbers) - 1)
    value, low, high = ends_rounded(*(float(np.broadcast_to(x, found.numbers.shape)[row]) for x in _ends(found)))
    reached = f"{value} {found.reached.unit} ({low} to {high})"
    told = found.told(found.sure)
    more = f"{told} would be needed" if told is not None else "far more would be needed"
    place = f"at most {found.most}"
    basis = (
        " (most_units is not stated: a room of this size is taken to have place for so many)" if found.assumed else ""
    )
    mean = found.on_mean if found.on_mean is not None and found.on_mean <= found.most else None
    few = f", so that {mean} would do on the mean: it is the error bars that ask for more" if mean else ""
    unit, kind = case.needed.unit, case.needed.kind
    each, whole = (three_digits(float(units.from_si(x, unit, kind))) for x in (found.each, case.needed.estimate.value))
    return (
        f"Not achievable with {place} of {found.name}{basis}: {more} to {meets} with {sure}. "
        f"One gives {each} of the {whole} {unit} that it takes{few}. At {found.most} the room comes to {reached}, "
        f"which meets the target with a probability of {chance}."
    )


def _ends(found: UnitsFor) -> tuple[Any, Any, Any]:
    return found.reached.value, found.reached.low, found.reached.high


def achievable(case: Case, found: UnitsFor) -> bool:
    """Whether the number of units is one that may be told."""
    return found.allowed and case.changes <= FASTEST


def answer(case: Case) -> str:
    """The number of units that meets a target, of each sort, in a few words."""
    if case.changes > FASTEST:
        return "not achievable in a room that stays well mixed"
    if not case.units:
        return f"no cleaner to count; met without any with a probability of {percent(case.without or 0.0)}"
    there = (
        f"; those that the record counts meet it with a probability of {percent(case.there)}"
        if case.there is not None
        else ""
    )
    each = []
    if not any(achievable(case, found) for found in case.units):
        names = " or ".join(found.name for found in case.units)
        bounds = {found.most for found in case.units if found.number_is_short and not found.assumed}
        names += f" and at most {bounds.pop()}" if len(bounds) == 1 else ""
        return f"not achievable with {names}, with {100 * case.units[0].confidence:g} % confidence{there}"
    for found in case.units:
        if not achievable(case, found):
            most = f" with at most {found.most}" if found.number_is_short and not found.assumed else ""
            each.append(f"{found.name} not achievable{most}")
        else:
            words = f"{found.sure} × {found.name}" if found.sure else f"none of {found.name} needed"
            each.append(f"{words} beside {found.beside}" if found.beside else words)
    return f"{', or '.join(each)}, with {100 * case.units[0].confidence:g} % confidence{there}"


def answers(targets: Sequence[Target]) -> Iterator[tuple[str, str, str]]:
    """Of each target in each state of the ducts, what is asked for, the state where there are two, and the answer."""
    for target in targets:
        asked = f"{target.title}, {target.asked}" if target.asked else target.title
        for case in target.cases:
            yield asked, case.state.name if len(target.cases) > 1 else "", answer(case)


def sentences(target: Target, case: Case) -> Iterator[str]:
    """All that is to be said of a target in one state of the ducts, sort by sort."""
    if case.changes > FASTEST:
        changes = three_digits(float(units.from_si(case.changes, "1/h", "rate")))
        yield (
            f"Not achievable in a room that stays well mixed: units would have to clean it {changes} times an hour, "
            f"and beyond {LIMIT} the balance means nothing."
        )
    else:
        for found in case.units:
            said = verdict(target, case, found)
            yield f"{found.name}: {said[:1].lower()}{said[1:]}" if len(case.units) > 1 else said
    if case.why and (case.changes > FASTEST or (case.units and not any(achievable(case, x) for x in case.units))):
        yield case.why
    if case.there is not None:
        yield f"Those that the record counts will {MEETS[target.kind]} with a probability of {percent(case.there)}."
    if not case.units and case.without is not None:
        yield f"Without any unit the target is met with a probability of {percent(case.without)}."


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
    if share < 0.0005:
        return "below 0.1 %"
    return f"{100 * share:.0f} %" if 0.1 <= share < 0.9 else f"{100 * share:.1f} %"
