"""Blank records of what is no measuring method, such as a prediction, drawn up from the declarations of its tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from flowrig.methods import cautions, decay_cautions, room_cautions
from flowrig.records import describe, electrical_facts, schema, sound_facts
from flowrig.records.cleaner_facts import CLEANERS
from flowrig.records.declare import Table
from flowrig.records.fan_facts import FAN, STATED
from flowrig.records.filter_facts import FILTER
from flowrig.records.noise_facts import NOISE
from flowrig.records.own_facts import OPTIONS, OWN
from flowrig.records.particle_facts import COUNTERS, IN_USE, PARTICLES, ZERO
from flowrig.records.predict_facts import FILTERS, LIFE, LOSSES, PREDICT, SWEEP, WINDING
from flowrig.records.room_decay_facts import DECAY, OFF, ON, RUNS
from flowrig.records.room_facts import AIR_CHANGE_TARGET, CONCENTRATION_TARGET, DUCT, PER_PERSON_TARGET, ROOM
from flowrig.studies.sheet_text import HOW_TO, comment, form_in_words, in_comments, rule, toml

BLANKS = [""] * 8  # of a curve: free air, the bank, and further resistance than that
READINGS = (
    'What was read needs its ±, such as "23.4 degC ± 1 degC", or a table [instruments.NAME] with what the instrument '
    "measures and its accuracy. What a maker states needs neither."
)
CAUTIONS = (
    "A fan behind filters is throttled and can run hot: watch its first runs, do not leave it unattended.",
    "Guards stay on, hands and sleeves off the blades, the cord free; unplug it before touching blades or filters.",
    "Wiring, speed controls and winding resistances are work for a licensed electrician and the local code; many "
    "motors must not be put on a lamp dimmer.",
    "A cleaner that blows air out of a room can draw flue gas back from open fires: combustion appliances first.",
)


@dataclass(frozen=True)
class _Part:
    """One table of a sheet: what is written in it already, and which further lines are to be filled."""

    table: Table
    header: str
    given: Mapping[str, Any] = field(default_factory=dict)
    asked: tuple[str, ...] = ()
    optional: bool = False  # the whole table may stay a comment


@dataclass(frozen=True)
class _Blank:
    """A blank record and what belongs to it.

    Attributes
    ----------
    files : dict of str to tuple of _Part, or str
        By the file's name: the tables of a record, or the text of a CSV file.
    then : str
        Command for it; empty for a record that another one names.
    cautions : tuple of str
    uncertain : str
        How it is said what a number may be off by.
    """

    files: Mapping[str, tuple[_Part, ...] | str]
    then: str
    cautions: tuple[str, ...] = CAUTIONS
    uncertain: str = READINGS


_HEADING = _Part(schema.HEADING, "", asked=("title", "date", "by", "place"))
_FAN = (
    _HEADING,
    _Part(
        FAN,
        "[fan]",
        {"figures": STATED, "flow": BLANKS, "pressure": BLANKS, "power": BLANKS},
        ("power_is", "claimed_free_air", "source"),
    ),
)
_FILTER = (
    _HEADING,
    _Part(
        FILTER,
        "[filter]",
        {"figures": STATED, "drop": BLANKS[:3], "velocity": BLANKS[:3]},
        ("width", "height", "class", "particles", "efficiency", "efficiency_velocity", "source"),
    ),
)
_PREDICTION = (
    _HEADING,
    _Part(schema.AIR, "[air.unit]", asked=("temperature", "pressure", "altitude", "relative_humidity")),
    _Part(PREDICT, "[predict]", {"fan": "fan.toml"}, ("required_clean_air",)),
    _Part(FILTERS, "[[filters]]", {"filter": "filter.toml", "count": 4}, ("gap_width",)),
    _Part(LOSSES, "[[losses]]", optional=True),
    _Part(SWEEP, "[sweep]", {"count": [1, 2, 3, 4, 5, 6]}),
    _Part(LIFE, "[life]", optional=True),
    _Part(NOISE, "[noise]", optional=True),
    _Part(WINDING, "[winding]", optional=True),
)
_OWN = (
    _HEADING,
    _Part(OWN, "[own]", asked=("real_discount", "clean_air")),
    _Part(
        OPTIONS,
        "[[options]]",
        asked=(
            "clean_air_rate",
            "particles",
            "power",
            "price",
            "filters",
            "filter_price",
            "change_every",
            "mean_over_life",
        ),
    ),
)
RANGES = (
    'Any number may have a range, "from 18 to 26 USD", or a ±: "22 USD ± 4 USD". What years will bring is known to no '
    "digit; what has no range counts as certain."
)
OWN_CAUTIONS = (
    CAUTIONS[0],
    "Used filters hold what was in the air: bag them, wear a mask, and follow the local rules for their disposal.",
    "A filter with a high drop can starve the fan of the ducts, its coil or its burner: licensed practice decides.",
)
_ROOM = (
    _HEADING,
    _Part(
        ROOM,
        "[room]",
        asked=(
            "floor_area", "ceiling_height", "infiltration", "penetration", "deposition", "outdoor_concentration",
            "outdoor_air", "outdoor_air_efficiency", "persons", "mixing", "combustion",
        ),
    ),
    _Part(AIR_CHANGE_TARGET, "[air_change_target]", optional=True),
    _Part(PER_PERSON_TARGET, "[per_person_target]", asked=("guidance",)),
    _Part(CONCENTRATION_TARGET, "[concentration_target]", asked=("source",)),
    _Part(CLEANERS, "[[cleaners]]", asked=("clean_air_rate", "particles", "power", "sound", "sound_distance")),
    _Part(DUCT, "[duct]", optional=True),
)  # fmt: skip

_PARTICLES = (
    _HEADING,
    _Part(schema.AIR, "[air.room]", optional=True),
    _Part(PARTICLES, "[particles]", {"counts": "counts.csv"}, ("tube_length", "tube_diameter", "waiting_time")),
    _Part(COUNTERS, "[counters.A]", asked=("serial", "calibrated", "max_concentration")),
)
_TURNS = ("upstream", "downstream") * 5 + ("upstream",)
_COUNTS = "\n".join(
    [
        "number,run,place,0.3 um,0.5 um,1 um,2.5 um,5 um,10 um,note",
        *(f"{number},{IN_USE},{place},,,,,,," for number, place in enumerate(_TURNS, 1)),
        *(f"{number},{ZERO},,,,,,,," for number in (len(_TURNS) + 1, len(_TURNS) + 2)),
        "",
    ]
)
COUNTING_CAUTIONS = (
    "Keep tubes, sleeves and hair off fan blades; unplug the fan before taping seams or changing a filter.",
    "Room air is aerosol enough for most tests. Smoke, incense or sprays harm lungs and set off detectors: ventilate, "
    "keep fire away from filters, and ask whoever is responsible for the building.",
    "Loaded filters hold what they caught: gloves, a fitting respirator, and no shaking out.",
    *CAUTIONS[:1],
)
_RUN = ("background", "start", "place")
_DECAY = (
    _HEADING,
    _Part(COUNTERS, "[counters.A]", asked=("serial", "calibrated", "max_concentration")),
    _Part(
        DECAY,
        "[decay]",
        asked=("net_volume", "room", "natural_run", "windows_and_doors", "mixing", "mixing_time", "ranges"),
    ),
    _Part(RUNS, "[[decay_runs]]", {"name": "cleaner on", "cleaner": ON, "counts": "on.csv"}, _RUN),
    _Part(RUNS, "[[decay_runs]]", {"name": "cleaner off", "cleaner": OFF, "counts": "off.csv"}, _RUN),
)
_OVER_TIME = "time [min],0.3 um,0.5 um,1 um,note\n" + "".join(f"{minute},,,,\n" for minute in range(41))


def _instrument(kind: str) -> _Part:
    header = f"[instruments.{schema.USUAL_NAMES[kind]}]"
    return _Part(schema.INSTRUMENT, header, {"measures": kind}, ("accuracy", "resolution", "serial", "calibrated"))


AT_SOCKET = ("power", "power_is", "apparent", "setting", "filter_state")
_ELECTRICAL = (
    _HEADING,
    _instrument("power"),
    _Part(electrical_facts.ELECTRICAL, "[electrical]", asked=AT_SOCKET),
)
_SOUND = (
    _HEADING,
    _instrument("sound level"),
    _Part(
        sound_facts.SOUND,
        "[sound]",
        {"readings": "sound.csv"},
        ("microphone", "distance", "stands", "surroundings", "setting", "filter_state"),
    ),
    _Part(sound_facts.ELSEWHERE, "[[sound_at]]", optional=True),
)
AT_A_RUNNING_UNIT = tuple(c.text for c in (cautions.GUARD, cautions.CORD, cautions.THROTTLED, cautions.LICENSED))
PLACES = 4  # of the microphone, each read twice
SOUND_CSV = "place,level [dB],background [dB]\n" + "".join(f"{k // 2 + 1},,\n" for k in range(2 * PLACES))

SHEETS = {
    "particles": _Blank({"record.toml": _PARTICLES, "counts.csv": _COUNTS}, "reduce", COUNTING_CAUTIONS),
    "prediction": _Blank({"record.toml": _PREDICTION, "fan.toml": _FAN, "filter.toml": _FILTER}, "predict"),
    "fan": _Blank({"fan.toml": _FAN}, ""),
    "filter": _Blank({"filter.toml": _FILTER}, ""),
    "decay": _Blank(
        {"record.toml": _DECAY, "on.csv": _OVER_TIME, "off.csv": _OVER_TIME},
        "reduce",
        tuple(caution.text for caution in decay_cautions.DECAY),
    ),
    "own": _Blank({"record.toml": _OWN}, "own", OWN_CAUTIONS, RANGES),
    "electrical": _Blank({"record.toml": _ELECTRICAL}, "reduce", AT_A_RUNNING_UNIT),
    "sound": _Blank({"record.toml": _SOUND, "sound.csv": SOUND_CSV}, "reduce", AT_A_RUNNING_UNIT),
    "room": _Blank({"record.toml": _ROOM}, "room", tuple(caution.text for caution in room_cautions.ROOM)),
}


def sheets_of(kind: str) -> dict[str, str]:
    """Blank files by their names: of a prediction also those of its fan and filter.

    Parameters
    ----------
    kind : str
        Key of `SHEETS`.
    """
    blank = SHEETS[kind]
    return {name: of if isinstance(of, str) else _text(of, blank) for name, of in blank.files.items()}


def _text(parts: tuple[_Part, ...], blank: _Blank) -> str:
    lines: list[str] = []
    for words in HOW_TO:
        lines += comment(words)
    lines += comment(blank.uncertain)
    lines += ["#", "# Take care. Local codes and licensed practice come first."]
    for caution in blank.cautions:
        lines += comment(f"- {caution}", "  ")
    for part in parts:
        lines += ["", *_lines(part)]
    return "\n".join(lines) + "\n"


def _lines(part: _Part) -> Iterator[str]:
    if part.optional:
        yield from in_comments(part.table, part.header, "Optional; take the # away from its name too:")
        return
    yield from rule(part.table)
    if part.header:
        yield part.header
    needed = [f for f in part.table.fields if f.name in part.given or f.name in part.asked or f.required]
    for declared in needed:
        example = describe.example(declared)
        shown = f" Example: {example}" if example != describe.EMPTY else ""
        yield from comment(f"{declared.help}{form_in_words(declared)}{shown}")
        if isinstance(part.given.get(declared.name), list) and "" in part.given[declared.name]:
            yield from comment("One beside the other; take away the quotes that are not needed.")
        value = toml(part.given[declared.name]) if declared.name in part.given else '""'
        yield f"{declared.name} = {value}"
    others = [f for f in part.table.fields if f not in needed]
    if others:
        yield "#"
        yield from comment("Optional:")
    for declared in others:
        yield from comment(f"{declared.help}{form_in_words(declared)}")
        yield f"# {declared.name} = {describe.example(declared)}"
