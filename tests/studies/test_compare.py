"""Several sections of one record: every two held against each other, combined where all agree, said why where not."""

from __future__ import annotations

import csv
import io
import json
import math
from copy import deepcopy

import numpy as np
import pytest

import flowrig
from flowrig.cli import main
from flowrig.physics.traverse import side_positions
from flowrig.report.as_csv import result_csv
from flowrig.report.as_json import result_json
from flowrig.report.text import alarms_text, batch_text, result_text
from flowrig.studies import compare
from flowrig.studies.reduce import _at_other_readings, load, reduce
from flowrig.uncertainty.combine import combine
from flowrig.uncertainty.interval import coverage_factor
from tests.studies.records import nozzle

NEAR = {
    "first": ["250.0 Pa", "250.9 Pa", "249.4 Pa", "250.3 Pa", "249.8 Pa", "250.6 Pa"],
    "again": ["250.8 Pa", "249.7 Pa", "250.5 Pa", "251.2 Pa", "250.1 Pa", "249.9 Pa"],
}


def several(*flows, **tables):
    """A record of one nozzle with the given [[flow]] sections in place of its own."""
    record = nozzle(static="0 Pa", chamber_width="900 mm", chamber_height="900 mm")
    base = record["flow"][0]
    record["flow"] = [base | flow if flow.get("method", "nozzle") == "nozzle" else dict(flow) for flow in flows]
    return record | deepcopy(tables)


def run(name, **more):
    return {"name": name, "drop": NEAR.get(name, NEAR["first"]), **more}


def traverse(name, speed, *, duct="main", kind="vane", **more):
    """A traverse with a profile of its own, three passes a little apart."""
    x, y = side_positions("log-tchebycheff", 5), side_positions("log-tchebycheff", 5)
    row, column = np.repeat(np.arange(5) + 1, 5), np.tile(np.arange(5) + 1, 5)
    shape = 1 + 0.02 * np.tile(x, 5) - 0.03 * np.repeat(y, 5)
    shape = shape / np.mean(shape)
    passes = np.concatenate([speed * k * shape for k in (0.998, 1.001, 1.001)])
    unit, values = ("m/s", passes) if kind == "vane" else ("Pa", 0.5 * 1.1993 * passes**2)
    grid = {"pass": np.repeat([1, 2, 3], 25), "row": np.tile(row, 3), "column": np.tile(column, 3)}
    grid[f"{'velocity' if kind == 'vane' else 'drop'} [{unit}]"] = values
    return {"name": name, "method": f"{kind}-traverse", "duct": duct, "rule": "log-tchebycheff", "across": 5, "down": 5,
            "grid": grid, "yaw": "0 deg", "blockage_area": "0 cm2", **more}  # fmt: skip


DUCTS = {"main": {"width": "300 mm ± 1 mm", "height": "200 mm ± 1 mm"}}
VANE = {"measures": "velocity", "serial": "V1", "accuracy": "2 % of reading + 0.02 m/s", "resolution": "0.01 m/s"}


def mixed(*flows):
    record = several(*flows, ducts=DUCTS)
    record["instruments"] = record["instruments"] | {"vane": VANE}
    return record


def text(record, **options):
    return " ".join(result_text(flowrig.reduce(record, **options)).split())


# ---- pairs


@pytest.mark.recomputed
def test_a_shared_manometer_cancels_in_the_difference_and_is_counted_once_in_the_whole():
    result = flowrig.reduce(several(run("first"), run("again")))
    [pair] = result.comparisons
    one, other = (flow["mass_flow"].estimate for flow in result)
    by_hand = math.sqrt(float(one.variance + other.variance - 2 * one.cov(other)))
    k = float(coverage_factor(0.95, pair.comparison.difference.dof))
    assert float(pair.comparison.difference.u) == pytest.approx(by_hand, rel=1e-6)
    assert pair.e_n == pytest.approx(float(one.value - other.value) / (k * by_hand), rel=1e-6)
    assert float(pair.comparison.difference.u) < 0.2 * pair.comparison.u_unshared
    assert pair.verdict == "agree"
    # shown as volume of the air at the meter; its density is no source of difference
    density = float(result.flows[0].air["meter"]["density"].value)
    assert pair.difference.value == pytest.approx(3600 * float(one.value - other.value) / density, rel=1e-9)
    assert pair.expanded == pytest.approx(3600 * k * by_hand / density, rel=1e-6)
    combined = result.combined
    assert sum(combined.weights.values()) == pytest.approx(1.0, rel=1e-12)
    values = sorted(float(x.value) for x in (one, other))
    assert values[0] < float(combined["mass_flow"].estimate.value) < values[1]
    # what both share does not average away
    u = float(combined["mass_flow"].estimate.u)
    assert math.sqrt(float(one.cov(other))) < u < min(float(one.u), float(other.u))


