"""Sound measurements that cannot be read: one fault each, with what was read, what is expected and what to do."""

from __future__ import annotations

from typing import Any

import pytest

import flowrig
from tests.studies.test_sound import dB, heard, record


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, "no level"),
        ({"level": "52"}, "sound.level"),
        ({"level": "52 W"}, "not a unit of sound level"),
        ({"level": "300 dB"}, "to 160 dB"),
        ({"level": dB(50, 51), "place": [1]}, "as many as there are levels, 2"),
        ({"level": dB(50, 51), "place": [1, 0]}, "sound.place"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "125 Hz", "250 Hz"]}, "as many as there are bands, 3"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "70 Hz"]}, "middle frequencies of octave or third-octave bands"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "63.1 Hz"]}, "one name for each band"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "63 Hz"]}, "two bands at least"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "125 Hz"], "place": [1, 2]}, "no places beside bands"),
        ({"level": dB(50, 51), "bands": ["63 Hz", "125 Hz"], "background": dB(20)}, "as many as there are bands, 2"),
        ({"level": dB(50), "surroundings": "in a room", "room_surface": "100 m2"}, "what the room does to the sound"),
        ({"level": dB(50), "room_surface": "100 m2"}, 'surroundings = "in a room" beside it'),
        ({"level": dB(50), "surroundings": "in a room", "room_surface": "100 m2", "absorption": 0.2},
         "absorption"),
        ({"level": dB(50), "surroundings": "in a room", "room_surface": "100 m2", "absorption": "0.95 ± 0.1"},
         "the upper end of its ± too"),
        ({"level": dB(50), "distance": "0 m"}, "above 0"),
        ({"level": dB(50), "grade": "precision"}, "engineering"),
        ({"level": dB(50), "microphone": "in the yet"}, 'Did you mean "in the jet"?'),
        ({"level": dB(50), "readings": {"level [dB]": [50]}}, "either a value here or a column"),
        ({"readings": "missing.csv"}, "missing.csv"),
        ({"readings": {"place": [1, 2]}}, "a column 'level'"),
        ({"readings": {"level": [50, 51]}}, "no unit"),
        ({"readings": {"level [dB]": [None, None], "background [dB]": [20, 21]}}, "no reading at all"),
        ({"readings": {"level [dB]": [50, 51], "spot": [1, 2]}}, "a column that is no field"),
        ({"readings": {"level [dB]": [50, 51], "place": [1, None]}}, "a reading in every row"),
        ({"readings": {"level [dB]": [50, 51, 52], "place": [1, 1, 2], "frequency [Hz]": [63, 125, 63]}},
         "every band as often at a place"),
        ({"readings": {"level [dB]": [50, 51, 52], "place": [1, 2, 3], "background [dB]": [20, 21, None]}},
         "at every place of the level, or at one alone"),
        ({"readings": {"level [dB]": [50, 51], "frequency [Hz]": [63, 125], "background [dB]": [20, None]}},
         "two bands at least"),
        ({"readings": {"level [dB]": [50, 51, None], "frequency [Hz]": [63, 125, 250],
                       "background [dB]": [20, 22, 21]}}, "the background in the very bands of the level"),
        ({"readings": {"level [dB]": [50, 51]}, "place": [1, 2]}, "it in the table of readings alone"),
    ],
)  # fmt: skip
def test_bad_readings(said: dict[str, Any], expected: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        heard(**said)
    assert expected in str(caught.value)
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ({"distance": "3 m"}, "no name"),
        ({"name": "desk", "distance": "-3 m"}, "sound_at[1].distance"),
        ({"name": "desk", "units": 0}, "a whole number from 1"),
        ({"name": "desk", "surroundings": "in a room", "room_surface": "100 m2"}, "what the room does"),
        ({"name": "desk", "loud": True}, "sound_at[1].loud"),
    ],
)
def test_bad_places(at: dict[str, Any], expected: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        heard([at], level=dB(50))
    assert expected in str(caught.value)


def test_places_without_a_sound():
    made = record(level=dB(50))
    del made["sound"]
    with pytest.raises(flowrig.InputError, match=r"\[\[sound_at\]\] without \[sound\]"):
        flowrig.reduce(made | {"sound_at": [{"name": "desk"}]})


@pytest.mark.parametrize(
    ("meter", "said", "expected"),
    [
        ({"accuracy": "50 dB"}, {}, "an error of no more than 20 dB"),
        ({"resolution": "50 dB"}, {}, "an error of no more than 20 dB"),
        ({}, {"level": "52 dB ± 50 dB"}, "an error of no more than 20 dB"),
        ({}, {"level": "850 dB"}, "to 160 dB"),
    ],
)
def test_decibels_that_nobody_can_mean(meter: dict[str, Any], said: dict[str, Any], expected: str) -> None:
    made = record(**({"level": dB(52, 53)} | said))
    made["instruments"]["meter"] = made["instruments"]["meter"] | meter
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(made)
    assert expected in str(caught.value)
    assert len(caught.value.faults) == 1


def test_two_places_of_one_name():
    at = [{"name": "desk", "distance": "2 m"}, {"name": " Desk", "distance": "3 m"}, {"name": "desk", "units": 2}]
    with pytest.raises(flowrig.InputError) as caught:
        heard(at, level=dB(52, 53))
    assert [fault.where for fault in caught.value.faults] == ["record, sound_at[2].name"]


def test_a_blank_row_is_one_fault_beside_those_of_other_rows():
    table = {
        "place": [1, None, 2, None],
        "frequency [Hz]": [63, None, None, 125],
        "level [dB]": [50, None, 51, 52],
    }
    with pytest.raises(flowrig.InputError) as caught:
        heard(readings=table)
    said = [str(fault).split("; expected")[0] for fault in caught.value.faults]
    assert said == [
        "sound.readings, row 3: read a blank row",
        "sound.readings, row 5, column 'place': read nothing",
        "sound.readings, row 4, column 'frequency [Hz]': read nothing",
    ]
