"""Inlets from still air: whole records against isentropic flow, what is refused, what is flagged, what is in the
budget."""

from __future__ import annotations

import math
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.studies.result import FlowResult
from tests.cli.rig import Rig, edited, named
from tests.reference.load import rows
from tests.studies.records import nozzle

INLET = {
    "diameter": "200 mm ± 0.5 mm",
    "coefficient": "0.97 ± 0.02",
    "expansion": "apart",
    "tapping": "as calibrated",
    "serial": "I1",
}
AREA = math.pi / 4 * 0.2**2


def inlet(piece: dict[str, Any] | None = None, **flow: Any) -> dict[str, Any]:
    """A sound record; `piece` replaces fields of the inlet, None takes one away, keywords replace those of the flow."""
    record = nozzle()
    del record["nozzles"]
    fields = deepcopy(INLET) | (piece or {})
    record["inlets"] = {"A": {name: value for name, value in fields.items() if value is not None}}
    record["flow"] = [{"method": "inlet", "inlet": "A", "drop": "85 Pa", "clear_distance": "1.5 m", **flow}]
    return record


def reduced(record: dict[str, Any]) -> FlowResult:
    return flowrig.reduce(record).flows[0]


def codes(flow: FlowResult) -> set[str]:
    return {f.code for f in flow.findings}


def mass_flow(record: dict[str, Any]) -> float:
    return float(reduced(record)["mass_flow"].estimate.value)


def budget(flow: FlowResult) -> dict[str, float]:
    """Standard uncertainty by cause, over the flow."""
    value = float(flow["mass_flow"].estimate.value)
    return {line.cause.name: float(line.u) / value for line in flow["mass_flow"].estimate.budget()}


# ---- the flow


# Source: isentropic nozzle at beta = 0, k = 1.4 (plenum_expansibility.csv, recomputed); mass flow C Y A sqrt(2 dp rho).
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("plenum_expansibility.csv"), ids=lambda row: row["dp_Pa"])
def test_a_whole_record_follows_isentropic_flow(row: dict[str, str]) -> None:
    drop = float(row["dp_Pa"])
    flow = reduced(inlet(drop=f"{drop} Pa"))
    density = float(flow.air["meter"]["density"].value)
    incompressible = 0.97 * AREA * math.sqrt(2 * drop * density)
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(
        incompressible * float(row["eps_nozzle_beta0"]), rel=1e-9
    )
    assert mass_flow(inlet({"expansion": "included"}, drop=f"{drop} Pa")) == pytest.approx(incompressible, rel=1e-12)


# Source: Bernoulli's equation by hand. 20 degC, 101325 Pa, 50 %: 1.1993 kg/m3 (CIPM-2007), 85 Pa are 11.906 m/s.
@pytest.mark.recomputed
def test_by_hand() -> None:
    flow = reduced(inlet())
    velocity = math.sqrt(2 * 85 / 1.1993)
    assert velocity == pytest.approx(11.906, abs=5e-4)
    expected = 0.97 * velocity * 0.0314159 * (1 - 0.5357 * 85 / 101325)
    assert float(flow["actual_flow_meter"].estimate.value) == pytest.approx(expected, rel=1e-4)


def test_the_summary_is_enough_to_check_the_flow() -> None:
    flow = reduced(inlet())
    said = dict(part.rsplit(" ", 1) for part in flow.summary.removesuffix(".").split(", ") if part[-1].isdigit())
    assert flow.summary.startswith("drop 85 Pa, throat of 200 mm, coefficient 0.97, expansibility 0.99955, ")
    density = float(flow.air["meter"]["density"].value)
    again = 0.97 * float(said["expansibility"]) * AREA * math.sqrt(2 * 85 / density)
    assert float(flow["actual_flow_meter"].estimate.value) == pytest.approx(again, rel=1e-5)
    reynolds = 4 * density * again / (math.pi * 0.2 * float(flow.air["meter"]["viscosity"].value))
    assert float(said["Reynolds"]) == pytest.approx(reynolds, rel=1e-5)
    assert "not applied" in reduced(inlet({"expansion": "included"})).summary


def test_density_is_that_of_the_still_air() -> None:
    flow = reduced(inlet(drop="5000 Pa"))
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(
        float(flow["actual_flow_meter"].estimate.value) * float(flow.air["meter"]["density"].value), rel=1e-12
    )