@pytest.mark.recomputed
def test_two_runs_combined_are_one_run_of_all_readings():
    apart = flowrig.reduce(several(run("first"), run("again"))).combined["mass_flow"].estimate
    whole = flowrig.reduce(several(run("all", drop=[*NEAR["first"], *NEAR["again"]]))).flows[0]["mass_flow"].estimate
    assert float(apart.value) == pytest.approx(float(whole.value), rel=2e-4)
    assert float(apart.u) == pytest.approx(float(whole.u), rel=0.01)


def test_a_nozzle_and_a_vane_agree_and_the_better_one_weighs_more():
    result = flowrig.reduce(mixed(run("chamber"), traverse("duct", 5.95)))
    [pair] = result.comparisons
    assert pair.verdict == "agree"
    combined = result.combined
    assert combined.weights["chamber"] > 0.7 > 0.3 > combined.weights["duct"] > 0.0
    assert float(combined.main.u) < min(float(flow.main.u) for flow in result)
    # the combination is of the mass, shown at every station
    assert list(combined.quantities) == ["actual_flow_meter", "standard_flow", "mass_flow"]
    assert combined["standard_flow"].estimate.value == pytest.approx(
        float(combined["mass_flow"].estimate.value) / 1.2, rel=1e-12
    )


def test_metering_planes_of_different_density_are_compared_by_mass():
    # under 2 kPa of suction the same mass is 2 % more volume at the metering plane
    record = mixed(run("chamber"), traverse("duct", 5.95), traverse("sucked", 5.95 * 1.0099, static="-2000 Pa"))
    result = flowrig.reduce(record)
    chamber, duct, sucked = result.flows
    assert sucked["actual_flow_meter"].value == pytest.approx(1.0099 * duct["actual_flow_meter"].value, rel=1e-3)
    shown = dict(zip(result.together[0].names, result.together[0].flows, strict=True))
    for flow in (chamber, duct, sucked):
        density = float(chamber.air["meter"]["density"].value)
        assert shown[flow.name].value == pytest.approx(3600 * float(flow["mass_flow"].estimate.value) / density)
    assert shown["sucked"].value < 0.995 * sucked["actual_flow_meter"].value


def test_disagreement_is_an_alarm_and_combines_nothing(tmp_path, monkeypatch, capsys):
    record = mixed(run("chamber"), traverse("duct", 7.0))
    result = flowrig.reduce(record)
    [group] = result.together
    assert [pair.verdict for pair in group] == ["disagree"]
    assert result.combined is None
    assert group.why_not == "nothing combined, since chamber and duct disagree"
    assert any("disagree" in line for line in alarms_text(result))
    shown = text(record)
    for words in ("Nothing combined, since chamber and duct disagree.", "ALARM, disagree", "E_n"):
        assert words in shown
    assert "Combined flow" not in shown
    # --quiet leaves the alarm
    toml = tmp_path / "r.toml"
    toml.write_text(TWO_NOZZLES.format(drop=330), encoding="utf-8")
    with pytest.raises(SystemExit) as stop:
        main(["reduce", str(toml), "--quiet"])
    said = capsys.readouterr()
    assert (stop.value.code or 0, said.out) == (0, "")
    assert "ALARM, disagree" in said.err


def test_cannot_tell_names_what_both_share():
    # 0.8 % apart: more than two nozzles of one equation should be, no more than its 1.2 % if it errs for each anew
    result = flowrig.reduce(
        several(run("one"), run("other", drop=[f"{250 * 1.016 + d} Pa" for d in (-0.5, 0, 0.5, 0.2)]))
    )
    [pair] = result.comparisons
    assert abs(pair.comparison.e_n_unshared) < 1 < abs(pair.e_n)
    assert pair.verdict == "cannot tell"
    assert "nozzle coefficient" in pair.sentence
    [group] = result.together
    assert result.combined is None
    assert group.why_not == "nothing combined, since one and other may or may not agree"
    assert [(f.code, f.severity) for f in group.findings] == [("cannot tell", "warning")]


