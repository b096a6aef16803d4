"""Records held in Python: what numpy and pandas put into them, and what no record can be."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import flowrig

HEADING = {"title": "A fan", "date": date(2026, 8, 21), "invented": True}
WATTS = {"watts": {"measures": "power", "serial": "W1", "accuracy": "1 % of reading"}}


def record(power: Any = "90 W", **more: Any) -> dict[str, Any]:
    return HEADING | {"instruments": WATTS, "electrical": {"power": power} | more}


def reduced(power: Any) -> float:
    return float(flowrig.reduce(record(power)).parts["electrical"].quantities["power"].value)


@pytest.mark.parametrize(
    "power",
    [
        pd.Series(["90 W", "91 W"]),
        np.array(["90 W", "91 W"]),
        ("90 W", "91 W"),
        {"values": np.array([90.0, 91.0]), "unit": "W"},
        {"values": pd.Series([90, 91]), "unit": "W"},
        {"values": [np.float32(90.0), np.int64(91)], "unit": "W"},
    ],
)
def test_arrays_and_columns_are_lists(power: Any) -> None:
    assert reduced(power) == pytest.approx(90.5)


def test_arrays_that_differ_far_inside_are_different_records():
    """The text of a long array leaves its middle out."""
    long = np.full(3000, 90.0) + np.tile([0.1, -0.1], 1500)
    other = long.copy()
    other[1500] += 1.0
    made = [flowrig.reduce(record({"values": x, "unit": "W"})).record for x in (long, other)]
    assert made[0].id != made[1].id


@pytest.mark.parametrize(
    ("power", "said"),
    [
        (pd.NA, "A value that is missing cannot be used"),
        (pd.NaT, "A value that is missing cannot be used"),
        (None, "A value that is missing cannot be used"),
        (["90 W", pd.NA], "electrical.power[2]"),
        (float("nan"), "missing or without bound"),
        (10**400, "missing or without bound"),
        (pd.Series([90.0, 91.0]), "Write { values = [90.0, 91.0]"),
        ({"a": "90 W"}, "read a table of a; expected values, a list of numbers, and their unit"),
        (True, "read true"),
        (pd.DataFrame({"a": [1]}), "read a 0 1; expected a power"),
        ({1: 2}, "read the key 1; expected the name of a field"),
    ],
)
def test_what_is_no_reading(power: Any, said: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        reduced(power)
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize("value", [pd.NA, pd.Series(["true power"]), {}, 3])
def test_what_is_no_choice(value: Any) -> None:
    with pytest.raises(flowrig.InputError, match=r"power_is: .*one of: true power"):
        flowrig.reduce(record(power_is=value))


def test_keys_that_are_no_words_all_in_one_report():
    bad = record() | {3: 4, None: {}}
    bad["instruments"] = {7: WATTS["watts"]}
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(bad)
    assert [str(fault).split(";")[0] for fault in caught.value.faults] == [
        "record, instruments: read the key 7",
        "record: read the key 3",
        "record: read the key None",
    ]


def test_what_holds_itself():
    for place in ("top", "inside", "list"):
        made: dict[str, Any] = record()
        if place == "top":
            made["self"] = made
        elif place == "inside":
            made["electrical"]["notes"] = made
        else:
            made["electrical"]["power"] = held = ["90 W"]
            held.append(held)  # type: ignore[arg-type]
        with pytest.raises(flowrig.InputError, match="holds itself"):
            flowrig.reduce(made)
    deep: dict[str, Any] = {}
    for _ in range(2000):
        deep = {"a": deep}
    with pytest.raises(flowrig.InputError, match="more than 40 tables in tables"):
        flowrig.reduce(record() | {"a": deep})
    # one table in two places is no such thing
    shared = {"measures": "power", "serial": "W1", "accuracy": "1 % of reading"}
    made = record() | {"instruments": {"a": shared, "b": shared | {"serial": "W2"}}}
    made["electrical"]["with"] = "a"
    assert float(flowrig.reduce(made).parts["electrical"].quantities["power"].value) == 90.0


@pytest.mark.parametrize("column", [50, "50", None])
def test_a_table_whose_columns_are_none(column: Any) -> None:
    with pytest.raises(flowrig.InputError, match="columns: a list, an array or a series each"):
        flowrig.reduce(HEADING | {"sound": {"readings": {"level [dB]": column}}})


def test_a_missing_cell_of_pandas_is_blank():
    frame = pd.DataFrame({"level [dB]": pd.array([50.0, 51.0, pd.NA]), "background [dB]": [30.0, 30.5, 30.2]})
    meter = {"meter": {"measures": "sound level", "serial": "S1", "accuracy": "0.9 dB"}}
    found = flowrig.reduce(HEADING | {"instruments": meter, "sound": {"readings": frame}})
    assert found.record.parts["sound"].section.value("level").tolist() == [50.0, 51.0]


OK = record()


@pytest.mark.parametrize(
    ("arguments", "error", "said"),
    [
        ({"source": None}, TypeError, r"source is None \(NoneType\); the path of a record"),
        ({"source": []}, TypeError, "the path of a record"),
        ({"source": pd.DataFrame({"a": [1]})}, TypeError, "the path of a record"),
        ({"samples": float("nan")}, TypeError, "samples is nan"),
        ({"samples": 2.5}, TypeError, "whole number of draws"),
        ({"samples": True}, TypeError, "whole number of draws"),
        ({"samples": 1}, ValueError, "whole number of draws"),
        ({"samples": 10**12}, ValueError, "whole number of draws"),
        ({"coverage": 2}, ValueError, "k = 2 is 0.9545"),
        ({"coverage": 0}, ValueError, "between 0 and 1"),
        ({"coverage": float("nan")}, ValueError, "between 0 and 1"),
        ({"coverage": "95 %"}, TypeError, "between 0 and 1"),
        ({"coverage": True}, TypeError, "between 0 and 1"),
        ({"seed": -1}, ValueError, "0 or more"),
        ({"seed": None}, TypeError, "0 or more"),
        ({"unit": 3}, TypeError, "a unit of flow"),
        ({"unit": "W"}, ValueError, "flow"),
    ],
)
@pytest.mark.parametrize("study", [flowrig.reduce, flowrig.predict, flowrig.room, flowrig.own])
def test_arguments(study: Any, arguments: dict[str, Any], error: type[Exception], said: str) -> None:
    with pytest.raises(error, match=said):
        study(**({"source": OK} | arguments))


def test_arguments_of_the_others():
    for study in (flowrig.calibrate, flowrig.plan):
        with pytest.raises(TypeError, match="the path of a record"):
            study(None)  # type: ignore[operator]
    with pytest.raises(TypeError, match="the path of a record"):
        flowrig.reduce_rows(3, "rows.csv")  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="a list of records"):
        flowrig.verify("box.toml", "check.toml")
    with pytest.raises(TypeError, match="the path of a calibration file"):
        flowrig.verify(None, ["check.toml"])  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="a word"):
        flowrig.explain(None)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="the path of a file"):
        flowrig.load_json(None)  # type: ignore[arg-type]
    # numpy's numbers are numbers
    found = flowrig.reduce(OK, coverage=np.float64(0.9), samples=np.int64(2000), seed=np.int32(3))
    assert found.coverage == 0.9
    with pytest.raises(flowrig.InputError):
        flowrig.reduce(Path("nowhere") / "record.toml")


@pytest.mark.parametrize(
    ("table", "field", "value", "said"),
    [
        ("sound", "distance", ["1 m", "2 m"], "No list: write number and unit in quotes, of one value alone."),
        ("sound", "distance", {"values": [1], "unit": "m"}, "No table: write number and unit in quotes"),
        ("sound", "distance", True, "true is no number: write number and unit in quotes."),
        ("sound", "place", [True], "true is no number: write the number."),
        ("sound", "place", [1.5], "read place 1.5; expected whole numbers of places"),
        ("electrical", "power", {"values": 90, "unit": "W"}, 'Write { values = [..., ...], unit = "W" }.'),
        ("electrical", "with", 3, 'Write with = "...", a name in quotes.'),
        ("", "sound_at", "a", "read 'a'; expected [[sound_at]], in double brackets"),
        (
            "",
            "sound",
            [{"level": "50 dB"}],
            "read [[sound]], in double brackets; expected a table [sound]. Write it once",
        ),
        ("", "sound", "loud", "read 'loud'; expected a table [sound]"),
    ],
)
def test_a_value_of_the_wrong_type_has_one_fault_that_says_so(table: str, field: str, value: Any, said: str) -> None:
    made = record()
    made["instruments"] = WATTS | {"meter": {"measures": "sound level", "accuracy": "1 dB"}}
    made["sound"] = {"level": ["50 dB"]}
    (made[table] if table else made)[field] = value
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(made)
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1
