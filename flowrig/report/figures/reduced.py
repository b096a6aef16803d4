"""Every figure of a record reduced: of its flows, of what they say together, of its claims, and of its parts."""

from __future__ import annotations

from collections.abc import Iterator

from flowrig.report.figures.all import parts_pictures
from flowrig.report.figures.beside import claims_picture, together_picture
from flowrig.report.figures.budget import budget_picture
from flowrig.report.figures.coefficient import coefficient_picture
from flowrig.report.figures.density import density_picture
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.plane import plane_picture
from flowrig.report.figures.ranges import ranges_picture
from flowrig.report.figures.readings import readings_picture
from flowrig.report.figures.tests_by_row import rows_picture
from flowrig.studies.behind import behind
from flowrig.studies.result import Result


def reduced_pictures(result: Result) -> list[Picture]:
    """Flow by flow, then what is told of several, then part by part.

    Of a table of tests, one picture a measurement: its flow by row.
    """
    if result.rows is not None:
        return [
            rows_picture(result, flow, _name(result, "rows", i), f"Row by row: {flow.name}")
            for i, flow in enumerate(result.flows)
        ]
    found = [picture for number in range(len(result.flows)) for picture in _flow(result, number)]
    several = [group for group in result.together if group.pairs]
    for i, group in enumerate(several, 1):
        name = "together" if len(several) == 1 else f"together-{i}"
        found.append(
            together_picture(result, group, name, f"Held against each other{f': {group.of}' if group.of else ''}")
        )
        if group.combined is not None:
            picture = budget_picture(
                group.combined.main, f"{name}-budget", f"Where the uncertainty comes from: {group.combined.name}",
                result.record,
            )  # fmt: skip
            found += [picture] if picture is not None else []
    if any(claim.ratios for claim in result.claims):
        found.append(claims_picture(result, result.claims, "claims", "Stated and measured"))
    return [*found, *parts_pictures(result)]


def _name(result: Result, name: str, number: int) -> str:
    """Of a file: numbered where there are several measurements."""
    return f"flow-{number + 1}-{name}" if len(result.flows) > 1 else f"flow-{name}"


def _order(what: str) -> str:
    return "Passes" if what == "passes" else "Readings"


def _flow(result: Result, number: int) -> Iterator[Picture]:
    flow, own = result.flows[number], behind(result, number)
    if own.plane is not None:
        yield plane_picture(result, flow, own.plane, _name(result, "plane", number), f"Over the plane: {flow.name}")
    if own.run is not None:
        name, title = _name(result, "readings", number), f"{_order(own.run.what)} in the order taken: {flow.name}"
        yield readings_picture(result, flow, own.run, name, title)
    if own.ranges:
        name, title = _name(result, "ranges", number), f"In the range of the method: {flow.name}"
        yield ranges_picture(result, flow, own.ranges, name, title)
    if own.coefficient:
        name, title = _name(result, "coefficient", number), f"Coefficient of the meter: {flow.name}"
        yield coefficient_picture(result, flow, own.coefficient, name, title)
    budget = budget_picture(
        flow.main, _name(result, "budget", number), f"Where the uncertainty comes from: {flow.name}", result.record
    )
    density = density_picture(
        flow.main, _name(result, "density", number), f"Linear and drawn: {flow.name}", result.record, seed=result.seed
    )
    yield from (picture for picture in (budget, density) if picture is not None)