def test_flow_goes_as_the_root_of_drop_and_as_area() -> None:
    assert mass_flow(inlet(drop="340 Pa")) / mass_flow(inlet()) == pytest.approx(2, rel=1.5e-3)  # less the expansion
    assert mass_flow(inlet({"diameter": "400 mm ± 1 mm"})) == pytest.approx(4 * mass_flow(inlet()), rel=1e-12)


def test_a_reversed_drop_reverses_the_flow() -> None:
    there, back = (mass_flow(inlet(drop=f"{d} Pa ± 90 Pa")) for d in (0.5, -0.5))
    assert there == pytest.approx(-back, rel=1e-12)


def test_rows_are_single_reductions() -> None:
    drops = [120.0, 85.0, 12.0, -4.0]
    for piece in ({}, {"expansion": None}):
        result = flowrig.reduce_rows(inlet(piece), {"drop [Pa]": drops})
        for i, drop in enumerate(drops[:3]):
            one = reduced(inlet(piece, drop=f"{drop} Pa"))["mass_flow"].estimate
            row = result.flows[0]["mass_flow"].estimate
            assert float(row.value[i]) == pytest.approx(float(one.value), rel=1e-9)
            assert float(row.u[i]) == pytest.approx(float(one.u), rel=1e-6)
    raised = {f.code: f.rows for f in result.flows[0].findings if f.rows is not None}
    assert raised["low Reynolds number of an inlet"].tolist() == [False, False, True, True]
    assert raised["reversed"].tolist() == [False, False, False, True]


# ---- the error bar


def test_a_stated_coefficient_is_the_inlets_own_wherever_it_is_used() -> None:
    one, other = (reduced(inlet({"serial": s}))["mass_flow"].estimate for s in ("I1", "I1"))
    assert {c.id for c in one.parts if "coefficient" in c.id} == {c.id for c in other.parts if "coefficient" in c.id}
    third = reduced(inlet({"serial": "I2"}))["mass_flow"].estimate
    assert not {c.id for c in third.parts if "coefficient" in c.id} & {c.id for c in one.parts}
    assert budget(reduced(inlet()))["coefficient of A"] == pytest.approx(0.02 / 0.97 / math.sqrt(3), rel=1e-9)
    stated = budget(reduced(inlet({"coefficient": "0.97 ± 0.02 (k=2)"})))
    assert stated["coefficient of A"] == pytest.approx(0.01 / 0.97, rel=1e-9)
    assert stated["diameter of A"] == pytest.approx(2 * 0.5 / 200 / math.sqrt(3), rel=1e-6)


@pytest.mark.parametrize("drop", [85, 2000])
def test_expansion_not_stated_is_the_middle_give_or_take_half(drop: int) -> None:
    said = {word: mass_flow(inlet({"expansion": word}, drop=f"{drop} Pa")) for word in ("apart", "included")}
    flow = reduced(inlet({"expansion": None}, drop=f"{drop} Pa"))
    value = float(flow["mass_flow"].estimate.value)
    assert value == pytest.approx(sum(said.values()) / 2, rel=1e-12)
    half = (said["included"] - said["apart"]) / 2 / value
    name = "expansion in the coefficient or not"
    assert budget(flow)[name] == pytest.approx(half / math.sqrt(3), rel=1e-9)
    assert name not in budget(reduced(inlet()))


# Source: slope 7/sqrt(Re) of the chamber nozzle's coefficient (ISO 5801, read); that it fits an inlet: no source.
@pytest.mark.parametrize(("drop", "least"), [(2, None), (2, 60_000), (0.5, None)])
def test_below_its_reynolds_number_the_limit_of_the_coefficient_grows(drop: float, least: int | None) -> None:
    flow = reduced(inlet({"least_reynolds": least}, drop=f"{drop} Pa ± 0.1 Pa"))
    reynolds = float(flow.diagnostics["reynolds"].reshape(-1)[0])
    limit = 7 / math.sqrt(reynolds) - 7 / math.sqrt(least or 100_000)
    assert limit > 0
    assert budget(flow)["coefficient below its Reynolds number"] == pytest.approx(limit / math.sqrt(3), rel=1e-6)
    assert "coefficient below its Reynolds number" not in budget(reduced(inlet()))
    assert "coefficient below its Reynolds number" not in budget(reduced(inlet({"least_reynolds": 20_000})))


