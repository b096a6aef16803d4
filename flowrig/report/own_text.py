"""What options cost over years, for people."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from flowrig import units
from flowrig.records.items import as_written
from flowrig.records.own_facts import LOWER, ON_THE_DAY, REAL
from flowrig.report.blocks import Block, Heading, Paragraph, plain, raised, wrapped
from flowrig.report.lines import (
    Cells,
    heading_blocks,
    percent,
    quantity_cells,
    quantity_table,
    rounded,
    spread,
)
from flowrig.report.table import Table
from flowrig.studies.own import BY, LEVELISED, PRESENT, Owned, OwnedOption
from flowrig.studies.pairs import Odds, Pair
from flowrig.studies.payments import time_step
from flowrig.studies.result import Quantity
from flowrig.studies.tornado import Bar

MOST_BARS = 8
MOST_PAIRS = 10
DIGITS = 1e-4  # of the number itself, where nothing is uncertain
HOW = {"in a duct": "reckoned from the flow in the duct"}
SAME = 1e-6  # of a cost: no more is no difference


def own_text(owned: Owned) -> str:
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(own_blocks(owned))


def own_blocks(owned: Owned) -> Iterator[Block]:
    """Everything a person is shown."""
    yield from (*heading_blocks(owned.record), "", *_terms(owned))
    for place, option in enumerate(owned.ranked, start=1):
        yield from ("", *_option(owned, option, place))
    if any(option.left_out for option in owned):
        yield from ("", *_left_out(owned))
    for name in owned.idle:
        yield from ("", *wrapped(f"{name}: costs nothing and cleans no air; it is no part of what follows."))
    if owned.pairs:
        yield from ("", Heading("Held against each other"))
        for pair in _in_order(owned)[:MOST_PAIRS]:
            yield from _pair(owned, pair)
        if len(owned.pairs) > MOST_PAIRS:
            yield from wrapped(f"and {len(owned.pairs) - MOST_PAIRS} more pairs; --json FILE writes them all")
        yield from ("", *_bars(owned))
    yield from ("", *_conventions(owned))
    if owned.findings:
        yield from ("", *raised(owned.findings))


def alarms(owned: Owned) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return [f"ALARM, {f.code}: {f.message}" for f in owned.findings if f.severity == "alarm"]


def _terms(owned: Owned) -> Iterator[Block]:
    terms, years = owned.terms, owned.terms.value("years")
    many = len(owned.options)
    over = f"over {years} year{'s'[: years - 1]}, {100 * owned.coverage:.6g} % intervals"
    yield Heading(f"{many} option{'s'[: many - 1]} {over}")
    money = "money of today" if terms.value("money") == REAL else "money as it is paid"
    discount = next(name for name in ("real_discount", "nominal_discount") if name in terms)
    rate = f"{discount.replace('_', ' ')} {terms[discount].text or as_written(terms[discount])}"
    yield from wrapped(
        f"In {owned.currency}, {money}; {rate} a year; {terms['hours'].text or as_written(terms['hours'])} of running "
        "a year."
    )
    if "clean_air" in terms:
        end = "the lower end of the error bar of their" if terms.value("meets") == LOWER else "their"
        yield from wrapped(
            f"Needed: {as_written(terms['clean_air'])} of clean air, met by {end} mean over the life of the filters, "
            "in whole units."
        )
    if len(owned.options) > 1:
        why = "they deliver unequal clean air" if owned.leads == LEVELISED else "they deliver the same clean air"
        last = " What gives less than is needed comes last." if any(x.short for x in owned) else ""
        yield from wrapped(f"The cheapest first, by {BY[owned.leads]}: {why}.{last}")
        new = [option.name for option in owned if option.option.of_new_filters]
        if new:
            yield from wrapped(
                f"THE ORDER RESTS ON AN INITIAL VALUE for {'; '.join(new)}: the clean air of new filters, as nothing "
                "is told of its mean over their life. It is too much, so that air looks too cheap, and a number of "
                "units that follows from it may be too small."
            )


def _option(owned: Owned, option: OwnedOption, place: int) -> Iterator[Block]:
    of, number = option.option, option.units
    count = f"{number} unit{'s'[: number - 1]}{', as many as are needed' if of.counted else ''}"
    short = ", LESS THAN IS NEEDED" if option.short else ""
    new = ", BY CLEAN AIR OF NEW FILTERS" if of.of_new_filters else ""
    yield Heading(f"{place}  {option.name}: {count}{short}{new}", further="   ")
    yield from _hung(f"Clean-air rate {HOW.get(of.how, of.how)}, for {of.particles}.")
    told = [option[n] for n in ("delivered", LEVELISED, PRESENT, "yearly_cost", "for_need") if n in option.quantities]
    yield quantity_table(told, 3, cells=_cells)
    yield _items(option)
    bought = [f"{option.sets:.0f} set{'s' if option.sets != 1 else ''} of filters"] if "interval" in of.given else []
    bought += [f"{option.anew:.0f} unit{'s' if option.anew != 1 else ''}"] if option.anew else []
    if bought:
        yield from _hung(f"Each unit takes {' and '.join(bought)} after the first, every number at its middle.")
    if len(owned.options) > 1 and math.isfinite(option.cheapest):
        of_those = " of those that meet the need" if any(x.short for x in owned) else ""
        yield from _hung(f"The cheapest{of_those} by {BY[owned.leads]} in {_share(option.cheapest)} of the draws.")


def _left_out(owned: Owned) -> Iterator[Block]:
    """What counted as nothing because nobody stated it, once for what all leave out."""
    yield Heading("Left out, and so counted as nothing")
    alike = [name for name in owned.options[0].left_out if all(name in option.left_out for option in owned)]
    if alike and len(owned.options) > 1:
        yield from _hung(f"of every option: {'; '.join(alike)}", 2)
    for option in owned:
        alone = [name for name in option.left_out if name not in alike or len(owned.options) == 1]
        if alone:
            yield from _hung(f"of {option.name}: {'; '.join(alone)}", 2)


def _items(option: OwnedOption) -> Table:
    """What the present value is made of; in plain text a sentence."""

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        parts = [f"{label} {value}" + (f" [{low} to {high}]" if low else "") for label, value, _, low, high in rows]
        for paragraph in _hung(f"Of the present value: {'; '.join(parts)}."):
            yield from paragraph.lines(room)

    rows = tuple((q.label, *_cells(q)) for q in option.items.values())
    return Table(("of the present value", "value", "unit", "from", "to"), rows, (0, 2), indent=3, reads=reads)


def _hung(text: str, by: int = 3) -> list[Paragraph]:
    """A paragraph so many columns in, what follows two more."""
    return [Paragraph(text, " " * by, " " * (by + 2), hyphens=False)] if text else []


def _cells(q: Quantity) -> Cells:
    """A number with its bar; one that is exact without."""
    return (number_of(float(q.value)), q.unit, "", "") if exact(q) else quantity_cells(q)


def exact(q: Quantity) -> bool:
    return float(q.high) - float(q.low) <= DIGITS * abs(float(q.value))


def number_of(value: float) -> str:
    """Five digits, and no power of ten."""
    return f"{float(f'{value:.5g}'):.10g}"


def _share(share: float) -> str:
    if share in (0.0, 1.0):
        return "none" if share == 0.0 else "all"
    return f"{percent(share)}" if share < 0.995 else f"{math.floor(1000 * share) / 10:.1f} %"


def _in_order(owned: Owned) -> list[Pair]:
    """Pairs of the cheapest first."""
    place = {option.name: k for k, option in enumerate(owned.ranked)}
    return sorted(owned.pairs, key=lambda pair: sorted((place[pair.first], place[pair.second])))


def _pair(owned: Owned, pair: Pair) -> Iterator[Block]:
    yield Heading(f"{pair.first} less {pair.second}", 3, further="    ")
    if pair.lives:
        yield from _hung(pair.lives, 4)
    told: list[tuple[Quantity, Odds]] = [(pair.by_air, pair.cheaper_by_air), (pair.difference, pair.cheaper)]
    if owned.leads == PRESENT:
        told.reverse()
    for q, odds in told:
        label = BY[q.name]
        whole = max(abs(float(owned[name][q.name].value)) for name in (pair.first, pair.second))
        if max(abs(float(q.low)), abs(float(q.high))) <= SAME * whole:
            yield f"    {label:<17}  the same in every draw"
            continue
        yield quantity_table([q], 4, least=17, cells=_cells, name=lambda q: BY[q.name])
        yield from _hung(f"Probability that {pair.first} is the cheaper: {_chance(odds)}.", 4)
    yield from _hung(_meeting(owned, pair), 4)


def _chance(odds: Odds) -> str:
    if not odds.draws:
        return "not known"
    if odds.error == 0.0:
        of = {0.0: "none", 1.0: "all"}.get(odds.share)
        return f"{100 * odds.share:.3g} %" + (f" ({of} of {odds.draws} draws)" if of else "")
    decimals = max(0, -math.floor(math.log10(200 * odds.error)))
    bar = f"{200 * odds.error:.{decimals}f}"
    return f"{100 * odds.share:.{decimals}f} % (± {bar} % by the number of draws)"


def _meeting(owned: Owned, pair: Pair) -> str:
    met, years = pair.meeting, owned.terms.value("years")
    if not met.cheaper_at_first:
        return "Both cost the same all along."
    other = pair.second if met.cheaper_at_first == pair.first else pair.first
    start, of = f"{met.cheaper_at_first} is the cheaper at first", "the draws"
    if met.at_first < 1.0:
        start, of = f"{start} in {_share(met.at_first)} of the draws", "those"
    late = f"{other} does not catch up within {years} year{'s'[: years - 1]} in {_none_or(met.never, of)}"
    if met.never == 1.0 or not math.isfinite(met.years):
        return f"{start}, and {late}."
    band = f" [{_time(met.low)} to {_time(met.high)}]" if met.high - met.low > 1e-9 else ""
    when = f"costs meet after {_time(met.years)} year{'' if met.years == 1.0 else 's'}{band}"
    when += f", the median of {of}" if band else ""
    if met.never >= 0.5:
        return f"{start}, and {late}; in the others {when}."
    return f"{start}; {when}; {other} has then cost no more{f'. But {late}' if met.never else ''}."


def _time(years: float) -> str:
    return f"{round(years, 2):g}"  # a month is 0.08


def _none_or(share: float, of: str) -> str:
    return f"any of {of}" if share == 1.0 else f"{_share(share)} of {of}"


def _bars(owned: Owned) -> Iterator[Block]:
    """What decides between the two that are the cheapest."""
    best, next_ = owned.ranked[:2]
    pair = owned.pair(best.name, next_.name)
    bars = pair.bars if owned.leads == PRESENT else pair.bars_by_air
    q = pair.difference if owned.leads == PRESENT else pair.by_air
    yield Heading(f"What each range does to the {BY[owned.leads]} of {pair.first} less {pair.second}")
    if not bars:
        yield from wrapped("Nothing: what has a range moves both alike, or not at all.")
        return
    middle = float(units.from_si(bars[0].middle, q.unit, q.kind))
    at_middle = rounded(spread(q), middle)[0] if not exact(q) else number_of(middle)
    yield from wrapped(
        f"{at_middle} {q.unit} with every number at its middle; below, with one number at each end of its range."
    )
    rows = tuple((bar.input.name, _range(bar), *at_ends(bar, q)) for bar in bars[:MOST_BARS])
    heads = ("number", "its range", f"at its low end\n[{q.unit}]", f"at its high end\n[{q.unit}]")
    yield Table(heads, rows, (0, 1), reads=_bars_read)
    if len(bars) > MOST_BARS:
        yield from wrapped(f"and {len(bars) - MOST_BARS} more, each of less; --json FILE writes them all")


def _bars_read(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
    widths = [min(38, max(len(row[0]) for row in rows)), *(max(len(row[k]) for row in rows) for k in (1, 2, 3))]
    for name, ends, low, high in rows:
        shown = textwrap.wrap(name, widths[0])
        yield f"  {shown[0]:<{widths[0]}}  {ends:<{widths[1]}}  {low:>{widths[2]}} to {high:>{widths[3]}}"
        yield from (f"    {line}" for line in shown[1:])


def _range(bar: Bar) -> str:
    low, high = (float(units.from_si(x, bar.input.unit, bar.input.kind)) for x in (bar.low, bar.high))
    unit = bar.input.unit if bar.input.unit != "1" else ""
    return f"{number_of(float(f'{low:.3g}'))} to {number_of(float(f'{high:.3g}'))} {unit}".strip()


def at_ends(bar: Bar, q: Quantity) -> list[str]:
    ends = [float(units.from_si(x, q.unit, q.kind)) for x in (bar.at_low, bar.at_high)]
    if not all(map(math.isfinite, ends)):
        return ["none" if not math.isfinite(x) else number_of(x) for x in ends]
    least = 0.0 if exact(q) else spread(q) / 10  # what moves it by less than that is no matter
    return rounded(max(abs(ends[1] - ends[0]) / 4, DIGITS * max(map(abs, ends)), least), *ends)


def _conventions(owned: Owned) -> Iterator[Block]:
    terms = owned.terms
    when = "each purchase on its day, energy and upkeep month by month"
    if terms.value("payments") != ON_THE_DAY:
        when = "all of a year at its end"
    assert owned.options[0].option.terms is not None
    step = time_step(owned.options[0].option.terms)
    within = "a year" if step == 1.0 else "a month" if step < 0.1 else f"{12 * step:.0f} months"
    made = "made" if terms.value("last_change") == "made" else "not made"
    yield from wrapped(
        f"Convention: payments count {when}; a change of filters due on the last day is {made}; the residual value is "
        "taken off on the last day. Costs and clean air are both discounted in the cost of clean air. A time at which "
        f"costs meet is told to within {within}.",
        further=4,
    )
    yield from wrapped(
        "These are the stated prices and ranges carried through, not offers and no forecast. A clean-air rate holds "
        "for the particles it was found with; nothing is said about health.",
        further=4,
    )
