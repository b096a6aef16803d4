"""Findings of a test that a room repeats: those of the rate it takes, and one line for the rest."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from flowrig.records.declare import Finding
from flowrig.records.sizes import read_sizes
from flowrig.studies import cleaner, electrical, room_decay_flags, room_flags, size_classes
from flowrig.studies.rate_findings import of_the_rate, predicted_of_the_rate
from flowrig.studies.room import room as study
from tests.studies.decays import ALL, decays
from tests.studies.rooms import room

SIZES = read_sizes("0.3 to 1 um")


def reduced(**parts):
    """A reduced test of which only findings are looked at."""
    instruments = {"SL": SimpleNamespace(name="SL", kind="sound level"), "DM": SimpleNamespace(name="DM", kind="drop")}
    held = {name: SimpleNamespace(findings=findings) for name, findings in parts.items() if name != "whole"}
    whole = parts.get("whole", [])
    everything = [f for part in held.values() for f in part.findings] + whole
    record = SimpleNamespace(name="test.toml", instruments=instruments)
    return SimpleNamespace(record=record, findings=whole, parts=held, flows=[], together=[], all_findings=everything)


def told(part, **parts):
    found = of_the_rate(reduced(**parts), "a cleaner", part, SIZES)
    return [(f.code, f.message) for f in found]


POINTER = ("more said by its test", "a cleaner: 1 further warning, not about this rate; flowrig reduce test.toml")


@pytest.mark.parametrize(
    ("part", "meaning", "message", "of"),
    [
        ("electrical", electrical.UPPER_BOUND, "92.8 W", "particles"),
        ("decay", room_decay_flags.FLOOR_OFF, "on, 0.3 to 0.5 um: 3", "particles"),  # the rate is not by decay
        ("particles", size_classes.UPPER_BOUND, "no step of loading", "particles"),  # of a class
        ("decay", room_decay_flags.FLOOR_OFF, "on, 1 to 2.5 um: 3", "decay"),  # of other sizes
        ("decay", room_decay_flags.CHANNEL_LEFT_OUT, "from 10 um: no fall", "decay"),
        ("whole", room_decay_flags.FLOOR_OFF, "SL: calibrated long ago", "decay"),  # of an instrument for decibels
    ],
)
def test_what_is_not_about_the_rate_is_a_line_alone(part, meaning, message, of):
    assert told(of, **{part: [Finding(meaning, message)]}) == [POINTER]


@pytest.mark.parametrize(
    ("part", "message", "kept"),
    [
        ("decay", "on, 0.3 to 0.5 um: 3", "on, 0.3 to 0.5 um: 3"),
        ("decay", "on, 1 to 2.5 um: 3; off, 0.5 to 1 um: 4", "off, 0.5 to 1 um: 4"),
        ("decay", "windows open", "windows open"),
        ("whole", "DM: calibrated long ago", "DM: calibrated long ago"),
        ("whole", "DM and SL: calibrated long ago", "DM and SL: calibrated long ago"),
    ],
)
def test_what_is_about_the_rate_stays(part, message, kept):
    found = told("decay", **{part: [Finding(room_decay_flags.FLOOR_OFF, message)]})
    assert found == [(room_decay_flags.FLOOR_OFF.code, f"a cleaner: {kept}")]


def test_who_reckons_with_watts_hears_of_them():
    found = reduced(electrical=[Finding(electrical.UPPER_BOUND, "92.8 W")], sound=[])
    [said] = of_the_rate(found, "a cleaner", "particles", SIZES, also=("electrical",))
    assert (said.code, said.message) == (electrical.UPPER_BOUND.code, "a cleaner: 92.8 W")


def test_a_prediction_repeats_no_warning_of_watts():
    watts, flow = Finding(cleaner.POWER_AT_SPEED, "x"), Finding(cleaner.PARALLEL_DIP, "y")
    found = predicted_of_the_rate([watts, flow, Finding(cleaner.HOT, "z")], "a cleaner", "two.toml")
    assert [(f.code, f.message) for f in found] == [
        (flow.code, "a cleaner: y"),
        ("more said by its test", "a cleaner: 1 further warning, not about this rate; flowrig predict two.toml"),
    ]
    both = predicted_of_the_rate([watts, flow], "a cleaner", "two.toml", also=("electrical",))
    assert [f.code for f in both] == [watts.code, flow.code]


def test_the_note_is_one():
    assert room_flags.MORE_IN_TEST.severity == "note"
    assert told("decay") == []


def test_a_room_of_a_whole_test_repeats_what_is_of_its_sizes():
    record = decays(channels=ALL)
    record["electrical"] = {"power": ["100 W ± 1 W"], "power_is": "volts times amperes"}
    tried = {"name": "tried", "test": record, "particles": "0.3 to 0.5 um", "count": 1}
    found = study(room(tried, room={"mixing": None}), samples=1000)
    of_test = {f.code for f in found.sorts["tried"].of.parts["electrical"].findings if f.severity != "note"}
    assert of_test
    assert not of_test & {f.code for f in found.findings}
    assert "more said by its test" in {f.code for f in found.findings}