def test_as_little_air_as_none_has_a_finite_bar() -> None:
    flow = reduced(inlet(drop="0 Pa ± 1 Pa"))
    assert np.isfinite(flow.main.low)
    assert flow.main.low < 0 < flow.main.high
    assert "below noise" in codes(flow)


# ---- flags


def test_a_sound_record_raises_nothing_about_its_inlet() -> None:
    found = codes(reduced(inlet(drop=["85 Pa", "85.4 Pa", "84.8 Pa", "85.1 Pa", "85 Pa"])))
    assert not {flag for _, flag, _, _ in CASES} & found
    assert found == {"leakage not stated", "altitude not stated", "shape"}


CASES: list[tuple[str, str, dict[str, Any], dict[str, Any]]] = [
    ("low coefficient", "unlikely inlet coefficient", {"coefficient": "0.8 ± 0.02"}, {}),
    ("coefficient above one", "unlikely inlet coefficient", {"coefficient": "1.05 ± 0.02"}, {}),
    ("slow air", "low Reynolds number of an inlet", {}, {"drop": "30 Pa"}),
    ("slow for its coefficient", "low Reynolds number of an inlet", {"least_reynolds": 300_000}, {}),
    ("no tapping", "tapping of the inlet not stated", {"tapping": None}, {}),
    ("another tapping", "tapping not that of the coefficient", {"tapping": "elsewhere"}, {}),
    ("a wall in front", "inlet obstructed", {}, {"clear_distance": "590 mm"}),
    ("on the floor", "inlet obstructed", {}, {"clear_distance": "0 mm"}),
    ("nothing said", "surroundings of the inlet not stated", {}, {"clear_distance": None}),
    ("no ±", "opening without ±", {"diameter": "200 mm"}, {}),
    ("kPa for Pa", "large drop", {}, {"drop": "10.2 kPa"}),
]
CLEAR = {"drop": "42 Pa", "clear_distance": "610 mm"}  # nearly as bad, and yet not


@pytest.mark.parametrize(("flag", "piece", "flow"), named(*CASES))
def test_flags(flag: str, piece: dict[str, Any], flow: dict[str, Any]) -> None:
    record = inlet(piece, **flow)
    record["flow"][0] = {name: value for name, value in record["flow"][0].items() if value is not None}
    assert flag in codes(reduced(record))
    assert flag not in codes(reduced(inlet({"least_reynolds": 90_000}, **CLEAR)))
    assert flag not in codes(reduced(inlet({"coefficient": "0.91 ± 0.02"}, drop="10 kPa")))


def test_the_assumed_reynolds_number_is_said_to_be_assumed() -> None:
    for least, assumed in ((None, True), (200_000, False)):
        flow = reduced(inlet({"least_reynolds": least}, drop="30 Pa"))
        [said] = [f.message for f in flow.findings if f.code == "low Reynolds number of an inlet"]
        assert ("assumed" in said) is assumed


# ---- bad input