def test_three_methods_and_one_that_stands_apart():
    three = mixed(run("chamber"), traverse("vane", 5.95), traverse("pitot", 5.9, kind="pitot"))
    result = flowrig.reduce(three)
    assert [(p.first, p.second) for p in result.comparisons] == [
        ("chamber", "vane"), ("chamber", "pitot"), ("vane", "pitot")
    ]  # fmt: skip
    assert {p.verdict for p in result.comparisons} == {"agree"}
    assert list(result.combined.weights) == ["chamber", "vane", "pitot"]
    assert float(result.combined.main.u) < min(float(flow.main.u) for flow in result)
    assert result.combined.dof == 2
    three["flow"][2] = traverse("pitot", 7.0, kind="pitot")
    group = flowrig.reduce(three).together[0]
    assert group.combined is None
    assert group.why_not == "nothing combined, since chamber and pitot disagree; vane and pitot disagree"


# ---- how the weights are found


def gained(one, other, own, shared):
    """Two ducts, each with its own relative error of the width, one anemometer with a gain for both."""
    width = {name: {"width": f"300 mm ± {300 * own:g} mm (k=1)", "height": "200 mm", "serial": name} for name in "AB"}
    record = several(
        traverse("a", one, duct="A", plane="good"), traverse("b", other, duct="B", plane="good"), ducts=width
    )
    del record["nozzles"]
    record["instruments"] = record["instruments"] | {
        "vane": {"measures": "velocity", "serial": "V", "accuracy": f"U = {100 * shared:g} % of reading (k=1)"}
    }
    return record


# Source: R. W. Peelle's puzzle (1987, from memory), through records: the method's own errors (1 %) are small beside.
@pytest.mark.recomputed
def test_a_shared_gain_does_not_drag_the_combined_flow_below_both():
    record = load(gained(7.5, 5.0, 0.10, 0.20))
    result = reduce(record)
    masses = [flow["mass_flow"].estimate for flow in result]
    ratio = float(masses[0].value / masses[1].value)
    assert ratio == pytest.approx(1.5, rel=1e-6)
    parts = [np.concatenate([x.parts.get(c, np.zeros(c.n)) for c in {**masses[0].parts, **masses[1].parts}])
             for x in masses]  # fmt: skip
    inverse = np.linalg.inv([[a @ b for b in parts] for a in parts])
    naive = inverse.sum(axis=0) @ [1.5, 1.0] / inverse.sum()
    assert naive < 0.92
    again = lambda i, factor: _at_other_readings(result, None, i, factor)  # noqa: E731
    mass_flow, weights, _ = compare._Group(result, [0, 1], again)._by_least_squares()
    assert float(mass_flow.value / masses[1].value) == pytest.approx(1.25, rel=2e-3)
    assert weights == pytest.approx([0.5, 0.5], abs=5e-3)
    # half as far apart as their own errors, or half as far again: whether a gain shared is a gain alike, who knows
    assert result.comparisons[0].verdict == "cannot tell"
    assert result.combined is None


@pytest.mark.recomputed
def test_nor_where_they_agree():
    result = flowrig.reduce(gained(5.2, 5.0, 0.02, 0.20))
    masses = [flow["mass_flow"].estimate for flow in result]
    assert result.comparisons[0].verdict == "agree"
    naive = combine(masses, absolute={c.id for x in masses for c in x.parts})  # the parts as each was read
    assert float(naive.estimate.value) < 0.99 * float(masses[1].value)
    value = float(result.combined["mass_flow"].estimate.value)
    assert value == pytest.approx(0.5 * sum(float(x.value) for x in masses), rel=1e-3)


