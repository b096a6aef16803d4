"""A plan for people."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.report.blocks import MARK, Block, Heading, labelled, plain, raised, wrapped
from flowrig.report.lines import Cells, causes_table, numbers, percent
from flowrig.report.table import Table
from flowrig.studies.changes import counted
from flowrig.studies.outlook import LITTLE, Line, Outlook, Plan, budget, grave, half_of, half_width
from flowrig.studies.result import Quantity

SMALL = 1e-3  # of the variance: causes below are told together
OWN_TABLES = ("readings", "hardware")


def plan_text(plan: Plan) -> str:
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(plan_blocks(plan))


def plan_blocks(plan: Plan) -> Iterator[Block]:
    """Everything a person is shown."""
    heading = plan.record.heading
    yield Heading(f"{heading.value('title')}, {heading.value('date')}", 1)
    yield "A plan: what is to be expected, nothing of it was measured."
    if heading.value("invented"):
        yield "Invented, for demonstration."
    for outlook in plan.outlooks:
        yield from ("", *_outlook(plan, outlook))
    if len(plan.outlooks) > 1:
        yield from ("", *_side_by_side(plan))
    if plan.findings:
        yield from ("", Heading("About the record"), *raised(plan.findings))


def alarms(plan: Plan) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    found = [f for outlook in plan.outlooks for f in outlook.expected.findings]
    return [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in [*found, *plan.findings] if f.severity == "alarm"]


def half(share: float) -> str:
    """A half-width in per cent, to three digits."""
    if not math.isfinite(share):
        return "-"
    return f"{100 * share:#.3g} %" if share < 1.0 else "over 100 %"


def _outlook(plan: Plan, outlook: Outlook) -> Iterator[Block]:
    expected = outlook.expected
    title = f"{outlook.name}: {outlook.method.title}" if outlook.name != outlook.method.title else outlook.name
    yield Heading(title)
    yield from _head(plan, outlook, expected.main)
    yield from ("", *_budget(expected.main, outlook))
    findings = [*expected.findings, *outlook.findings]
    if findings:
        yield from ("", *raised(findings))
    yield from ("", *_how_often(plan, outlook))
    if outlook.of("hardware"):
        yield from ("", *_which(outlook))
    yield from ("", *_what(plan, outlook))
    yield from ("", *_floor(outlook))
    if plan.target is not None:
        yield from ("", *_route(plan, outlook, plan.target))


def _head(plan: Plan, outlook: Outlook, main: Quantity) -> Iterator[Block]:
    value, low, high = numbers(main)
    bar = f"{100 * plan.coverage:.6g} % interval {low} to {high} {main.unit}"
    yield from wrapped(f"To be expected: {value} {main.unit}, {bar}", 4)
    reached = ""
    if plan.target is not None:
        reached = f"; target {half(plan.target)}, {'reached' if outlook.half <= plan.target else 'not reached'}"
    yield from wrapped(f"half-width {half(outlook.half)} of the flow{reached}", 4)
    yield from wrapped(main.label, 4)
    yield ""
    often = counted(outlook.setup, outlook.setup.readings)
    points = f" of {len(outlook.setup.flow.layout)} points" if outlook.setup.flow.layout is not None else ""
    if outlook.setup.logged:
        often = f"a log of {_time(outlook.setup.readings * plan.stretch)}, worth {often}"
    yield from wrapped(f"Planned: {often}{points}, a single reading scattering by {percent(outlook.setup.scatter)} of "
                        "the flow.")  # fmt: skip
    said = ", ".join(f"{name} {value}" for name, value in outlook.readings.items())
    limits = {limit.flag.code for limit in outlook.method.limits}
    beyond = [f.code for f in outlook.expected.findings if f.code in limits and f.severity != "note"]
    good = f"limits of the method: see {', '.join(dict.fromkeys(beyond))}" if beyond else "within the method's limits"
    yield from wrapped(f"Readings to expect: {said}; {good}.", 4)
    if outlook.expected.summary:
        yield from wrapped(f"From: {outlook.expected.summary}.", 4)


def _budget(main: Quantity, outlook: Outlook) -> Iterator[Block]:
    yield Heading("Causes of error (share of the variance)", 3)
    total = units.from_si(float(main.estimate.u), main.unit, units.as_difference(main.kind))
    rest, n = 0.0, 0
    rows = []
    for name, share in budget(outlook.expected).items():
        if share < SMALL:
            rest, n = rest + share, n + 1
            continue
        rows.append((f"{100 * share:.1f}", name, f"{math.sqrt(share) * total:.3g}"))
    if n:
        rows.append((f"{100 * rest:.1f}", f"{n} more, each below {100 * SMALL:.1g} %", ""))
    yield causes_table(rows, main.unit)


def _how_often(plan: Plan, outlook: Outlook) -> Iterator[Block]:
    """Half-width by the number of readings."""
    setup = outlook.setup
    lines = {counted_of(line): line for line in outlook.of("readings")}
    tried = [(n, line.half, "; ".join(f"{MARK[f.severity]}, {f.code}" for f in line.new))
             for n, line in lines.items()] + [(setup.readings, outlook.half, "as planned")]  # fmt: skip
    timed = setup.flow.layout is None and setup.flow.method.turns(setup.flow.section) == 1
    rows = [(counted(setup, n), half(share), _time(n * plan.stretch), said) for n, share, said in sorted(tried)]

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        yield f"  {'How often':<34}  {'half-width':>10}{'   as a log' if timed else ''}"
        for often, share, *log, said in rows:
            yield f"    {often:<32}  {share:>10}{f'   {log[0]:>8}' if timed else ''}   {said}".rstrip()

    heads = ("How often", "half-width", "as a log", "remark")
    if timed:
        yield Table(heads, tuple(rows), (0, 3), reads=reads)
        yield from wrapped(f"A log is counted by its independent stretches, of {_time(plan.stretch)} each.", 4, 4)
    else:
        untimed = tuple((often, share, said) for often, share, _, said in rows)
        yield Table((*heads[:2], heads[3]), untimed, (0, 2), reads=reads)
    if plan.target is not None:
        if outlook.least is None:
            said = f"No number of them reaches {half(plan.target)}, nothing else changed."
        elif outlook.half <= plan.target:
            said = f"{counted(setup, outlook.least)} would be enough for {half(plan.target)}."
        else:
            said = f"{counted(setup, outlook.least)} reach {half(plan.target)}, nothing else changed."
        yield from wrapped(said, 4, 4)


def counted_of(line: Line) -> int:
    """The number that a change of how often is about."""
    return int(line.change.words.split()[0])


def _time(seconds: float) -> str:
    for size, word in ((3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.3g} {word}"
    return f"{seconds:.3g} s"


def _which(outlook: Outlook) -> Iterator[Block]:
    """Pieces of hardware side by side, the best said."""
    field = outlook.of("hardware")[0].change.words.split(":")[0]
    planned = ", ".join(outlook.setup.flow.section.value(field))
    rows = [_Row(planned, outlook.half, outlook.readings, grave(outlook.expected))]
    for line in outlook.of("hardware"):
        names = line.change.words.split(": ", 1)[1]
        rows.append(_Row(names, line.half, line.readings, line.findings, "" if line.readings else line.reason))
    common = set.intersection(*({f.code for f in row.findings} for row in rows if row.possible))
    cells = []
    for row in rows:
        said = ", ".join(f"{name} {value}" for name, value in row.readings.items()) or row.why
        found = [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in row.findings if f.code not in common]
        planned_so = ["as planned"] if row is rows[0] else []
        cells.append((row.names, said, half(row.half), "\n".join([*planned_so, *found])))

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        yield f"  {'Which of ' + field:<20}  {'to be read':<28}  half-width"
        for i, (names, said, share, remark) in enumerate(rows):
            yield f"    {names:<18}  {said:<28}  {share:>10}{'' if i else '   as planned'}"
            for each in remark.split("\n")[i == 0 :]:
                yield from textwrap.wrap(each, room, initial_indent=" " * 24, subsequent_indent=" " * 26)

    heads = (f"Which of {field}", "to be read", "half-width", "remark")
    yield Table(heads, tuple(cells), (0, 1, 3), reads=reads)
    best = min((row for row in rows if row.possible), key=lambda row: row.rank)
    if best.rank[:2] == rows[0].rank[:2] and best.half > (1.0 - LITTLE) * rows[0].half:
        said = f"None is better than {planned}, as planned, by a hundredth of the half-width."
    else:
        said = f"Best: {best.names}, with the fewest alarms and warnings, and of those the least half-width."
    yield from wrapped(said, 4, 4)


@dataclass(frozen=True)
class _Row:
    """One choice of hardware."""

    names: str
    half: float
    readings: dict[str, str]
    findings: list[Finding]
    why: str = ""

    @property
    def possible(self) -> bool:
        return math.isfinite(self.half)

    @property
    def rank(self) -> tuple[int, int, float]:
        return sum(f.severity == "alarm" for f in self.findings), len(self.findings), self.half


def _what(plan: Plan, outlook: Outlook) -> Iterator[Block]:
    """What would better it, the largest gain first; then what would not."""
    lines = [line for line in outlook.lines if line.change.sort not in OWN_TABLES]
    paying = [line for line in lines if line.verdict in ("pays", "pays little", "takes a warning away")]
    told = [line for line in lines if line.verdict in ("not usable", "not possible", "costs")]
    if paying:
        yield Heading("What would better it, the largest gain first", 3)
        yield _changes([*paying, *told])
    else:
        yield from wrapped("Nothing else that was tried would better it.")
    needed = [line for line in lines if line.verdict == "needed"]
    if needed:
        yield Heading("Readings that pay: without them", 3)
        yield _changes(needed, headed=not paying)
    for verdict, words in (("does not pay", "Does not pay"), ("could be left out", "Could be left out")):
        names = [line.change.words.removesuffix(" not read") for line in lines if line.verdict == verdict]
        if names:
            yield from wrapped(f"{words} (each less than a hundredth of the half-width): {'; '.join(names)}.", 4)


def _changes(lines: list[Line], *, headed: bool = True) -> Table:
    """What each change comes to; in plain text, what it is stands beside the numbers and its reason below."""
    rows = []
    for line in lines:
        reached = " and reaches the target" if line.reaches and line.gain > 0 else ""
        gain = f"{-100 * line.gain:+#.2g} %" if abs(line.gain) < 1.0 else ""
        rows.append((half(line.half), gain, line.change.words, f"{line.verdict}{reached}", line.reason))

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        if headed:
            yield f"    {'half-width':>10}  {'gain':>8}"
        for share, gain, change, verdict, reason in rows:
            yield from labelled(f"    {share:>10}  {gain:>8}  ", f"{change}: {verdict}").lines(room)
            yield from textwrap.wrap(reason, room, initial_indent=" " * 26, subsequent_indent=" " * 26)

    return Table(("half-width", "gain", "change", "verdict", "why"), tuple(rows), (2, 3, 4), reads=reads)


def _floor(outlook: Outlook) -> Iterator[Block]:
    left = [f"{name} {100 * share:.0f} %" for name, share in budget(outlook.floor).items() if share >= 0.05]
    yield from wrapped(
        f"Floor: {half(half_width(outlook.floor))} would be left of what is planned if every reading, every stated ± "
        f"and every run were perfect. Of its variance: {', '.join(left)}.", 4,
    )  # fmt: skip


def _route(plan: Plan, outlook: Outlook, target: float) -> Iterator[Block]:
    if outlook.half <= target:
        yield from wrapped(f"The target of {half(target)} is reached as planned.")
        return
    if outlook.end <= target:
        yield Heading(f"To reach {half(target)}", 3)
    else:
        said = f"Nothing that is listed reaches {half(target)}, taken together either."
        if outlook.last_floor > target:
            said += f" The floor, {half(outlook.last_floor)} with all of it done, lies above: it is the method's own."
        if outlook.route:
            said += f" The furthest that it leads is {half(outlook.end)}:"
        yield from wrapped(said)
    before = outlook.half
    for i, line in enumerate(outlook.route, start=1):
        yield from wrapped(f"{i}. {line.change.words}: {half(before)} to {half(line.half)}", 7, 4)
        before = line.half


def _side_by_side(plan: Plan) -> Iterator[Block]:
    yield Heading("Side by side")
    width = max(min(len(o.name), 40) for o in plan.outlooks)
    ordered = sorted(plan.outlooks, key=lambda o: o.half)
    rows = tuple((o.name, half(o.half), half(half_width(o.floor))) for o in ordered)

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        for name, share, floor in rows:
            shown = textwrap.shorten(name, 40, placeholder="...")
            yield f"  {shown:<{width}}  half-width {share}, floor {floor}"

    yield Table(("measurement", "half-width", "floor"), rows, reads=reads)
    for group in plan.together:
        of = f", {group.of}" if group.of else ""
        if group.combined is not None:
            weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in group.combined.weights.items())
            yield from wrapped(f"Combined{of}: half-width {half(half_of(group.combined.main))}; weights {weights}.", 4)
        else:
            yield from wrapped(f"Not combined{of}: {group.why_not}.", 4)
