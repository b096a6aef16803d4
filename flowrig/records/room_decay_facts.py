"""What a record says of decays in a room: its volume, how it was left alone, the runs with the cleaner and without."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Choice, File, Given, OneOf, Pairs, Table, Text, Wrong
from flowrig.records.items import Section
from flowrig.records.sizes import Sizes, read_sizes

FAN_ON, UNIT_OFF, NOT_SAID = "fan running without filters", "unit off", "not said"
UNCHANGED, CHANGED = "unchanged", "changed"
MIXED, UNMIXED = "mixing fan", "no mixing fan"
ON, OFF = "on", "off"


def ranges_of(section: Section) -> list[Sizes]:
    """The ranges of size that [decay] asks for; empty where it names none."""
    text = section.value("ranges")
    return [read_sizes(words) for words in text.split(",")] if text else []


def _decay_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "taken_up" in section:
        if "net_volume" in section:
            wrong.append(Wrong("taken_up", "no further volume beside a net one", "Remove taken_up."))
        elif not section.value("taken_up") < section.value("room_volume"):
            wrong.append(Wrong("taken_up", "less than the room's volume", "Check the two volumes and their units."))
    try:
        ranges_of(section)
    except ValueError as error:
        remedy = 'Write "0.3 to 1 um, 1 to 3 um", for instance.'
        wrong.append(Wrong("ranges", f"ranges of particle size ({error})", remedy))
    return wrong


def _run_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "half_life" in section:
        for name in ("background", "floor_at_most", "start", "end"):
            if name in section:
                wrong.append(Wrong(name, "a run with its counts", "Remove it: a half-life is all that is known."))
    if "start" in section and "end" in section and not section.value("end") > section.value("start"):
        wrong.append(Wrong("end", "an end after the start", "Check the two times and their units."))
    return wrong


DECAY = Table(
    "decay",
    "Particles that decay in a closed room with the cleaner on and off: the difference of the two rates times the net "
    "volume of the room is its clean-air rate. Each run is a section [[decay_runs]].",
    (
        Given(
            "net_volume",
            "Volume of the air in the room: between its walls, less what stands in it.",
            kind="volume",
            above=0.0,
            limits="must",
            example='"48.6 m3 ± 1 m3"',
        ),
        Given(
            "room_volume",
            "Volume between the walls, in place of the net one.",
            kind="volume",
            above=0.0,
            limits="must",
            example='"52.1 m3 ± 0.8 m3"',
        ),
        Given(
            "taken_up",
            "Volume of what stands in the room: furniture, boxes, the cleaner.",
            kind="volume",
            low=0.0,
            limits="must",
            example='"3.5 m3 ± 1 m3"',
        ),
        Text("room", "What the room is known by: records that name it share the error of its volume."),
        Text("counter", "Which of the counters took the runs, where several are described.", example='"A"'),
        Choice(
            "natural_run",
            "How the decay without the cleaner was made. With its fan running and its filters out the air is stirred "
            "as in the other run.",
            choices=(NOT_SAID, FAN_ON, UNIT_OFF),
            aim=FAN_ON,
            example=f'"{FAN_ON}"',
        ),
        Given(
            "natural_rate",
            "What the room loses by itself, where no run without the cleaner was made.",
            kind="rate",
            low=-1.0,
            limits="must",
            example='"0.4 1/h ± 0.2 1/h"',
        ),
        Given(
            "natural_limit",
            "How far what is lost by itself may differ between the runs with and without the cleaner: exchange of air, "
            "settling. Where nothing is stated a tenth of the natural rate, and half of it where the runs were not "
            "alike; own judgement, no source.",
            kind="rate",
            low=0.0,
            limits="never",
            of_error=True,
            example='"0.1 1/h"',
        ),
        Choice(
            "windows_and_doors",
            "Whether windows, doors and ventilation were the same in all runs: the exchange of air then cancels.",
            choices=(NOT_SAID, UNCHANGED, CHANGED),
            aim=UNCHANGED,
            example=f'"{UNCHANGED}"',
        ),
        Choice(
            "mixing",
            "Whether a fan mixed the air of the room in all runs.",
            choices=(NOT_SAID, MIXED, UNMIXED),
            aim=MIXED,
            example=f'"{MIXED}"',
        ),
        Given(
            "mixing_limit",
            "How far imperfect mixing may leave the counter's place unlike the room, as a share of the clean-air rate. "
            "3 % with a mixing fan (own judgement, no source), else 16 %: rooms without one read 3 to 16 % low (Indoor "
            "Environments 3(2), 100165, abstract).",
            kind="ratio",
            low=0.0,
            high=1.0,
            limits="never",
            of_error=True,
            example='"3 %"',
        ),
        Given(
            "mixing_time",
            "How long after the start of a run its readings are left out, for the air to mix.",
            kind="time",
            default="1 min",
            low=0.0,
            limits="never",
            example='"2 min"',
        ),
        Given(
            "lowest_signal",
            "Where the window of a run ends: what is left above its floor, as a share of the floor. 0 uses all rows.",
            kind="ratio",
            default="0.1",
            low=0.0,
            high=100.0,
            limits="never",
            example="0.5",
        ),
        Given(
            "clock_limit",
            "How far the intervals between readings may be off, as a share; the same in all runs.",
            kind="ratio",
            default="0.5 %",
            low=0.0,
            high=0.5,
            limits="never",
            of_error=True,
            example='"0.1 %"',
        ),
        Text(
            "ranges",
            "Ranges of particle size to be told beside each channel: channels that lie inside one are put together.",
            example='"0.3 to 1 um, 1 to 3 um"',
        ),
        Text("notes", "How particles were set free, where fan and counter stood."),
    ),
    alternatives=(OneOf((("net_volume",), ("room_volume",))),),
    checks=(_decay_checks,),
)

RUNS = Table(
    "decay_runs",
    "One run: particles counted over time while the room is left alone. Repeats, and counters at other places, are "
    "further sections.",
    (
        Text("name", "What to call it.", required=True, example='"cleaner on, first run"'),
        Choice("cleaner", "Whether the cleaner was at work.", required=True, choices=(ON, OFF), example='"on"'),
        File(
            "counts",
            "CSV with a row for each sample: time, and a column of counts for each channel.",
            example='"on-1.csv"',
        ),
        Given(
            "half_life",
            "Time in which the particles came down to half, where nothing else is left of the run.",
            kind="time",
            above=0.0,
            limits="must",
            example='"9.6 min ± 0.1 min"',
        ),
        File(
            "background",
            "CSV of samples of the level that this run falls to: counted before particles were added, with the cleaner "
            "as in the run, or long after. Without it the floor is fitted.",
            example='"background-on.csv"',
        ),
        Given(
            "background_limit",
            "How far that level may have moved by the time of the run, as a share; own judgement, no source.",
            kind="ratio",
            default="20 %",
            low=0.0,
            high=10.0,
            limits="never",
            of_error=True,
            example='"10 %"',
        ),
        Given(
            "floor_at_most",
            "The level that the run falls to, at most, as a share of its first level; in place of a background.",
            kind="ratio",
            above=0.0,
            high=1.0,
            limits="never",
            of_error=True,
            example='"5 %"',
        ),
        Given(
            "start",
            "When the decay began, counted from the first row of the table; at that row where nothing is said.",
            kind="time",
            low=0.0,
            limits="never",
            example='"3 min"',
        ),
        Given(
            "end",
            "From when on rows are not used, counted from the first row of the table.",
            kind="time",
            low=0.0,
            limits="never",
            example='"40 min"',
        ),
        Text("place", "Where in the room the counter stood.", example='"middle of the room"'),
        Text("counter", "The counter of this run, where it is not that of [decay].", example='"B"'),
        Pairs(
            "columns",
            "Header of a column of the table, where it differs from its name.",
            example='{ time = "clock" }',
        ),
        Text("notes", "Anything odd about the run."),
    ),
    alternatives=(OneOf((("counts",), ("half_life",))), OneOf((("background",), ("floor_at_most",)), required=False)),
    checks=(_run_checks,),
)