@pytest.mark.recomputed
def test_a_shared_zero_under_a_root_does_not_drag_either():
    # 1 Pa of zero at 20 Pa: neither a share of the flow nor fixed in it, but falling as the flow rises
    drops = {"one": ["20.0 Pa", "20.3 Pa", "19.8 Pa", "20.1 Pa"], "other": ["20.6 Pa", "20.2 Pa", "20.4 Pa", "20.1 Pa"]}
    record = several(*(run(name, drop=drop) for name, drop in drops.items()))
    record["instruments"]["manometer"] = {"measures": "pressure difference", "accuracy": "U = 1 Pa (k=1)"}
    record["nozzles"] = {"A": {"diameter": "150 mm"}}
    result = flowrig.reduce(record)
    assert result.comparisons[0].verdict == "agree"
    masses = [flow["mass_flow"].estimate for flow in result]
    own = np.array(
        [math.sqrt(sum(float(np.sum(p**2)) for c, p in x.parts.items() if "scatter" in c.id)) for x in masses]
    )
    weights = np.array(list(result.combined.weights.values()))
    np.testing.assert_allclose(weights, own**-2 / np.sum(own**-2), atol=0.03)
    middle = float(result.combined["mass_flow"].estimate.value)
    for wrong in (combine(masses), combine(masses, absolute={c.id for x in masses for c in x.parts})):
        assert np.max(np.abs(wrong.weights - weights)) > 0.1
    assert min(float(x.value) for x in masses) < middle < max(float(x.value) for x in masses)


def test_readings_at_another_flow_are_those_it_would_have_shown():
    result = flowrig.reduce(mixed(run("chamber"), traverse("duct", 5.95)))
    again = lambda i, factor: _at_other_readings(result, None, i, factor)  # noqa: E731
    group = compare._Group(result, [0, 1], again)
    for i in (0, 1):
        own = group.masses[i]
        for factor in (0.9, 1.0, 1.1):
            found = group._at_flow(i, factor * float(own.value))
            assert float(found.value) == pytest.approx(factor * float(own.value), rel=1e-6)
    with pytest.raises(ValueError, match="not above zero"):
        group._at_flow(0, -1.0)
    stuck = compare._Group(result, [0, 1], lambda i, factor: result.flows[i]["mass_flow"].estimate)
    with pytest.raises(ValueError, match="does not follow its readings"):
        stuck._at_flow(0, 2.0 * float(stuck.masses[0].value))


def test_a_measurement_that_only_shares_errors_is_left_out():
    # the 300 mm nozzle at 16 Pa has all of the manometer's 1 Pa, and sixteen times as much of it
    record = several(run("fine"), run("coarse", open=["C"], drop=["15.14 Pa", "15.16 Pa", "15.15 Pa", "15.15 Pa"]))
    record["nozzles"]["C"] = {"diameter": "300 mm ± 0.3 mm"}
    record["instruments"]["manometer"]["accuracy"] = "U = 1 Pa (k=1)"
    result = flowrig.reduce(record)
    assert result.comparisons[0].verdict == "agree"
    combined = result.combined
    assert combined.weights == {"fine": 1.0, "coarse": 0.0}
    assert combined.adds_nothing == ["coarse"]
    assert float(combined["mass_flow"].estimate.u) == pytest.approx(float(result.flows[0]["mass_flow"].u) / 3600)
    assert "adds nothing" in [f.code for f in combined.findings]
    assert "Note, adds nothing: coarse has no weight" in text(record)


# ---- what must not pass for two measurements


def test_the_same_readings_twice_are_one_measurement():
    result = flowrig.reduce(several(run("first"), run("copied", drop=NEAR["first"])))
    [group] = result.together
    assert [pair.verdict for pair in group] == ["agree"]
    assert group.combined is None
    assert group.why_not == "nothing combined, since the same readings stand in first and copied"
    assert [f.code for f in group.findings] == ["same readings twice"]


def test_single_readings_may_be_alike_by_chance():
    result = flowrig.reduce(several({"name": "a", "drop": "250 Pa"}, {"name": "b", "drop": "250 Pa"}))
    assert result.comparisons[0].e_n == 0.0
    assert result.combined is not None
    assert float(result.combined["mass_flow"].u) <= float(result.flows[0]["mass_flow"].u)


def test_an_alarm_goes_with_the_combined_flow():
    record = mixed(run("chamber"), traverse("duct", 5.95))
    record["instruments"]["vane"] = VANE | {"accuracy": "0.2..5.9 m/s: 2 % of reading + 0.02 m/s"}
    result = flowrig.reduce(record)
    assert "outside instrument range" in [f.code for f in result.flows[1].findings if f.severity == "alarm"]
    if result.combined is None:
        pytest.fail(result.together[0].why_not)
    [finding] = [f for f in result.combined.findings if f.code == "rests on an alarm"]
    assert finding.message == "duct: outside instrument range"


