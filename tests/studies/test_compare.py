"""Several measurements of one flow in a record: what is said of each pair, when they are combined, and to what."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.report.as_csv import result_csv
from flowrig.report.as_json import result_json
from flowrig.report.text import result_text
from flowrig.studies.result import CONTRACT, Result
from flowrig.uncertainty.interval import coverage_factor
from tests.cli.rig import Rig, edited
from tests.studies.records import nozzle

SECOND = {"name": "B", "method": "nozzle", "open": ["B"], "static": "0 Pa"}


def two(drop: str, **more: Any) -> dict[str, Any]:
    """Nozzles A and B in line, one manometer; B shows the flow of A at 1271 Pa."""
    record = nozzle(name="A")
    record["flow"].append({**SECOND, "drop": drop, **more})
    return record


def codes(result: Result) -> set[str]:
    return {f.code for f in result.findings}


def verdicts(result: Result) -> list[str]:
    return [pair.comparison.verdict for held in result.together for pair in held.pairs]


def test_one_measurement_is_held_against_nothing() -> None:
    assert flowrig.reduce(nozzle()).together == []


@pytest.mark.parametrize(
    ("drop", "verdict", "code"),
    [("1271 Pa", "agree", ""), ("1290 Pa", "cannot tell", "cannot tell"), ("1500 Pa", "disagree", "methods disagree")],
)
def test_two_nozzles_on_one_manometer(drop: str, verdict: str, code: str) -> None:
    result = flowrig.reduce(two(drop))
    [held] = result.together
    [pair] = held.pairs
    assert pair.comparison.verdict == verdict
    assert (held.combined is not None) is (verdict == "agree")
    assert {"methods disagree", "cannot tell"} & codes(result) == ({code} if code else set())
    a, b = (flow["standard_flow"].estimate for flow in result.flows)
    assert pair.difference.estimate.value == pytest.approx(float(a.value - b.value), rel=1e-12)
    shared = float(a.u) ** 2 + float(b.u) ** 2 - float(pair.difference.estimate.u) ** 2
    assert shared == pytest.approx(2 * float(a.cov(b)), rel=1e-6)
    assert pair.comparison.e_n == pytest.approx(
        float(a.value - b.value) / float(coverage_factor(0.95)) / float(pair.difference.estimate.u), rel=1e-6
    )
    text = result_text(result)
    assert f": {verdict}\n" in text
    assert ("Nothing is combined" in text) is (verdict != "agree")
    assert ("Combined " in text) is (verdict == "agree")


def test_the_combined_flow_lies_between_two_that_agree_and_keeps_what_they_share() -> None:
    result = flowrig.reduce(two("1266 Pa"))
    [held] = result.together
    masses = [flow["mass_flow"].estimate for flow in result.flows]
    combined = held.quantities["mass_flow"].estimate
    assert min(float(m.value) for m in masses) < float(combined.value) < max(float(m.value) for m in masses)
    # the coefficient's error is one and the same in both nozzles: it does not average out
    method = next(c for c in combined.parts if c.id == "method:nozzle:coefficient")
    share = np.abs(combined.parts[method][0] / combined.value)
    assert share == pytest.approx(0.012 / 1.96, rel=1e-3)
    assert float(combined.u) < min(float(m.u) for m in masses)
    assert float(combined.u) > 0.98 * share * float(combined.value)
    assert held.combined is not None
    assert np.sum(held.combined.weights) == pytest.approx(1.0)
    density = result.flows[0].densities["meter"].value
    assert held.main.estimate.value == pytest.approx(float(combined.value / density), rel=1e-12)


# Source: R. W. Peelle's puzzle (1987, from memory), here with a manometer known to 40 % and nozzles to 3 % of the flow.
@pytest.mark.recomputed
def test_a_shared_gain_does_not_drag_the_combined_flow_below_both() -> None:
    record = two("1400 Pa")
    record["instruments"]["manometer"]["accuracy"] = "u = 40 % of reading"
    for name in ("A", "B"):
        record["nozzles"][name] |= {"made": "home-made", "coefficient_limit": "5 %"}
    result = flowrig.reduce(record)
    [held] = result.together
    masses = [flow["mass_flow"].estimate for flow in result.flows]
    values = np.array([float(m.value) for m in masses])
    naive = np.array([[float(a.cov(b)) for b in masses] for a in masses])
    weights = np.linalg.solve(naive, np.ones(2))
    assert weights @ values / np.sum(weights) < min(values)
    assert min(values) < float(held.quantities["mass_flow"].estimate.value) < max(values)


def test_the_same_readings_twice_are_worth_one() -> None:
    record = nozzle(name="A")
    record["flow"].append({**record["flow"][0], "name": "again"})
    result = flowrig.reduce(record)
    [held] = result.together
    assert verdicts(result) == ["agree"]
    single = result.flows[0]["mass_flow"].estimate
    assert held.quantities["mass_flow"].estimate.value == pytest.approx(float(single.value), rel=1e-12)
    assert held.quantities["mass_flow"].estimate.u == pytest.approx(float(single.u), rel=1e-4)


def test_three_measurements_one_of_them_off() -> None:
    record = two("1271 Pa")
    record["flow"].append({**SECOND, "name": "C", "drop": "1500 Pa"})
    result = flowrig.reduce(record)
    [held] = result.together
    assert verdicts(result) == ["agree", "disagree", "disagree"]
    assert held.combined is None
    assert held.why_not == "A and C disagree; B and C disagree"
    assert [f.message for f in result.findings if f.code == "methods disagree"] == [
        "A and C disagree",
        "B and C disagree",
    ]


def test_measurements_of_different_things_are_kept_apart() -> None:
    record = two("1271 Pa", of="speed 2")
    record["flow"][0]["of"] = "speed 2"
    record["flow"].append({**SECOND, "name": "C", "drop": "700 Pa", "of": "speed 1"})
    result = flowrig.reduce(record)
    [held] = result.together
    assert (held.of, held.names, held.name) == ("speed 2", ["A", "B"], "combined, speed 2")
    assert verdicts(result) == ["agree"]


def test_a_flow_round_zero_is_said_not_to_be_combined() -> None:
    record = two("0.004 Pa")
    record["flow"][0]["drop"] = "-0.001 Pa"
    result = flowrig.reduce(record)
    [held] = result.together
    assert verdicts(result) == ["agree"]
    assert held.combined is None
    assert "of both signs" in held.why_not
    assert "not combined" in codes(result)


def test_unnamed_measurements_get_names_of_their_own() -> None:
    record = nozzle()
    record["flow"] = [dict(record["flow"][0]) for _ in range(3)]
    names = [flow.name for flow in flowrig.reduce(record).flows]
    assert names == ["Nozzles in a chamber", "Nozzles in a chamber (2)", "Nozzles in a chamber (3)"]


def test_rows_are_said_not_to_be_compared() -> None:
    result = flowrig.reduce_rows(two("1271 Pa"), {"flow[1].drop [Pa]": [250.0, 240.0]})
    assert result.together == []
    assert "not compared in rows" in codes(result)


def test_json_and_csv_hold_it_and_json_loads_back_correlated(tmp_path: Path) -> None:
    result = flowrig.reduce(two("1271 Pa"))
    body = json.loads(result_json(result))
    assert body["contract"] == CONTRACT == 2
    [held] = body["together"]
    assert held["pairs"][0]["verdict"] == "agree"
    assert sum(held["weights"].values()) == pytest.approx(1.0)
    path = tmp_path / "result.json"
    path.write_text(result_json(result), encoding="utf-8")
    stored = flowrig.load_json(path)
    combined = result.together[0].quantities["mass_flow"].estimate
    assert stored["combined"]["mass_flow"].u == pytest.approx(float(combined.u), rel=1e-9)
    assert stored["combined"]["mass_flow"].cov(stored["A"]["mass_flow"]) == pytest.approx(
        float(combined.cov(result.flows[0]["mass_flow"].estimate)), rel=1e-9
    )
    lines = result_csv(result).splitlines()
    assert sum(line.startswith("A - B,difference,") for line in lines) == 1
    assert sum(line.startswith("combined,mass_flow,") for line in lines) == 1
    old = body | {"contract": 1}
    del old["together"]
    path.write_text(json.dumps(old), encoding="utf-8")
    assert set(flowrig.load_json(path)) == {"A", "B"}


def test_coverage_reaches_the_verdict() -> None:
    wide, narrow = (flowrig.reduce(two("1273 Pa"), coverage=p).together[0].pairs[0].comparison for p in (0.99, 0.5))
    assert wide.e_n / narrow.e_n == pytest.approx(0.67449 / 2.57583, rel=1e-4)


def test_bad_words(tmp_path: Path) -> None:
    from tests.cli.rig import RECORD

    rig = Rig(tmp_path)
    rig.lay_out(record_toml=edited(RECORD, 'method = "nozzle"', 'method = "nozzle"\nof = 3'))
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert "flow[1].of" in err
