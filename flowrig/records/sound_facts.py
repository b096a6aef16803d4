"""What is declared of a sound measurement: levels with the unit running and off, the microphone, the room."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Choice, Count, Field, File, Given, Pairs, Reading, Series, Table, Text, Wrong
from flowrig.records.items import Section

NOT_SAID = "not said"
AS_MEASURED = "as measured"
OUT_OF_JET, SCREENED, IN_JET = "out of the jet", "in the jet, with a windscreen", "in the jet"
ENGINEERING, SURVEY = "engineering", "survey"
OPEN, ROOM = "in the open", "in a room"
STANDS = {"in mid-air": 1.0, "on the floor": 2.0, "at an edge": 4.0, "in a corner": 8.0}  # directivity of the place


def _room(where: str) -> tuple[Field, ...]:
    """Where the unit stands, and what throws its sound back."""
    first = NOT_SAID if where == "sound" else AS_MEASURED
    return (
        Choice(
            "stands",
            "Where the unit stands: on the floor, where wall and floor meet, or in a corner of the room its sound goes "
            "into a half, a quarter or an eighth of the space.",
            choices=(first, *STANDS),
            example='"on the floor"',
        ),
        Choice(
            "surroundings",
            "In the open, or in a room whose walls throw nothing back; or in a room, of which room_surface and "
            "absorption tell how much they do.",
            choices=(first, OPEN, ROOM),
        ),
        Given(
            "room_surface",
            "Area of walls, floor, ceiling and what stands in the room.",
            kind="area",
            above=0.0,
            high=1e5,
            example='"150 m2"',
        ),
        Given(
            "absorption",
            "Mean share of the sound that this area swallows: about 0.1 for bare plaster and glass, 0.3 with carpet "
            "and acoustic ceiling (from memory).",
            kind="ratio",
            limits="must",
            above=0.0,
            high=1.0,
            example='"0.2 ± 0.05"',
        ),
    )


def room_checks(section: Section) -> Sequence[Wrong]:
    """A room is known by its surface and its absorption, and only a room has them."""
    wrong = []
    for name in ("room_surface", "absorption"):
        if section.value("surroundings") == ROOM and name not in section:
            line = 'room_surface = "150 m2"' if name == "room_surface" else 'absorption = "0.2 ± 0.05"'
            wrong.append(Wrong(name, "what the room does to the sound", f"Add {line}, for instance."))
        elif section.value("surroundings") != ROOM and name in section:
            wrong.append(Wrong(name, f'surroundings = "{ROOM}" beside it', "Add it, or remove the line."))
    if "absorption" in section:
        item = section["absorption"]
        most = item.value + sum(float(c.half_width(item.value)) for c in item.components)
        if not most < 1.0:
            remedy = f'Nothing swallows more than all: write surroundings = "{OPEN}", or a smaller number.'
            wrong.append(Wrong("absorption", "a share below 1, the upper end of its ± too", remedy))
    return wrong


def _checks(section: Section) -> Sequence[Wrong]:
    wrong = list(room_checks(section))
    if "level" not in section and "readings" not in section:
        wrong.append(Wrong("level", "the level with the unit running", 'Add level = "52.3 dB", for instance.'))
    if "readings" in section:  # what stands there is read elsewhere
        for name in ("place", "bands"):
            if name in section:
                remedy = f"Remove it here: {section.value('readings')} has a column for it."
                wrong.append(Wrong(name, "it in the table of readings alone", remedy))
        return wrong
    number = len(section.value("level", ()))
    if "place" in section and len(section.value("place")) != number:
        wrong.append(Wrong("place", f"as many as there are levels, {number}", "Number the place of each level."))
    if "bands" not in section:
        return wrong
    if "place" in section:
        remedy = 'Write them into a CSV with columns place, frequency and level: readings = "sound.csv".'
        wrong.append(Wrong("place", "no places beside bands", remedy))
    for name in ("level", "background"):
        if name in section and len(section.value(name)) != len(section.value("bands")):
            said = f"as many as there are bands, {len(section.value('bands'))}"
            wrong.append(Wrong(name, said, "Write a level for each band."))
    return wrong


SOUND = Table(
    "sound",
    "Sound level: what the unit makes while its flow is measured, as the meter shows it, and what the room is like "
    "without it.",
    (
        Reading(
            "level",
            "A-weighted level shown with the unit running. Several are repeats at one place, unless place numbers "
            "them. Beside bands: the level in each of them, without weighting.",
            kind="sound level",
            low=-20.0,
            high=160.0,
            example='["52.3 dB", "52.6 dB", "52.4 dB"]',
            asked=True,
        ),
        Reading(
            "background",
            "The same with the unit off and all else as it was, best before and after.",
            kind="sound level",
            low=-20.0,
            high=160.0,
            example='["40.1 dB", "39.7 dB"]',
            asked=True,
        ),
        Series(
            "place",
            "At which place of the microphone each level was read; places that stand for equal areas around the unit.",
            kind="count",
            low=1.0,
            high=1000.0,
            example="[1, 1, 2, 2, 3, 3, 4, 4]",
        ),
        Series(
            "bands",
            "Middle frequencies of the octave or third-octave bands that the levels are of.",
            kind="frequency",
            least=2,
            low=10.0,
            high=20e3,
            example='["63 Hz", "125 Hz", "250 Hz", "500 Hz", "1000 Hz", "2000 Hz", "4000 Hz", "8000 Hz"]',
        ),
        File(
            "readings",
            "CSV with a row for each reading in place of level and background: columns level and background, and place "
            "and frequency where there are several; a cell may stay blank.",
            example='"sound.csv"',
        ),
        Choice(
            "microphone",
            "Whether it stood in the air that the unit blows out: the wind makes a noise of its own in it.",
            choices=(NOT_SAID, OUT_OF_JET, SCREENED, IN_JET),
            aim=OUT_OF_JET,
            example=f'"{OUT_OF_JET}"',
        ),
        Choice(
            "grade",
            "How near the background may be: 6 dB below at engineering grade, 3 dB at survey grade. Nearer than that "
            "the level is an upper bound.",
            choices=(ENGINEERING, SURVEY),
        ),
        Given(
            "distance",
            "From the middle of the unit to the microphone; at least twice its largest dimension.",
            kind="length",
            above=0.0,
            high=100.0,
            example='"1.5 m ± 5 cm"',
            asked=True,
        ),
        *_room("sound"),
        Text("setting", "Setting of the speed.", example='"high"', asked=True),
        Text("filter_state", "State of the filters.", example='"four, new"', asked=True),
        Pairs("with", "Instrument of the reading, where more than one measures its kind.", alone=True),
        Text("notes", "Direction of the microphone, weighting, what else was running."),
    ),
    checks=(_checks,),
)

ELSEWHERE = Table(
    "sound_at",
    "A further place, room or number of units of which the level is wanted; a section for each.",
    (
        Text("name", "What to call it.", required=True, example='"desk in classroom 12"'),
        Given("distance", "From the middle of each unit; as measured where nothing is said.", kind="length",
              above=0.0, high=1000.0, example='"3 m"'),
        Count("units", "How many equal units, each as far away; one where nothing is said.", high=1000, example="2"),
        *_room("sound_at"),
        Text("notes", "Anything else."),
    ),
    checks=(room_checks,),
)  # fmt: skip
