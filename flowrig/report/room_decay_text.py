"""Decays of a room for people: clean air by size, the rates behind it, and how each run was used."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from flowrig.report.blocks import Block, Heading, raised, wrapped
from flowrig.report.lines import budget_blocks, capital, numbers, quantity_table, rounded
from flowrig.report.table import Table
from flowrig.studies.result import Quantity, Result
from flowrig.studies.room_decay import DecayResult, Told
from flowrig.studies.room_decay_flags import WINDOW_MATTERS
from flowrig.studies.room_decay_run import Fall
from flowrig.uncertainty.estimate import Estimate


def decay_blocks(result: Result, part: DecayResult) -> Iterator[Block]:
    """Everything about the part.

    Parameters
    ----------
    result : Result
    part : DecayResult
    """
    yield Heading(part.title)
    if part.volume is not None:
        yield quantity_table([part.volume], name=lambda q: "Net volume of the room")
    if part.told:
        yield ""
        heads = ("size", f"clean air [{part.told[0].clean_air.unit}]", "with cleaner [1/h]", "without [1/h]")
        yield Table(heads, tuple(_rate_cells(told) for told in part.told))
        yield from wrapped(
            f"Brackets and ± hold {100 * result.coverage:.6g} %. Clean air is the net volume times the difference of "
            "the two rates; what it is for is the particle size at its left.",
        )
    falls = [(told, fall) for told in part.told for fall in told.rate.falls]
    if falls:
        yield ""
        columns = ("run", "size", "rows", "minutes", "halvings", "floor", "scatter", "x2/nu")
        rows = tuple(_fall_cells(fall, told) for told, fall in falls)
        yield Table(columns, rows, (0, 1), keys=2, closest=1)
        yield from wrapped(
            "Floor as a share of the first level: f fitted with the rate, m told beforehand, a assumed. Scatter is "
            "that of a reading beyond counting; x2/nu is chi square by counting alone over its degrees of freedom."
        )
        yield from wrapped(_window(part, falls))
    yield from _effects(part)
    if part.told:
        first = part.told[0].clean_air
        yield ""
        yield from budget_blocks(first, first.label)
        yield from wrapped(_volume_share(part, first.estimate))
    if part.findings:
        yield from ("", *raised(part.findings))


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


def _rate_cells(told: Told) -> tuple[str, ...]:
    value, low, high = numbers(told.clean_air)
    size = str(told.rate.sizes) if told.rate.sizes is not None else "not said"
    return size, f"{value} [{low} to {high}]", _with_bar(told.on), _with_bar(told.off)


def _with_bar(q: Quantity) -> str:
    half = (float(q.high) - float(q.low)) / 2.0
    value, bar = rounded(float(q.u), float(q.value), half)
    return f"{value} ± {bar}"


def _fall_cells(fall: Fall, told: Told) -> tuple[str, ...]:
    fit, (first, last) = fall.fit, fall.span
    name = textwrap.shorten(fall.run.name, 15, placeholder="...")
    minutes = f"{first / 60.0:.3g}-{last / 60.0:.3g}"
    how = "a" if fall.assumed else "m" if fall.known is not None else "f"
    floor = f"{100.0 * fit.floor / fall.first:.2g} % {how}"
    spread = f"{fit.chi_square / fit.free:.2f}" if fall.run.raw else "-"
    scatter = f"{100.0 * fit.excess:.2g} %" if fit.excess > 0.0 else "none"
    used = f"{int(fall.used.sum())}"
    return name, str(told.rate.sizes), used, minutes, f"{fall.halvings:.1f}", floor, scatter, spread


def _effects(part: DecayResult) -> Iterator[Block]:
    """Held against flow times efficiency."""
    held = [told.effect for told in part.told if told.effect is not None]
    if not held and not part.why_not_held:
        return
    yield ""
    yield Heading("Held against flow times efficiency", 3)
    for effect in held:
        yield quantity_table(effect.quantities.values(), 4, name=capital)
        yield from wrapped(effect.sentence, further=4)
    if part.why_not_held:
        yield from wrapped(part.why_not_held, further=4)


def _volume_share(part: DecayResult, estimate: Estimate) -> str:
    """How much of the variance the volume is, which every size shares."""
    assert part.volume is not None
    of_volume = set(part.volume.estimate.parts)
    share = sum(float(line.share) for line in estimate.budget() if line.cause in of_volume)
    return f"The volume of the room makes {100 * share:.0f} % of it, and moves all sizes and both rates alike."