def test_sections_of_one_name_are_told_apart():
    result = flowrig.reduce(several({"drop": NEAR["first"]}, {"drop": NEAR["again"]}))
    assert [flow.name for flow in result] == ["Nozzles in a chamber", "Nozzles in a chamber (2)"]
    taken = flowrig.reduce(several(run("combined flow"), run("again")))
    assert taken.combined.name == "combined flow (2)"


def test_flows_that_are_not_above_zero_are_not_combined():
    record = mixed(traverse("a", -5.95), traverse("b", -5.949))
    del record["nozzles"]
    [group] = flowrig.reduce(record).together
    assert [pair.verdict for pair in group] == ["agree"]
    assert group.why_not.startswith("nothing combined: a flow that is not above zero")
    assert "Nothing combined: a flow that is not above zero" in text(record)


def test_a_difference_that_bends_is_flagged():
    record = several(run("one", drop="3.0 Pa"), run("other", drop="5.0 Pa"))
    record["instruments"]["manometer"] = {"measures": "pressure difference", "accuracy": "3 Pa"}
    [group] = flowrig.reduce(record).together
    assert "curved" in [f.code for f in group.findings]


# ---- which flow


def test_sections_of_other_flows_are_not_compared():
    low, high = ["120.0 Pa", "120.6 Pa", "119.8 Pa"], ["251.0 Pa", "250.1 Pa", "250.5 Pa"]
    record = several(
        run("first", of="speed 3"), run("again", of="Speed  3"), run("slow", of="speed 1", drop=low),
        run("spare", drop=high),
    )  # fmt: skip
    result = flowrig.reduce(record)
    assert [(group.of, group.names) for group in result.together] == [
        ("speed 3", ["first", "again"]), ("speed 1", ["slow"]), ("", ["spare"])
    ]  # fmt: skip
    assert len(result.comparisons) == 1
    assert result.combined.name == "combined flow, speed 3"
    assert result.together[1].combined is None
    said = text(record)
    assert "Held against each other: speed 3" in said
    assert "One measurement of this flow: nothing to hold it against." in said


def test_a_single_section_has_nothing_beside_it():
    result = flowrig.reduce(nozzle())
    assert (result.together, result.comparisons, result.combined) == ([], [], None)
    assert "Held against" not in result_text(result)


# ---- the report, the files, the options

TWO_NOZZLES = """title = "Two runs"
date = 2026-07-14
[air.meter]
temperature = "20 degC"
pressure = "101325 Pa"
relative_humidity = "50 %"
[instruments.manometer]
measures = "pressure difference"
accuracy = "0.5 % of reading + 0.25 Pa"
[instruments.thermometer]
measures = "temperature"
accuracy = "0.3 degC"
[instruments.barometer]
measures = "pressure"
accuracy = "1 hPa"
[instruments.hygrometer]
measures = "relative humidity"
accuracy = "3 %RH"
[nozzles.A]
diameter = "150 mm"
[[flow]]
name = "one"
method = "nozzle"
open = ["A"]
drop = ["250.0 Pa", "250.9 Pa", "249.4 Pa"]
[[flow]]
name = "other"
method = "nozzle"
open = ["A"]
drop = ["{drop}.1 Pa", "{drop}.3 Pa", "{drop}.9 Pa"]
"""


def test_the_report_is_narrow_and_says_what_it_must():
    names = ("a very long name indeed, of which forty characters are shown", "other")
    record = mixed(run(names[0], drop=NEAR["first"]), traverse(names[1], 5.95))
    shown = result_text(flowrig.reduce(record))
    assert all(len(line) <= 80 for line in shown.splitlines())
    for words in ("Held against each other", "difference [m3/h]", "E_n*", "1 - 2", "agree", "Combined flow", "Weights:",
                  "Mass flows compared", "Largest causes"):  # fmt: skip
        assert words in shown


