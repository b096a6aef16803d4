"""A record held in Python may hold its tables too, in place of the names of their files."""

from __future__ import annotations

import copy
import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import flowrig
from flowrig.errors import InputError

READINGS = [99.8, 100.4, 100.1, 99.6, 100.2]


def record(log: object) -> dict:
    return {
        "title": "Invented",
        "date": dt.date(2026, 8, 21),
        "air": {"meter": {"temperature": "22 degC ± 0.3 degC", "pressure": "990 hPa ± 1 hPa",
                          "relative_humidity": "(41 ± 3) %"}},
        "instruments": {"manometer": {"measures": "pressure difference", "accuracy": "0.5 % of reading + 0.25 Pa"}},
        "nozzles": {"A": {"diameter": "150 mm ± 0.15 mm"}},
        "flow": [{"method": "nozzle", "open": ["A"], "log": log}],
    }  # fmt: skip


def test_columns_and_frames_reduce_as_their_file_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    columns = {"drop [Pa]": np.array(READINGS)}
    (tmp_path / "log.csv").write_text("drop [Pa]\n" + "".join(f"{value}\n" for value in READINGS), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    by_file, by_columns, by_frame = (
        flowrig.reduce(record(log)).flow for log in ("log.csv", columns, pd.DataFrame(columns))
    )
    for flow in (by_columns, by_frame):
        assert float(flow.estimate.value) == float(by_file.estimate.value)
        assert float(flow.estimate.u) == pytest.approx(float(by_file.estimate.u), rel=1e-12)


def test_the_record_handed_in_is_left_alone_and_known_by_its_readings():
    first = record({"drop [Pa]": READINGS})
    before = copy.deepcopy(first)
    one, same = flowrig.reduce(first), flowrig.reduce(first)
    other = flowrig.reduce(record({"drop [Pa]": [*READINGS[:-1], 100.3]}))
    assert first == before
    assert one.record.id == same.record.id != other.record.id


def test_a_table_in_memory_gets_the_checks_of_a_file():
    with pytest.raises(InputError, match="columns of one length"):
        flowrig.reduce(record({"drop [Pa]": READINGS, "note": ["", ""]}))
    with pytest.raises(InputError, match="a reading in every row"):
        flowrig.reduce(record({"drop [Pa]": [*READINGS, None], "note": ["kept"] * 6}))
    with pytest.raises(InputError, match="furlong"):
        flowrig.reduce(record({"drop [furlong]": READINGS}))
