"""Decays of a room as plain text: clean air by size, the rates behind it, and how each run was used."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from flowrig.report.lines import budget_lines, findings_text, numbers, quantity_line, rounded, wrapped
from flowrig.studies.result import Quantity, Result
from flowrig.studies.room_decay import DecayResult, Told
from flowrig.studies.room_decay_flags import WINDOW_MATTERS
from flowrig.studies.room_decay_run import Fall
from flowrig.uncertainty.estimate import Estimate

SIZES = 15


def decay_text(result: Result, part: DecayResult) -> Iterator[str]:
    """Every line of the part.

    Parameters
    ----------
    result : Result
    part : DecayResult
    """
    yield part.title
    if part.volume is not None:
        yield f"  Net volume of the room  {quantity_line(part.volume)}"
    if part.told:
        yield ""
        unit = part.told[0].clean_air.unit
        head = f"clean air [{unit}]"
        yield f"  {'size':<{SIZES}}  {head:<26}{'with cleaner [1/h]':<19}{'without [1/h]':<13}".rstrip()
        yield from (_rate_line(told) for told in part.told)
        yield from wrapped(
            f"Brackets and ± hold {100 * result.coverage:.6g} %. Clean air is the net volume times the difference of "
            "the two rates; what it is for is the particle size at its left.",
        )
    falls = [(told, fall) for told in part.told for fall in told.rate.falls]
    if falls:
        yield ""
        columns = f"{'rows':>4} {'minutes':>9} {'halvings':>8} {'floor':>8} {'scatter':>7} {'x2/nu':>5}"
        yield f"  {'run':<16}{'size':<{SIZES}} {columns}"
        yield from (_fall_line(fall, told) for told, fall in falls)
        yield from wrapped(
            "Floor as a share of the first level: f fitted with the rate, m told beforehand, a assumed. Scatter is "
            "that of a reading beyond counting; x2/nu is chi square by counting alone over its degrees of freedom."
        )
        yield from wrapped(_window(part, falls))
    yield from _effects_text(part)
    if part.told:
        first = part.told[0].clean_air
        yield ""
        yield f"  Largest causes of error: {first.label} (share of the variance)"
        yield from budget_lines(first.estimate, first.unit, first.kind)
        yield from wrapped(_volume_share(part, first.estimate))
    if part.findings:
        yield from ("", *findings_text(part.findings))


def _window(part: DecayResult, falls: list[tuple[Told, Fall]]) -> str:
    """The rule of the windows, and what hangs on them."""
    assert part.room is not None
    rule = part.room.rule
    said = f"Windows: from {rule.mixing_time / 60.0:.3g} min after the start"
    if rule.lowest_signal > 0.0:
        said += f" until what is above the floor is down to {rule.lowest_signal:.3g} of it"
    shares = [
        (abs(by) / fall.bar, words, f"{fall.run.name}, {told.rate.sizes}")
        for told, fall in falls
        for words, (by, _) in fall.moves.items()
    ]
    if not shares:
        return f"{said}."
    share, words, which = max(shares)
    said += f". {words.capitalize()} by a fifth, a rate moves by at most {share:.2g} times its bar ({which})"
    if share > 1.0 and not any(f.code == WINDOW_MATTERS.code for f in part.findings):
        said += ", which chance explains: fewer rows tell it less well, and it is the most of so many"
    return f"{said}."


def _rate_line(told: Told) -> str:
    value, low, high = numbers(told.clean_air)
    size = str(told.rate.sizes) if told.rate.sizes is not None else "not said"
    clean = f"{value} [{low} to {high}]"
    return f"  {size:<{SIZES}}  {clean:<26}{_with_bar(told.on):<19}{_with_bar(told.off)}".rstrip()


def _with_bar(q: Quantity) -> str:
    half = (float(q.high) - float(q.low)) / 2.0
    value, bar = rounded(float(q.u), float(q.value), half)
    return f"{value} ± {bar}"


def _fall_line(fall: Fall, told: Told) -> str:
    fit, (first, last) = fall.fit, fall.span
    name = textwrap.shorten(fall.run.name, 15, placeholder="...")
    minutes = f"{first / 60.0:.3g}-{last / 60.0:.3g}"
    how = "a" if fall.assumed else "m" if fall.known is not None else "f"
    floor = f"{100.0 * fit.floor / fall.first:.2g} % {how}"
    spread = f"{fit.chi_square / fit.free:.2f}" if fall.run.raw else "-"
    scatter = f"{100.0 * fit.excess:.2g} %" if fit.excess > 0.0 else "none"
    return (
        f"  {name:<16}{told.rate.sizes!s:<{SIZES}} {int(fall.used.sum()):>4} {minutes:>9} {fall.halvings:>8.1f} "
        f"{floor:>8} {scatter:>7} {spread:>5}"
    )


def _effects_text(part: DecayResult) -> Iterator[str]:
    """Held against flow times efficiency."""
    held = [told.effect for told in part.told if told.effect is not None]
    if not held and not part.why_not_held:
        return
    yield ""
    yield "  Held against flow times efficiency"
    for effect in held:
        for q in effect.quantities.values():
            yield f"    {q.label[:1].upper()}{q.label[1:]}  {quantity_line(q)}"
        yield from wrapped(effect.sentence, further=4)
    if part.why_not_held:
        yield from wrapped(part.why_not_held, further=4)


def _volume_share(part: DecayResult, estimate: Estimate) -> str:
    """How much of the variance the volume is, which every size shares."""
    assert part.volume is not None
    of_volume = set(part.volume.estimate.parts)
    share = sum(float(line.share) for line in estimate.budget() if line.cause in of_volume)
    return f"The volume of the room makes {100 * share:.0f} % of it, and moves all sizes and both rates alike."
