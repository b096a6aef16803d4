"""What a prediction shows: every line of its budget can be asked for, and text, JSON and CSV say the same."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from flowrig.report.blocks import plain
from flowrig.report.explain import explain
from flowrig.report.lines import linear_holds
from flowrig.report.predict_tables import predict_csv, predict_json
from flowrig.report.predict_text import predict_text, sweep_blocks
from flowrig.studies.predict import Predicted, predict
from flowrig.studies.reduce import load
from flowrig.studies.sweep import sweep
from tests.predicted import example
from tests.studies.cleaners import cleaner, fan, panel
from tests.test_examples import ran

ROOT = Path(__file__).parents[2]
EXAMPLES = {
    "measured": lambda: ran(ROOT / "examples/22-four-filters").result,
    "stalled": lambda: ran(ROOT / "examples/23-stalled-fan").result,
    "guessed": lambda: example(ROOT / "examples/curves/one-filter.toml"),
}
LOADED = {
    "title": "Everything that a cleaner may have",
    "date": "2026-05-14",
    "invented": True,
    "air": {"unit": {"temperature": "24 degC ± 1 degC", "pressure": "1010 hPa ± 5 hPa", "altitude": "50 m"}},
    "predict": {
        "fan": {
            "title": "Fan",
            "date": "2026-05-14",
            "fan": {
                "figures": "stated",
                "flow": ["0 m3/h", "500 m3/h", "1000 m3/h", "1500 m3/h"],
                "pressure": ["80 Pa", "64 Pa", "38 Pa", "0 Pa"],
                "power": ["90 W", "88 W", "85 W", "80 W"],
                "power_is": "electrical",
            },
        },
        "fans": 2,
        "arrangement": "side by side",
        "speed_ratio": "(90 ± 2) %",
        "backflow_area": "60 cm2 ± 20 cm2",
    },
    "filters": [
        {
            "filter": {
                "title": "Prefilter",
                "date": "2026-05-14",
                "filter": {
                    "figures": "stated",
                    "width": "500 mm ± 2 mm",
                    "height": "500 mm ± 2 mm",
                    "linear": "20 Pa ± 2 Pa",
                    "quadratic": "6 Pa ± 1 Pa",
                    "particles": "1 to 3 um",
                    "efficiency": "20 %",
                    "efficiency_velocity": "0.7 m/s",
                    "efficiency_conditioned": "(15 ± 5) %",
                },
            },
            "count": 3,
            "covered": "(5 ± 2) %",
        },
        {
            "filter": {
                "title": "Fine filter",
                "date": "2026-05-14",
                "filter": {
                    "figures": "stated",
                    "width": "500 mm",
                    "height": "500 mm",
                    "drop": ["20 Pa", "42 Pa", "70 Pa"],
                    "velocity": ["0.5 m/s", "1.0 m/s", "1.5 m/s"],
                    "particles": "1 to 3 um",
                    "efficiency": ["88 %", "80 %"],
                    "efficiency_velocity": ["0.5 m/s", "1.0 m/s"],
                    "efficiency_conditioned": "(50 ± 5) %",
                },
            },
            "count": 3,
            "stage": 2,
            "gap_area": "5 cm2 ± 3 cm2",
        },
    ],
    "losses": [{"name": "grille", "coefficient": "1.5 ± 0.5", "area": "0.2 m2 ± 2 %"}],
}


@pytest.fixture(scope="module")
def predicted() -> dict[str, Predicted]:
    return {**{name: predicted() for name, predicted in EXAMPLES.items()}, "loaded": predict(LOADED)}


@pytest.mark.parametrize("name", [*EXAMPLES, "loaded"])
def test_text_fits_80_columns(predicted: dict[str, Predicted], name: str) -> None:
    lines = predict_text(predicted[name]).splitlines()
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("  Flow ") for line in lines)


@pytest.mark.parametrize("name", [*EXAMPLES, "loaded"])
def test_every_line_of_a_budget_and_every_flag_can_be_asked_for(predicted: dict[str, Predicted], name: str) -> None:
    found = predicted[name]
    quantities = [*found.main.quantities.values(), *(q for each in found.entries for q in each.values())]
    causes = {line.cause.name for q in quantities for line in q.estimate.budget()}
    assert len(causes) > 5
    for asked in (*causes, *(f.code for f in found.findings)):
        assert explain(asked), asked


def test_all_stages_losses_and_fans_are_told(predicted: dict[str, Predicted]) -> None:
    text = predict_text(predicted["loaded"])
    for words in (
        "2 × Fan, side by side",
        "3 × Prefilter, then 3 × Fine filter",
        "grilles",
        "fan's corners",
        "stage 2",
    ):
        assert words in text
    assert "curve brought to another speed" in text


def test_either_of_two_flows_is_an_alarm_and_has_no_budget(predicted: dict[str, Predicted]) -> None:
    found = predicted["stalled"]
    text = predict_text(found)
    assert "ALARM, either of two flows" in text
    assert not linear_holds(found.flow)
    assert "Largest causes" not in text
    assert [c.stable for c in sorted(found.crossings, key=lambda c: c.place)] == [True, False, True]


@pytest.mark.parametrize("name", [*EXAMPLES, "loaded"])
def test_json_holds_what_the_text_says(predicted: dict[str, Predicted], name: str) -> None:
    found = predicted[name]
    body = json.loads(predict_json(found))
    first = body["crossings"][0]["estimates"][0]
    assert first["name"] == "flow"
    assert first["value"] == pytest.approx(float(found.flow.value))
    assert first["interval"] == pytest.approx([float(found.flow.low), float(found.flow.high)])
    assert len(body["filters"]) == len(found.entries)
    assert {f["code"] for f in body["flags"]} == {f.code for f in found.findings}
    assert (body["sweep"] is None) == (found.swept is None)


def test_csv_has_a_line_a_design(predicted: dict[str, Predicted]) -> None:
    found = predicted["measured"]
    assert found.swept is not None
    rows = list(csv.DictReader(io.StringIO(predict_csv(found))))
    assert [row["count"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    for k, row in enumerate(rows):
        assert float(row["flow [m3/h]"]) == pytest.approx(float(found.swept.quantities["flow"].value[k]), rel=1e-9)
        assert float(row["flow low [m3/h]"]) < float(row["flow [m3/h]"]) < float(row["flow high [m3/h]"])


def test_csv_without_a_sweep_has_a_line_a_quantity(predicted: dict[str, Predicted]) -> None:
    found = predicted["guessed"]
    rows = list(csv.DictReader(io.StringIO(predict_csv(found))))
    assert len(rows) == len(found.main.quantities) + sum(map(len, found.entries))
    assert float(rows[0]["value"]) == pytest.approx(float(found.flow.value), rel=1e-9)


def test_a_gain_is_told_from_the_next_lower_number_whatever_the_order():
    bank = {"filter": panel(linear="38 Pa ± 4 Pa", quadratic="14 Pa ± 3 Pa"), "count": 2}
    swept = sweep(load(cleaner(bank, fan=fan()) | {"sweep": {"count": [2, 1, 4]}}))
    said = plain(sweep_blocks(swept, 0.95)).partition("Gained in flow by more filters")[2]
    told = [line.split(":")[0].strip() for line in said.splitlines() if "±" in line]
    assert sorted(told) == ["1 to 2", "2 to 4"]
