"""What a record says of a measurement still to come."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Count, Given, Table, Wrong
from flowrig.records.items import Section

SCATTER = "1 %"  # of the flow: own judgement, no source
STRETCH = "10 s"  # own judgement, no source


def _checks(section: Section) -> Sequence[Wrong]:
    if "log" in section and "readings" in section:
        said = "either a number of readings or the length of a log"
        return [Wrong("readings", said, "Remove one of the two: a log is counted by its independent stretches.")]
    if "log" in section and section.value("log") < 2 * section.value("stretch"):
        said = "a log of at least two independent stretches"
        return [Wrong("log", said, "Log for longer, or plan readings in its place.")]
    return []


PLAN = Table(
    "plan",
    "What a measurement still to come is expected to be, for `flowrig plan`; a reduction reads past it.",
    (
        Given(
            "flow",
            "Flow to be expected, of the air at the unit where that is described, else at the meter.",
            required=True,
            kind="flow",
            limits="never",
            above=0.0,
            high=1000.0,
            example='"600 m3/h"',
        ),
        Given(
            "target",
            "Half of the interval, as a share of the flow, that is to be reached.",
            kind="ratio",
            limits="never",
            above=0.0,
            high=0.5,
            example='"3 %"',
        ),
        Count(
            "readings",
            "How often every reading is to be taken: repeats, passes of a grid, rounds of the orientations of a hood. "
            "Left out, as many as `flowrig sheet` draws up, or as many as the record holds.",
            low=1,
            high=10_000,
            example="10",
        ),
        Given(
            "scatter",
            "Scatter of a single reading, as a standard deviation and a share of the flow; of a drop it is twice that. "
            "Of readings that go round several places in turn, scatter between the places, which no further round "
            "averages. Left out, that of the readings in the record, if they are repeated.",
            kind="ratio",
            limits="never",
            above=0.0,
            high=0.5,
            default=SCATTER,
            example='"0.8 %"',
        ),
        Given("log", "Length of the log that is to be kept.", kind="time", limits="never", above=0.0, high=864e3,
              example='"6 min"'),
        Given(
            "stretch",
            "How long the readings of a log take to forget one another: readings nearer than this are worth no more "
            "than one.",
            kind="time",
            limits="never",
            above=0.0,
            high=864e2,
            default=STRETCH,
            example='"20 s"',
        ),
    ),
    checks=(_checks,),
)  # fmt: skip