def test_json_holds_the_comparison_and_reloads_correlated(tmp_path):
    result = flowrig.reduce(mixed(run("chamber"), traverse("duct", 5.95)))
    path = tmp_path / "r.json"
    path.write_text(result_json(result), encoding="utf-8")
    body = json.loads(path.read_text())
    [group] = body["compared"]
    [pair] = group["pairs"]
    held = result.comparisons[0]
    assert (pair["first"], pair["second"], pair["verdict"]) == ("chamber", "duct", "agree")
    assert pair["e_n"] == pytest.approx(held.e_n)
    assert pair["difference"]["value"] == pytest.approx(held.difference.value)
    assert pair["expanded_uncertainty"] == pytest.approx(abs(held.difference.value / held.e_n))
    ratio = pair["standard_uncertainty_unshared"] / pair["difference"]["standard_uncertainty"]
    assert ratio == pytest.approx(held.comparison.u_unshared / float(held.comparison.difference.u))
    assert group["combined"]["weights"] == result.combined.weights
    loaded = flowrig.load_json(path)
    assert list(loaded) == ["chamber", "duct", "combined flow"]
    x, y = result.combined["mass_flow"].estimate, result.flows[0]["mass_flow"].estimate
    a, b = loaded["combined flow"]["mass_flow"], loaded["chamber"]["mass_flow"]
    assert float(a.value) == pytest.approx(float(x.value), rel=1e-12)
    assert float(a.cov(b)) == pytest.approx(float(x.cov(y)), rel=1e-9)
    # what version 1 wrote has none of it
    del body["compared"], body["claims"]
    path.write_text(json.dumps(body | {"contract": 1}), encoding="utf-8")
    assert list(flowrig.load_json(path)) == ["chamber", "duct"]


def test_csv_has_a_line_for_every_pair_and_the_combined_flow():
    result = flowrig.reduce(mixed(run("chamber"), traverse("duct", 5.95)))
    lines = list(csv.DictReader(io.StringIO(result_csv(result))))
    [pair] = [line for line in lines if line["quantity"] == "difference"]
    assert (pair["measurement"], pair["flags"]) == ("chamber - duct", "agree")
    assert float(pair["low"]) < float(pair["value"]) < float(pair["high"])
    assert [line["quantity"] for line in lines if line["measurement"] == "combined flow"] == list(
        result.combined.quantities
    )
    assert len(result.to_frame()) == len(lines)


def test_draws_and_coverage_reach_the_comparison():
    record = mixed(run("chamber"), traverse("duct", 5.95))
    plain, wide = flowrig.reduce(record), flowrig.reduce(record, coverage=0.99)
    assert abs(wide.comparisons[0].e_n) < abs(plain.comparisons[0].e_n)
    assert wide.combined.main.high > plain.combined.main.high
    drawn = [flowrig.reduce(record, samples=20_000, seed=seed) for seed in (1, 1, 2)]
    assert {x.combined.main.interval.source for x in drawn} == {"monte carlo"}
    highs = [x.combined.main.high for x in drawn]
    assert highs[0] == highs[1] != highs[2]
    assert highs[0] == pytest.approx(plain.combined.main.high, abs=0.1 * plain.combined.main.u)
    # the verdict goes by the expanded uncertainty, whatever the interval of the difference is from
    assert drawn[0].comparisons[0].e_n == plain.comparisons[0].e_n
    assert drawn[0].comparisons[0].difference.interval.source == "monte carlo"


def test_rows_say_that_they_are_not_compared(tmp_path):
    table = tmp_path / "rows.csv"
    table.write_text("flow[1].drop [Pa],flow[2].drop [Pa]\n250,251\n300,220\n", encoding="utf-8")
    result = flowrig.reduce_rows(several(run("first"), run("again")), table)
    assert result.together == []
    [note] = [f for f in result.findings if f.code == "not held against each other"]
    assert note.message == "2 measurements stand as they are in every row"
    assert "not held against each other" in batch_text(result)


def test_repr_is_short_enough_to_read():
    result = flowrig.reduce(several(run("first"), run("again")))
    assert "agree" in repr(result)
    assert repr(result.combined).startswith("<CombinedFlow <actual_flow_meter:")


def test_leaks_stated_for_one_of_two_are_told_and_the_combined_flow_is_of_the_unit():
    record = nozzle(name="one", leaks=["C"], meter_side="downstream")
    record["flow"].append(record["flow"][0] | {"name": "two", "open": ["B"], "drop": "1277 Pa ± 40 Pa"})
    record["chambers"] = {"C": {"leak": "6 m3/h ± 2 m3/h", "leak_drop": "50 Pa", "pressure": "35 Pa"}}
    [group] = flowrig.reduce(record).together
    assert group.findings == []
    assert "through the unit" in group.combined.main.label
    del record["flow"][1]["leaks"], record["flow"][1]["meter_side"]
    [group] = flowrig.reduce(record).together
    assert [(f.code, f.message) for f in group.findings] == [("leaks stated for some only", "none for two")]