RECORD = """title = "Duct with a bell-mouth"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "1000 hPa ± 1 hPa"
relative_humidity = "50 % ± 3 %"
[instruments.manometer]
measures = "pressure difference"
accuracy = "0.5 % of reading + 0.25 Pa"
[inlets.A]
diameter = "200 mm ± 0.5 mm"
coefficient = "0.97 ± 0.02"
expansion = "apart"
tapping = "as calibrated"
least_reynolds = 50000
[[flow]]
method = "inlet"
inlet = "A"
drop = "85 Pa"
clear_distance = "1.5 m"
"""
D, C, E, T = 'diameter = "200 mm ± 0.5 mm"', 'coefficient = "0.97 ± 0.02"', 'expansion = "apart"', 'tapping = "as c'
L, N, P, S = "least_reynolds = 50000", 'inlet = "A"\n', 'drop = "85 Pa"', 'clear_distance = "1.5 m"'
AT = "record.toml, line {}, {}"
BAD = named(
    ("diameter without unit", D, 'diameter = "200"', 11, "inlets.A.diameter", "unit of length"),
    ("diameter a bare number", D, "diameter = 200", 11, "inlets.A.diameter", "mm"),
    ("diameter in pascals", D, 'diameter = "200 Pa"', 11, "inlets.A.diameter", "not a unit of length"),
    ("no width", D, 'diameter = "0 mm"', 11, "inlets.A.diameter", "above 0 mm"),
    ("metres", D, 'diameter = "200 m"', 11, "inlets.A.diameter", "at most 3 m"),
    ("no diameter", D + "\n", "", 10, "inlets.A", "Add diameter"),
    ("no coefficient", C + "\n", "", 10, "inlets.A", "Add coefficient"),
    ("coefficient without ±", C, 'coefficient = "0.97"', 12, "inlets.A.coefficient", "with its ±"),
    ("coefficient a bare number", C, "coefficient = 0.97", 12, "inlets.A.coefficient", "with its ±"),
    ("coefficient in tenths", C, 'coefficient = "9.7 ± 0.2"', 12, "inlets.A.coefficient", "from 0.5 to 1.1"),
    ("coefficient far too small", C, 'coefficient = "0.097 ± 0.002"', 12, "inlets.A.coefficient", "from 0.5 to 1.1"),
    ("± larger than it may be", C, 'coefficient = "0.97 ± 0.6"', 12, "inlets.A.coefficient", "lower end of its ±"),
    ("± of nothing", C, 'coefficient = "0.97 ± 0"', 12, "inlets.A.coefficient", "above zero"),
    ("coefficient with a unit", C, 'coefficient = "0.97 m ± 0.02 m"', 12, "inlets.A.coefficient", "'m'"),
    ("decimal comma", C, 'coefficient = "0,97 ± 0,02"', 12, "inlets.A.coefficient", "decimal point"),
    ("expansion in other words", E, 'expansion = "yes"', 13, "inlets.A.expansion", "not stated, apart, included"),
    ("expansion as a flag", E, "expansion = true", 13, "inlets.A.expansion", "read true"),
    ("unknown tapping", T, 'tapping = "throat c', 14, "inlets.A.tapping", "not stated, as calibrated, elsewhere"),
    ("Reynolds number below all", L, "least_reynolds = 20", 15, "inlets.A.least_reynolds", "at least 1000"),
    ("Reynolds number in words", L, 'least_reynolds = "high"', 15, "inlets.A.least_reynolds", "'high'"),
    ("field misspelt", "tapping =", "taping =", 14, "inlets.A.taping", "Did you mean tapping?"),
    ("two inlets", N, 'inlet = ["A", "B"]\n', 18, "flow[1].inlet", "one name"),
    ("no such inlet", N, 'inlet = "B"\n', 18, "flow[1].inlet", "one of: A"),
    ("no inlet", N, "", 16, "flow[1]", "no inlet"),
    ("no drop", P + "\n", "", 16, "flow[1]", "Add drop"),
    ("drop in metres", P, 'drop = "85 m"', 19, "flow[1].drop", "not a unit of pressure difference"),
    ("drop beyond a fan's", P, 'drop = "85 kPa"', 19, "flow[1].drop", "20 kPa"),
    ("hoses swapped", P, 'drop = "-85 Pa"', 19, "flow[1].drop", "hoses"),
    ("distance below nothing", S, 'clear_distance = "-1 m"', 20, "flow[1].clear_distance", "at least 0 m"),
    ("distance without unit", S, "clear_distance = 1.5", 20, "flow[1].clear_distance", "mm"),
    ("static, which an inlet has not", S, 'static = "-85 Pa"', 20, "flow[1].static", "Remove the line"),
    ("table misspelt", "[inlets.A]", "[inlet.A]", 10, "inlet", "[inlets.…]"),
)


@pytest.mark.parametrize(("old", "new", "line", "field", "said"), BAD)
def test_bad_input(tmp_path: Path, old: str, new: str, line: int, field: str, said: str) -> None:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=edited(RECORD, old, new))
    rig.refuses("record.toml", says=((AT.format(line, field), said),))


def test_the_sound_record_is_sound(tmp_path: Path) -> None:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=RECORD, rows_csv="drop [Pa]\n60\n70\n")
    for arguments in (["record.toml"], ["record.toml", "--rows", "rows.csv"]):
        code, out, err = rig.run("reduce", *arguments)
        assert (code, err) == (0, "")
        assert "Inlet from still air" in out


def test_several_faults_are_one_report(tmp_path: Path) -> None:
    rig = Rig(tmp_path)
    text = edited(edited(RECORD, C, 'coefficient = "0.97"'), P, 'drop = "85 m"')
    rig.lay_out(record_toml=text)
    rig.refuses(
        "record.toml",
        says=(
            (AT.format(12, "inlets.A.coefficient"), "not stated is not zero"),
            (AT.format(19, "flow[1].drop"), "'85 m'"),
        ),
    )
