"""Several measurements of one flow beside each other, and what a label states beside what was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flowrig.records.words import rounded
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import percent, round_limits, with_unit
from flowrig.report.figures.rows import table_of
from flowrig.report.lines import numbers, quantity_line
from flowrig.report.table import Table
from flowrig.studies.claims import HeldClaim
from flowrig.studies.result import Quantity, Result
from flowrig.studies.together import Pair, Together

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LETTERS = 34
MOST_PAIRS = 10


def together_picture(result: Result, group: Together, name: str, title: str) -> Picture:
    """Measurements of one flow with their bars, the combined one as a band, and their differences.

    Parameters
    ----------
    result : Result
    group : Together
        With two measurements at least.
    name, title : str
    """
    said = [f"{own} {quantity_line(q)}" for own, q in zip(group.names, group.flows, strict=True)]
    alt = "; ".join(said) + ". "
    alt += "".join(f"{p.first} and {p.second}: E_n {p.e_n:.2f}, {p.verdict}. " for p in group.pairs)
    combined = group.combined
    alt += f"Combined: {quantity_line(_shown(group))}." if combined is not None else f"Not combined: {group.why_not}."
    flows = list(zip(group.names, group.flows, strict=True))
    if combined is not None:
        flows.append((combined.name, _shown(group)))
    rows = [(words, q.unit, *numbers(q), "") for words, q in flows]
    rows += [
        (f"{p.first} less {p.second}", p.difference.unit, *_difference(p), f"E_n {p.e_n:.2f}, {p.verdict}")
        for p in group.pairs
    ]
    table = Table(("measurement", "unit", "value", "from", "to", "verdict"), tuple(rows), (0, 1, 5))
    return Picture(name, title, alt, table, _together(result, group, title))


def _shown(group: Together) -> Quantity:
    """The combined flow as what the measurements of the group are shown as."""
    assert group.combined is not None
    as_ = group.flows[0].name
    return group.combined.quantities.get(as_, group.combined.main).to(group.flows[0].unit)


def _difference(pair: Pair) -> list[str]:
    value, u = float(pair.difference.value), pair.expanded
    return rounded(float(pair.difference.u), value, value - u, value + u)


def _together(result: Result, group: Together, title: str) -> Figure:
    from matplotlib.colors import to_rgb

    named = enumerate(zip(group.names, group.flows, strict=True))
    flows = [_row(f"{i + 1}  {own}", q, style.MARKERS[i % 6]) for i, (own, q) in named]
    if group.combined is not None:
        flows.append(_row(group.combined.name, _shown(group), "X"))
    number = {own: i + 1 for i, own in enumerate(group.names)}
    pairs = [_pair(p, number) for p in group.pairs[:MOST_PAIRS]]
    unit = group.flows[0].unit
    with style.house_style():
        deep = [1.05 * style.ROW * len(flows) + 0.2, 1.05 * style.ROW * len(pairs) + 0.2]
        figure = style.blank(sum(deep) + 2.4)
        top, bottom = figure.subplots(2, 1, height_ratios=deep)
        ends = [x for row in flows for x in (row.value, row.low, row.high)]
        round_limits(top, "x", ends, 8)
        if group.combined is not None:
            q = _shown(group)
            top.axvspan(
                float(q.low), float(q.high), facecolor=(*to_rgb(style.ORANGE), 0.14), hatch="////",
                edgecolor=(*to_rgb(style.ORANGE), 0.45), linewidth=0.0, zorder=0, gid="combined",
            )  # fmt: skip
        style.strip(top, flows)
        top.set_xlabel(f"flow [{unit}]")
        ends = [x for row in pairs for x in (row.value, row.low, row.high)]
        round_limits(bottom, "x", [0.0, *ends], 8)
        bottom.axvline(0.0, color="0.2", linewidth=1.2)
        style.strip(bottom, pairs)
        bottom.set_xlabel(f"difference [{unit}]")
        style.finish(figure, title, _said(result, group))
    return figure


def _row(words: str, q: Quantity, marker: str) -> style.Row:
    value, low, high = numbers(q)
    shown = f"{value} ({low} to {high})"
    return style.Row(style.shortened(words, LETTERS), shown, float(q.value), float(q.low), float(q.high), marker)


def _pair(pair: Pair, number: dict[str, int]) -> style.Row:
    value, low, high = (float(pair.difference.value) + s * pair.expanded for s in (0.0, -1.0, 1.0))
    shown = f"E_n {pair.e_n:.2f}: {pair.verdict}"
    least, most = _difference(pair)[1:]
    words = f"{number[pair.first]} less {number[pair.second]}: {_difference(pair)[0]} ({least} to {most})"
    return style.Row(words, shown, value, low, high, "o", pair.verdict == "agree")


def _said(result: Result, group: Together) -> str:
    said = (
        f"{group.basis[:1].upper()}{group.basis[1:]}. Bars hold {percent(result.coverage)}; those of a "
        "difference are its expanded uncertainty, with what both share cancelled, over which E_n is the difference. "
        "A hollow mark: they do not clearly agree."
    )
    said += (
        " The band is the combined flow."
        if group.combined is not None
        else f" Not combined: {style.shortened(group.why_not, 200)}."
    )
    if len(group.pairs) > MOST_PAIRS:
        said += f" {MOST_PAIRS} of {len(group.pairs)} differences are drawn."
    return said + style.invented(result.record)


def claims_picture(result: Result, claims: list[HeldClaim], name: str, title: str) -> Picture:
    """Measured over stated for each claim that was held.

    Parameters
    ----------
    result : Result
    claims : list of HeldClaim
        Of which one at least was held.
    name, title : str
    """
    held = [(claim, q) for claim in claims for q in claim.ratios]
    said = [f"{q.label}: {quantity_line(q)}, stated {claim.stated}" for claim, q in held]
    missing = [f"{c.name.replace('_', ' ')} {c.stated}" for c in claims if not c.ratios]
    alt = "; ".join(said) + "." + (f" Not measured: {', '.join(missing)}." if missing else "")
    caption = f"Not measured in this record: {', '.join(missing)}." if missing else ""
    table = table_of([q for _, q in held], "measured against stated", caption)
    return Picture(name, title, alt, table, _claims(result, held, missing, title))


def _claims(result: Result, held: list[tuple[HeldClaim, Quantity]], missing: list[str], title: str) -> Figure:
    shares = [(c, q) for c, q in held if q.kind == "ratio"]
    levels = [(c, q) for c, q in held if q.kind != "ratio"]
    groups = [(rows, even, words) for rows, even, words in (
        (shares, 100.0, "measured over stated [%]"), (levels, 0.0, "measured above stated [dB]"),
    ) if rows]  # fmt: skip
    with style.house_style():
        deep = [1.05 * style.ROW * len(rows) + 0.25 for rows, _, _ in groups]
        figure = style.blank(sum(deep) + 0.75 * len(groups) + 1.1)
        grid = figure.subplots(len(groups), 1, squeeze=False, height_ratios=deep)[:, 0]
        for axes, (rows, even, words) in zip(grid, groups, strict=True):
            _stated(axes, rows, even, words)
        caption = (
            f"What a label states, held against what was measured: at the upright line both are the same. Bars hold "
            f"{percent(result.coverage)} with what is known of the stated figure; a hollow mark has a bar that leaves "
            "the line out. The mark of a bound is its one end."
        )
        if missing:
            caption += f" Not measured in this record: {', '.join(missing)}."
        style.finish(figure, title, caption + style.invented(result.record))
    return figure


def _stated(axes: Axes, held: list[tuple[HeldClaim, Quantity]], even: float, words: str) -> None:
    rows = []
    for claim, q in held:
        low, high = float(q.low), float(q.high)
        value = float(q.limit) if q.bound else float(q.value)
        shown = quantity_line(q) if q.bound else "{} ({} to {})".format(*numbers(q))
        own = claim.name.replace("_", " ")
        of = f", {q.label.partition(' over ')[0]}" if sum(c is claim for c, _ in held) > 1 else ""
        words_of = style.shortened(f"{own}, stated {claim.stated}{of}", 44)
        shown = with_unit(shown, "" if q.bound else q.unit)
        rows.append(style.Row(words_of, shown, value, low, high, "o", not (high < even or low > even)))
    ends = np.array([x for row in rows for x in (row.value, row.low, row.high)])
    room = [0.0, 1.05 * even] if even else [-0.08 * float(np.nanmax(np.abs(ends)))]
    round_limits(axes, "x", [even, *room, *ends], 8)
    axes.axvline(even, color="0.2", linewidth=1.4)
    style.strip(axes, rows)
    axes.set_xlabel(words)
