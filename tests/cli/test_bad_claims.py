"""Bad [claims] and bad words for a flow: one clear report, exit code 2, no file touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.rig import RECORD, Rig, edited, spread

CLAIMS = """
[claims]
flow = "1650 cfm"
efficiency = "65 %"
clean_air_rate = "1072 cfm"
power = "92 W"
sound = "52 dB"
"""
SOUND = RECORD + CLAIMS
FIRST = SOUND[: SOUND.index("flow =")].count("\n") + 1  # line of the first claim


def at(field: str, number: int) -> str:
    return f"record.toml, line {FIRST + number}, claims.{field}"


FLOW, SHARE, CLEAN, POWER, LEVEL = (
    at(field, i) for i, field in enumerate(("flow", "efficiency", "clean_air_rate", "power", "sound"))
)


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def test_the_sound_claims_are_sound(rig: Rig) -> None:
    rig.lay_out(record_toml=SOUND)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")
    assert "Claims" in out
    assert "claims do not multiply" not in out


CASES = spread(
    2,
    ("bare flow", 'flow = "1650 cfm"', "flow = 1650", (FLOW, "read 1650;", "cfm")),
    ("flow without a unit", 'flow = "1650 cfm"', 'flow = "1650"', (FLOW, "unit of flow is missing")),
    ("thousands with a comma", 'flow = "1650 cfm"', 'flow = "1,650 cfm"', (FLOW, "'1,650 cfm'", "comma")),
    ("flow in watts", 'flow = "1650 cfm"', 'flow = "1650 W"', (FLOW, "not a unit of flow")),
    ("no flow at all", 'flow = "1650 cfm"', 'flow = "0 cfm"', (FLOW, "'0 cfm'", "above 0 cfm")),
    ("± beyond the flow", 'flow = "1650 cfm"', 'flow = "1650 cfm ± 1700 cfm"', (FLOW, "lower end")),
    ("a list of flows", 'flow = "1650 cfm"', 'flow = ["1650 cfm", "1500 cfm"]', (FLOW, "in quotes")),
    ("per cent as a number", 'efficiency = "65 %"', "efficiency = 65", (SHARE, "read 65;", "from 0 to 1")),
    ("more than all", 'efficiency = "65 %"', 'efficiency = "165 %"', (SHARE, "'165 %'", "from 0 % to 100 %")),
    ("efficiency as a class", 'efficiency = "65 %"', 'efficiency = "MERV 13"', (SHARE, "'MERV 13'")),
    ("bare clean-air rate", 'clean_air_rate = "1072 cfm"', "clean_air_rate = 1072", (CLEAN, "read 1072;", "cfm")),
    ("negative rate", 'clean_air_rate = "1072 cfm"', 'clean_air_rate = "-1072 cfm"', (CLEAN, "above 0 cfm")),
    ("watts without a unit", 'power = "92 W"', "power = 92", (POWER, "read 92;", "W")),
    ("volt-amperes", 'power = "92 W"', 'power = "92 VA"', (POWER, "apparent power")),
    ("sound in sones", 'sound = "52 dB"', 'sound = "5 sone"', (LEVEL, "'5 sone'", "dB")),
    ("sound beyond bearing", 'sound = "52 dB"', 'sound = "520 dB"', (LEVEL, "from 0 dB to 200 dB")),
    ("a misspelt claim", 'power = "92 W"', 'pover = "92 W"', (at("pover", 3), "Did you mean power?")),
    ("a claim of another table", 'power = "92 W"', 'drop = "92 Pa"', (at("drop", 3), "one of: flow, efficiency")),
    (
        "a rate of ePM1",
        'power = "92 W"',
        'particles = "ISO ePM1"',
        (at("particles", 3), "'ISO ePM1'", "flow times ePM is not a clean-air rate", "0.3 to 1 um"),
    ),
    ("a rate of PM2.5", 'power = "92 W"', 'particles = "PM2.5"', (at("particles", 3), "not a clean-air rate")),
    (
        "sizes without a unit",
        'power = "92 W"',
        'particles = "0.3 to 1"',
        (at("particles", 3), "'0.3 to 1'", "two sizes"),
    ),
    ("sizes that fall", 'power = "92 W"', 'particles = "3 to 1 um"', (at("particles", 3), "the smaller first")),
    ("sizes of another kind", 'power = "92 W"', 'particles = "0.3 to 1 Pa"', (at("particles", 3), "two sizes")),
    (
        "particles in words",
        'power = "92 W"',
        'particles = "fine ones"',
        (at("particles", 3), "smoke", "dust", "pollen"),
    ),
    ("a size as a number", 'power = "92 W"', "particles = 0.3", (at("particles", 3), "read 0.3", "in quotes")),
    ("of no flow", 'power = "92 W"', 'of = "speed 3"', (at("of", 3), "'speed 3'", "none has any", "[[flow]]")),
    ("of a number", 'power = "92 W"', "of = 3", (at("of", 3), "words in quotes")),
    ("notes without quotes that are a date", 'power = "92 W"', "notes = 2026-08-21", (at("notes", 3), "in quotes")),
    ("two tables of claims", "[claims]", "[[claims]]", ("record.toml, line", "a table [claims]")),
    ("a misspelt table", "[claims]", "[claim]", ("record.toml, line", "Did you mean [claims]?")),
    ("a number for a flow's words", "static =", "of = 3\nstatic =", ("record.toml, line", "words in quotes")),
)


@pytest.mark.parametrize(("old", "new", "says"), CASES)
def test_bad_claims(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    rig.lay_out(record_toml=edited(SOUND, old, new))
    rig.refuses("record.toml", says=says)
