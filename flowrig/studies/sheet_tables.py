"""Blank records of what is no measuring method, such as a prediction, drawn up from the declarations of its tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from flowrig.records import describe, schema
from flowrig.records.declare import Table
from flowrig.records.fan_facts import FAN, STATED
from flowrig.records.filter_facts import FILTER
from flowrig.records.particle_facts import COUNTERS, IN_USE, PARTICLES, ZERO
from flowrig.records.predict_facts import FILTERS, LIFE, LOSSES, PREDICT, SWEEP, WINDING
from flowrig.studies.sheet_text import HOW_TO, comment, form_in_words, in_comments, rule, toml

BLANKS = [""] * 8  # of a curve: free air, the bank, and further resistance than that
READINGS = (
    'What was read needs its ±, such as "23.4 degC ± 1 degC", or a table [instruments.NAME] with what the instrument '
    "measures and its accuracy. What a maker states needs neither."
)
CAUTIONS = (
    "A fan behind filters is throttled and can run hot: watch its first runs, do not leave it unattended.",
    "Guards stay on, hands and sleeves off the blades, the cord free; unplug it before touching blades or filters.",
    "Wiring and winding resistances are work for a licensed electrician and the local code.",
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
    """

    files: Mapping[str, tuple[_Part, ...] | str]
    then: str
    cautions: tuple[str, ...] = CAUTIONS


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
    _Part(WINDING, "[winding]", optional=True),
)

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


SHEETS = {
    "particles": _Blank({"record.toml": _PARTICLES, "counts.csv": _COUNTS}, "reduce", COUNTING_CAUTIONS),
    "prediction": _Blank({"record.toml": _PREDICTION, "fan.toml": _FAN, "filter.toml": _FILTER}, "predict"),
    "fan": _Blank({"fan.toml": _FAN}, ""),
    "filter": _Blank({"filter.toml": _FILTER}, ""),
}


def sheets_of(kind: str) -> dict[str, str]:
    """Blank files by their names: of a prediction also those of its fan and filter.

    Parameters
    ----------
    kind : str
        Key of `SHEETS`.
    """
    blank = SHEETS[kind]
    return {name: of if isinstance(of, str) else _text(of, blank.cautions) for name, of in blank.files.items()}


def _text(parts: tuple[_Part, ...], cautions: tuple[str, ...]) -> str:
    lines: list[str] = []
    for words in HOW_TO:
        lines += comment(words)
    lines += comment(READINGS)
    lines += ["#", "# Take care. Local codes and licensed practice come first."]
    for caution in cautions:
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
