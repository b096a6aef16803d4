"""What a record says of particle counts before and behind a filter, and of the counters that took them."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.clean_air_facts import CLEAN_AIR_FIELDS
from flowrig.records.declare import Choice, Date, File, Given, OneOf, Pairs, Table, Text, Wrong
from flowrig.records.items import Section

IN_USE, TAPED, TIGHT, NO_FILTER = "in use", "seams taped", "tight filter", "no filter"
ZERO, BESIDE = "zero", "beside each other"
RUNS = (IN_USE, TAPED, TIGHT, NO_FILTER, ZERO, BESIDE)
CUMULATIVE, BY_CHANNEL = "cumulative", "by channel"
SAMPLE = "sample"
PER = {SAMPLE: "", "m3": "1/m3", "L": "1/L", "cm3": "1/cm3", "ft3": "1/ft3"}  # unit of what a counter shows

HEADERS = (
    "Columns: place (upstream or downstream), and a column for each channel with its size as header: '0.3 um', "
    "'0.3-0.5 um', '>10 um'. A header with one size means all particles from there on where counts are cumulative, "
    "and else those up to the next header; one with > before it is open. Further columns: time (of the middle of a "
    "sample) or number, the same for samples that two counters took at once; counter, run, point (of the outlet), "
    "velocity (there), sample_time (where it is not the counter's), note. run is one of: 'in use' (where nothing is "
    "said), 'seams taped' (the filter's edges closed with tape), 'tight filter' (a filter that lets next to nothing "
    "through, in the same frame), 'no filter' (the same samples with no filter in place), 'zero' (through a zero "
    "filter, which lets nothing through), 'beside each other' (two counters at one place)."
)


def _checks(section: Section) -> Sequence[Wrong]:
    tube = ("tube_length", "tube_diameter", "waiting_time")
    held = [name for name in tube if name in section]
    if held and len(held) < len(tube):
        missing = next(name for name in tube if name not in section)
        said = (
            "length, inside diameter and waiting time together: one alone does not tell how often the tube was flushed"
        )
        return [Wrong(missing, said, f"Add {missing}, or leave out {' and '.join(held)}.")]
    return []


PARTICLES = Table(
    "particles",
    "Particle counts before and behind a filter. What it lets through follows by size, with exact limits where counts "
    "are few. Samples taken in turn (upstream, downstream, upstream …) by one counter, or at once by two that change "
    "places halfway.",
    (
        File("counts", f"CSV with a row for each sample. {HEADERS}", example='"counts.csv"'),
        Text(
            "samples",
            "The same table in the record itself, between three double quotes, for a handful of samples: a line of "
            "headers and a line for each sample, parted by commas.",
        ),
        Pairs(
            "columns",
            "Header of a column where it differs: of place, time and the others, or of a channel by its size.",
            example='{ place = "location", "0.3-0.5 um" = "Ch1" }',
        ),
        Text(
            "counter", "Which of the counters took all samples, where the table has no column counter.", example='"A"'
        ),
        Given(
            "tube_length",
            "Length of the sampling tube (the longer one).",
            kind="length",
            limits="never",
            above=0.0,
            high=50.0,
            example='"2 m"',
        ),
        Given(
            "tube_diameter",
            "Inside diameter of the sampling tube.",
            kind="length",
            limits="never",
            above=0.0,
            high=0.1,
            example='"6 mm"',
        ),
        Given(
            "waiting_time",
            "How long the counter ran at a place before a sample was begun.",
            kind="time",
            limits="never",
            low=0.0,
            high=3600.0,
            example='"30 s"',
        ),
        Given(
            "aspiration_limit",
            "How far the inlets of the tubes may let particles from 1 um on in differently upstream and downstream: "
            "sharp bends, an inlet across the flow, air much faster than in the inlet. A limit, as a share of the "
            "penetration.",
            kind="ratio",
            limits="never",
            low=0.0,
            high=1.0,
            example='"10 %"',
        ),
        *CLEAN_AIR_FIELDS,
        Text("notes", "Where the inlets were; downstream they belong into the core of the jet."),
    ),
    alternatives=(OneOf((("counts",), ("samples",))),),
    checks=(_checks,),
)


def _counter_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "loss" in section and not section["loss"].assumed:
        if "max_concentration" not in section:
            said = "max_concentration, at which that loss is stated"
            wrong.append(Wrong("max_concentration", said, "Add it, or leave out loss."))
        elif "dead_time" in section:
            remedy = "Remove one of the two; max_concentration itself may stay."
            wrong.append(Wrong("dead_time", "either a dead time or a loss", remedy))
    due, calibrated = section.value("due"), section.value("calibrated")
    if due is not None and calibrated is not None and due < calibrated:
        wrong.append(Wrong("due", "a date after that of the calibration", "Check which of the two is which."))
    return wrong


COUNTERS = Table(
    "counters",
    "A particle counter: how it counts, and what it may get wrong. Where nothing is stated, what ISO 21501-4 allows "
    "(from memory) is taken.",
    (
        Given(
            "sample_flow",
            "Flow that it draws in. Its ± cancels for one counter and counts between two; 5 % where none is stated.",
            required=True,
            kind="flow",
            above=0.0,
            high=0.01,
            example='"2.83 L/min ± 5 %"',
        ),
        Given(
            "sample_time",
            "How long it counts for one sample.",
            required=True,
            kind="time",
            limits="never",
            above=0.0,
            high=86400.0,
            example='"60 s"',
        ),
        Choice(
            "counts",
            "Whether each number is of all particles from a size on, as handheld counters print it, or of one channel.",
            required=True,
            choices=(CUMULATIVE, BY_CHANNEL),
            example='"cumulative"',
        ),
        Choice(
            "per",
            "Whether a number is what was counted in a sample, or for a volume of air.",
            required=True,
            choices=tuple(PER),
            example='"ft3"',
        ),
        Text("serial", "Serial number: its identity. Errors are shared wherever it is used.", asked=True),
        Date("calibrated", "Date of the certificate.", asked=True),
        Date("due", "Date on which calibration falls due."),
        Given(
            "max_concentration",
            "Concentration of all particles up to which the maker says it can be used.",
            kind="concentration",
            limits="never",
            above=0.0,
            example='"70 1/cm3"',
            asked=True,
        ),
        Given(
            "loss",
            "Share of particles it misses at max_concentration, because two come at once; 10 % where none is stated.",
            kind="ratio",
            default="10 %",
            limits="never",
            above=0.0,
            high=0.5,
            example='"5 %"',
        ),
        Given(
            "dead_time",
            "Time for which a particle hides the next, in place of the loss. Half of it may be off where it has no ±.",
            kind="time",
            above=0.0,
            high=1e-3,
            example='"0.01 ms"',
        ),
        Given(
            "size_error",
            "How far the limits of its channels may lie off, as a share of the size.",
            kind="ratio",
            default="10 %",
            limits="never",
            low=0.0,
            high=0.5,
            example='"5 %"',
        ),
        Given(
            "count_error",
            "How far the share of particles it sees may be off, in every channel. Where nothing is stated 10 %, and at "
            "the smallest size from 30 to 70 % seen. It counts between two counters alone.",
            kind="ratio",
            limits="never",
            low=0.0,
            high=0.9,
            example='"10 %"',
        ),
        Text("notes", "Anything else."),
    ),
    checks=(_counter_checks,),
)
