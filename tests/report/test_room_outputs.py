"""A room as text, JSON and CSV."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from flowrig.report.explain import explain
from flowrig.report.room_options_text import ranged
from flowrig.report.room_tables import COLUMNS, room_csv, room_json
from flowrig.report.room_text import alarms, room_text
from flowrig.studies.room import RoomResult, room
from tests.studies import rooms
from tests.studies.test_building import DUCTS


@pytest.fixture(scope="module")
def told() -> RoomResult:
    """Everything that a record of a room may hold."""
    unit = rooms.unit("four-filter box-fan cleaner", "420 m3/h ± 40 m3/h", power="70 W ± 3 W", sound="52 dB ± 2 dB",
                      sound_distance="1.5 m")  # fmt: skip
    wide = {"volume": "180 m3 ± 6 m3", "infiltration": None, "penetration": None, "deposition": None, "mixing": None,
            "outdoor_concentration": "150 ug/m3 ± 30 ug/m3", "persons": "28 ± 2",
            "most_units": 3, "combustion": None}  # fmt: skip
    return room(
        rooms.room(unit, rooms.unit("small one", "90 m3/h ± 20 m3/h", count=1), room=wide, duct=DUCTS,
                   per_person_target={"guidance": "classroom, ASHRAE 241-2023"},
                   air_change_target={"guidance": "occupied space, CDC 2023"},
                   concentration_target=rooms.smoke("25 ug/m3")),
        samples=2000,
    )  # fmt: skip


def test_the_text_stays_within_its_width(told: RoomResult) -> None:
    text = room_text(told)
    assert max(map(len, text.splitlines())) <= 80
    for words in (
        "Invented readings", "Guidance on infection: air changes of clean air",
        "Guidance on infection: clean air for each",
        "Guidance on infection: air changes or air for each person, whichever takes more",
            "Level of particles in the room",
        "It says nothing about smoke.",
        "It says nothing about infection.", "from memory", "infiltration = 0.6 1/h ± 0.5 1/h",
        "not achievable with at most 3",
        "What is needed hangs on", "What can be done", "minutes to the target level", "Not a medical device",
        "Particles only: no gases, no carbon monoxide, no radon", "nor is it a certified rating", "local code",
        "ozone generators", "flue gas",
    ):  # fmt: skip
        assert words in " ".join(text.split()), words
    assert alarms(told)
    assert all(line.startswith("ALARM, ") for line in alarms(told))
    assert any("more units than allowed" in line for line in alarms(told))


def test_the_json_holds_its_contract(told: RoomResult) -> None:
    body = json.loads(room_json(told))
    assert body["contract"] == 2
    assert [t["kind"] for t in body["targets"]] == ["air changes", "per person", "larger of two", "concentration"]
    assert [t["about_smoke"] for t in body["targets"]] == [False, False, False, True]
    assert [t["about_infection"] for t in body["targets"]] == [True, True, True, False]
    assert body["targets"][1]["guidance"]["status"] == "from memory"
    for target in body["targets"]:
        assert [case["ducts"] for case in target["cases"]] == ["as it is", "with the duct filter"]
        for case in target["cases"]:
            assert case["needed"]["interval"][0] <= case["needed"]["value"] <= case["needed"]["interval"][1]
            for units in case["units"]:
                assert units["confidence"] == pytest.approx(0.975)
                assert len(units["numbers"]) == len(units["probability"]) == len(units["reached"]["value"])
                assert units["probability"] == sorted(units["probability"])
    names = {o["title"] for o in body["options"]}
    assert {"nothing added", "duct filter", "1 × small one"} <= names
    for option in body["options"]:
        curve = option["level_over_time"]
        assert len(curve["value"]) == len(body["times_si"]) == 73
        assert all(low <= x <= high for low, x, high in zip(curve["low"], curve["value"], curve["high"], strict=True))
    assert body["options"][0]["minutes_to_target"]["value"] is None  # never
    assert body["options"][0]["minutes_to_target"]["never"] == 1.0
    assert {f["field"] for f in body["assumed"]} >= {"room.infiltration", "room.penetration", "room.deposition"}
    assert all(caution["source"] for caution in body["cautions"])


def test_the_csv_has_a_line_a_number(told: RoomResult) -> None:
    lines = list(csv.DictReader(io.StringIO(room_csv(told))))
    assert tuple(lines[0]) == COLUMNS
    needed = [line for line in lines if line["quantity"] == "needed"]
    assert [(line["about"], line["ducts"]) for line in needed] == [
        (kind, ducts) for kind in ("air changes", "per person", "larger of two", "concentration")
        for ducts in ("as it is", "with the duct filter")
    ]  # fmt: skip
    levels = [line for line in lines if line["about"] == "level over time"]
    assert len(levels) == 73 * len(told.options)
    assert {line["unit"] for line in levels} == {"ug/m3"}
    assert float(levels[72]["minutes"]) == 240.0
    [time] = [line for line in lines if line["of"] == "nothing added" and line["quantity"] == "time to target"]
    assert time["value"] == "never"
    assert float(time["probability"]) == 0.0
    answers = [line for line in lines if line["quantity"] == "answer"]
    assert [(line["about"], line["ducts"]) for line in answers] == [(line["about"], line["ducts"]) for line in needed]
    assert [line["words"] for line in answers] == [a["answer"] for a in json.loads(room_json(told))["answers"]]
    text = re.sub(r"-\s+", "-", " ".join(room_text(told).split()).casefold())  # words are broken at their hyphens
    assert [line["words"] for line in (*answers, *needed) if line["words"].casefold() not in text] == []
    labels = {line["words"] for line in lines if line["about"] == "option" and line["quantity"] == "level"}
    assert labels == {"level, once steady"}
    for line in (x for x in lines if x["quantity"] == "number of units" and x["about"] == "concentration"):
        case = told["concentration"].cases[["as it is", "with the duct filter"].index(line["ducts"])]
        [found] = [x for x in case.units if x.name == line["of"]]
        assert line["units"] == (str(found.sure) if found.allowed else "")
    reached = [line for line in lines if line["about"] == "concentration" and line["quantity"] == "level"
               and line["ducts"] == "as it is" and line["of"] == "small one"]  # fmt: skip
    assert [int(line["units"]) for line in reached] == [0, 1, 2, 3]
    value, low, high = (float(reached[1][name]) for name in ("value", "low", "high"))
    assert low < value < high


# Source: 28 times 30 cfm; the foot of 0.3048 m.
@pytest.mark.recomputed
def test_what_is_known_exactly_has_no_bar_and_no_digits_of_one() -> None:
    persons = {"persons": 28}
    target = {"per_person": "30 cfm", "source": "a test"}
    text = room_text(room(rooms.room(rooms.unit(), room=persons, per_person_target=target), samples=1000, unit="cfm"))
    assert "units have to give: 840 cfm\n" in text
    assert "    in other units 1427 m3/h, 396.4 L/s\n" in text


@pytest.mark.parametrize(
    ("numbers", "shown"),
    [
        ((72.2, 46.8, 104.9), "72 [47 to 105]"),
        ((5.0, 5.0, 5.0), "5"),
        ((float("nan"), 1.0, 2.0), "-"),
        ((99.82, 91.41, 110.3), "99.8 [91.4 to 110.3]"),
        ((23.412, 12.118, float("inf")), "23.4 [12.1 to never]"),
        ((float("inf"), 26.7712, float("inf")), "never [26.8 to never]"),
        ((100.0, 99.999, 100.001), "100"),
        ((0.0, 0.0, 0.0), "0"),
    ],
)
def test_a_value_with_its_ends(numbers, shown):
    assert ranged(*numbers) == shown


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("room", "counts as one"),
        ("concentration_target", "says nothing about infection"),
        ("per_person_target", "says nothing about smoke"),
        ("duct.return_leakage", "leaked in"),
        ("not achievable in a well-mixed room", "own judgement, no source"),
        ("perfect mixing assumed", "a decay in the room itself"),
        ("mass emission", "mg/h"),
    ],
)
def test_explained(name, words):
    assert words in " ".join(explain(name).split())
