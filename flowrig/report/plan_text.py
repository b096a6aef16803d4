"""A plan as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.report.lines import MARK, WIDTH, findings_text, numbers, percent
from flowrig.studies.changes import counted
from flowrig.studies.outlook import LITTLE, Line, Outlook, Plan, budget, grave, half_of, half_width
from flowrig.studies.result import Quantity

SMALL = 1e-3  # of the variance: causes below are told together
OWN_TABLES = ("readings", "hardware")


def plan_text(plan: Plan) -> str:
    """Everything a person at the terminal is shown."""
    heading = plan.record.heading
    lines = textwrap.wrap(f"{heading.value('title')}, {heading.value('date')}", WIDTH)
    lines.append("A plan: what is to be expected, nothing of it was measured.")
    if heading.value("invented"):
        lines.append("Invented, for demonstration.")
    for outlook in plan.outlooks:
        lines += ["", *_outlook(plan, outlook)]
    if len(plan.outlooks) > 1:
        lines += ["", *_side_by_side(plan)]
    if plan.findings:
        lines += ["", "About the record", *findings_text(plan.findings)]
    return "\n".join(lines)


def alarms(plan: Plan) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    found = [f for outlook in plan.outlooks for f in outlook.expected.findings]
    return [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in [*found, *plan.findings] if f.severity == "alarm"]


def half(share: float) -> str:
    """A half-width in per cent, to three digits."""
    if not math.isfinite(share):
        return "-"
    return f"{100 * share:#.3g} %" if share < 1.0 else "over 100 %"


def _outlook(plan: Plan, outlook: Outlook) -> Iterator[str]:
    expected = outlook.expected
    title = f"{outlook.name}: {outlook.method.title}" if outlook.name != outlook.method.title else outlook.name
    yield from textwrap.wrap(title, WIDTH)
    yield from _head(plan, outlook, expected.main)
    yield from ("", *_budget(expected.main, outlook))
    findings = [*expected.findings, *outlook.findings]
    if findings:
        yield from ("", *findings_text(findings))
    yield from ("", *_how_often(plan, outlook))
    if outlook.of("hardware"):
        yield from ("", *_which(outlook))
    yield from ("", *_what(plan, outlook))
    yield from ("", *_floor(outlook))
    if plan.target is not None:
        yield from ("", *_route(plan, outlook, plan.target))


def _head(plan: Plan, outlook: Outlook, main: Quantity) -> Iterator[str]:
    value, low, high = numbers(main)
    yield f"  To be expected: {value} {main.unit}, {100 * plan.coverage:.6g} % interval {low} to {high} {main.unit}"
    reached = ""
    if plan.target is not None:
        reached = f"; target {half(plan.target)}, {'reached' if outlook.half <= plan.target else 'not reached'}"
    yield f"  half-width {half(outlook.half)} of the flow{reached}"
    yield f"  {main.label}"
    yield ""
    often = counted(outlook.setup, outlook.setup.readings)
    points = f" of {len(outlook.setup.flow.layout)} points" if outlook.setup.flow.layout is not None else ""
    if outlook.setup.logged:
        often = f"a log of {_time(outlook.setup.readings * plan.stretch)}, worth {often}"
    yield from _wrapped(f"Planned: {often}{points}, a single reading scattering by {percent(outlook.setup.scatter)} of "
                        "the flow.")  # fmt: skip
    said = ", ".join(f"{name} {value}" for name, value in outlook.readings.items())
    limits = {limit.flag.code for limit in outlook.method.limits}
    beyond = [f.code for f in outlook.expected.findings if f.code in limits and f.severity != "note"]
    good = f"limits of the method: see {', '.join(dict.fromkeys(beyond))}" if beyond else "within the method's limits"
    yield from _wrapped(f"Readings to expect: {said}; {good}.", 4)
    if outlook.expected.summary:
        yield from _wrapped(f"From: {outlook.expected.summary}.", 4)


def _budget(main: Quantity, outlook: Outlook) -> Iterator[str]:
    yield "  Causes of error (share of the variance)"
    total = units.from_si(float(main.estimate.u), main.unit, units.as_difference(main.kind))
    rest, n = 0.0, 0
    for name, share in budget(outlook.expected).items():
        if share < SMALL:
            rest, n = rest + share, n + 1
            continue
        cause = textwrap.shorten(name, 46, placeholder="...")
        yield f"    {100 * share:5.1f} %  {cause:<46}  u {math.sqrt(share) * total:.3g} {main.unit}"
    if n:
        yield f"    {100 * rest:5.1f} %  {n} more, each below {100 * SMALL:.1g} %"


def _how_often(plan: Plan, outlook: Outlook) -> Iterator[str]:
    """Half-width by the number of readings."""
    setup = outlook.setup
    lines = {counted_of(line): line for line in outlook.of("readings")}
    rows = [(n, line.half, "; ".join(f"{MARK[f.severity]}, {f.code}" for f in line.new))
            for n, line in lines.items()] + [(setup.readings, outlook.half, "as planned")]  # fmt: skip
    timed = setup.flow.layout is None and setup.flow.method.turns(setup.flow.section) == 1
    yield f"  {'How often':<34}  {'half-width':>10}{'   as a log' if timed else ''}"
    for n, share, said in sorted(rows):
        time = f"   {_time(n * plan.stretch):>8}" if timed else ""
        yield f"    {counted(setup, n):<32}  {half(share):>10}{time}   {said}".rstrip()
    if timed:
        yield from _wrapped(f"A log is counted by its independent stretches, of {_time(plan.stretch)} each.", 4, 4)
    if plan.target is not None:
        if outlook.least is None:
            said = f"No number of them reaches {half(plan.target)}, nothing else changed."
        elif outlook.half <= plan.target:
            said = f"{counted(setup, outlook.least)} would be enough for {half(plan.target)}."
        else:
            said = f"{counted(setup, outlook.least)} reach {half(plan.target)}, nothing else changed."
        yield from _wrapped(said, 4, 4)


def counted_of(line: Line) -> int:
    """The number that a change of how often is about."""
    return int(line.change.words.split()[0])


def _time(seconds: float) -> str:
    for size, word in ((3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.3g} {word}"
    return f"{seconds:.3g} s"


def _which(outlook: Outlook) -> Iterator[str]:
    """Pieces of hardware side by side, the best said."""
    field = outlook.of("hardware")[0].change.words.split(":")[0]
    planned = ", ".join(outlook.setup.flow.section.value(field))
    rows = [_Row(planned, outlook.half, outlook.readings, grave(outlook.expected))]
    for line in outlook.of("hardware"):
        names = line.change.words.split(": ", 1)[1]
        rows.append(_Row(names, line.half, line.readings, line.findings, "" if line.readings else line.reason))
    common = set.intersection(*({f.code for f in row.findings} for row in rows if row.possible))
    yield f"  {'Which of ' + field:<20}  {'to be read':<28}  half-width"
    for row in rows:
        said = ", ".join(f"{name} {value}" for name, value in row.readings.items()) or row.why
        yield f"    {row.names:<18}  {said:<28}  {half(row.half):>10}{'   as planned' if row is rows[0] else ''}"
        for f in (f for f in row.findings if f.code not in common):
            yield from textwrap.wrap(f"{MARK[f.severity]}, {f.code}: {f.message}", WIDTH, initial_indent=" " * 24,
                                     subsequent_indent=" " * 26)  # fmt: skip
    best = min((row for row in rows if row.possible), key=lambda row: row.rank)
    if best.rank[:2] == rows[0].rank[:2] and best.half > (1.0 - LITTLE) * rows[0].half:
        said = f"None is better than {planned}, as planned, by a hundredth of the half-width."
    else:
        said = f"Best: {best.names}, with the fewest alarms and warnings, and of those the least half-width."
    yield from _wrapped(said, 4, 4)


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


def _what(plan: Plan, outlook: Outlook) -> Iterator[str]:
    """What would better it, the largest gain first; then what would not."""
    lines = [line for line in outlook.lines if line.change.sort not in OWN_TABLES]
    paying = [line for line in lines if line.verdict in ("pays", "pays little", "takes a warning away")]
    told = [line for line in lines if line.verdict in ("not usable", "not possible", "costs")]
    if paying:
        yield "  What would better it, the largest gain first"
        yield f"    {'half-width':>10}  {'gain':>8}"
        for line in [*paying, *told]:
            yield from _change(plan, line)
    else:
        yield "  Nothing else that was tried would better it."
    needed = [line for line in lines if line.verdict == "needed"]
    if needed:
        yield "  Readings that pay: without them"
        for line in needed:
            yield from _change(plan, line)
    for verdict, words in (("does not pay", "Does not pay"), ("could be left out", "Could be left out")):
        names = [line.change.words.removesuffix(" not read") for line in lines if line.verdict == verdict]
        if names:
            yield from _wrapped(f"{words} (each less than a hundredth of the half-width): {'; '.join(names)}.", 4)


def _change(plan: Plan, line: Line) -> Iterator[str]:
    reached = " and reaches the target" if line.reaches and line.gain > 0 else ""
    gain = f"{-100 * line.gain:+#.2g} %" if abs(line.gain) < 1.0 else ""
    head = f"    {half(line.half):>10}  {gain:>8}  "
    yield from textwrap.wrap(f"{line.change.words}: {line.verdict}{reached}", WIDTH, initial_indent=head,
                             subsequent_indent=" " * 26)  # fmt: skip
    yield from textwrap.wrap(line.reason, WIDTH, initial_indent=" " * 26, subsequent_indent=" " * 26)


def _floor(outlook: Outlook) -> Iterator[str]:
    left = [f"{name} {100 * share:.0f} %" for name, share in budget(outlook.floor).items() if share >= 0.05]
    yield from _wrapped(
        f"Floor: {half(half_width(outlook.floor))} would be left of what is planned if every reading, every stated ± "
        f"and every run were perfect. Of its variance: {', '.join(left)}.", 4,
    )  # fmt: skip


def _route(plan: Plan, outlook: Outlook, target: float) -> Iterator[str]:
    if outlook.half <= target:
        yield f"  The target of {half(target)} is reached as planned."
        return
    if outlook.end <= target:
        yield f"  To reach {half(target)}"
    else:
        said = f"Nothing that is listed reaches {half(target)}, taken together either."
        if outlook.last_floor > target:
            said += f" The floor, {half(outlook.last_floor)} with all of it done, lies above: it is the method's own."
        if outlook.route:
            said += f" The furthest that it leads is {half(outlook.end)}:"
        yield from _wrapped(said)
    before = outlook.half
    for i, line in enumerate(outlook.route, start=1):
        yield from _wrapped(f"{i}. {line.change.words}: {half(before)} to {half(line.half)}", 7, 4)
        before = line.half


def _side_by_side(plan: Plan) -> Iterator[str]:
    yield "Side by side"
    width = max(min(len(o.name), 40) for o in plan.outlooks)
    for outlook in sorted(plan.outlooks, key=lambda o: o.half):
        name = textwrap.shorten(outlook.name, 40, placeholder="...")
        yield f"  {name:<{width}}  half-width {half(outlook.half)}, floor {half(half_width(outlook.floor))}"
    for group in plan.together:
        of = f", {group.of}" if group.of else ""
        if group.combined is not None:
            weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in group.combined.weights.items())
            yield from _wrapped(f"Combined{of}: half-width {half(half_of(group.combined.main))}; weights {weights}.", 4)
        else:
            yield from _wrapped(f"Not combined{of}: {group.why_not}.", 4)


def _wrapped(text: str, further: int = 2, first: int = 2) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" " * first, subsequent_indent=" " * further)
