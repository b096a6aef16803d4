"""What shares an error and what does not: the identities of causes, across records and within one."""

from __future__ import annotations

from copy import deepcopy

import numpy as np
import pytest

import flowrig
from tests.methods.test_traverses import grid, traverse
from tests.studies.records import INSTRUMENTS, nozzle


def correlation(one, other):
    a, b = (flowrig.reduce(r).flow.estimate if isinstance(r, dict) else r for r in (one, other))
    return float(a.cov(b) / (a.u * b.u))


def share(estimate, *words):
    """Part of the variance from causes whose id holds all the words."""
    found = [p for c, p in estimate.parts.items() if all(w in c.id for w in words)]
    return sum(float(np.sum(p**2)) for p in found) / float(estimate.variance)


def test_one_box_with_three_sensors_has_three_errors():
    record = nozzle()
    separate = flowrig.reduce(record).flows[0].air["meter"]["density"]
    for name in ("thermometer", "barometer", "hygrometer"):
        record["instruments"][name] |= {"serial": "WX-1"}
    together = flowrig.reduce(record).flows[0].air["meter"]["density"]
    assert float(together.u) == pytest.approx(float(separate.u), rel=1e-9)


def test_two_instruments_that_cannot_be_told_apart_are_a_fault():
    record = nozzle()
    record["instruments"]["spare"] = deepcopy(record["instruments"]["thermometer"])
    record["air"]["meter"] = record["air"]["meter"] | {"with": {"temperature": "spare"}}
    with pytest.raises(flowrig.InputError, match="serial number"):
        flowrig.reduce(record)


def test_a_manometer_calibrated_anew_is_another_error():
    record, again = nozzle(), nozzle()
    record["instruments"]["manometer"] |= {"calibrated": "2026-01-10"}
    import datetime as dt

    record["instruments"]["manometer"]["calibrated"] = dt.date(2026, 1, 10)
    again["instruments"]["manometer"]["calibrated"] = dt.date(2026, 6, 10)
    model = share(flowrig.reduce(record).flow.estimate, "method:nozzle:coefficient")
    assert correlation(record, again) == pytest.approx(model + share(
        flowrig.reduce(record).flow.estimate, "instrument:T") + share(
        flowrig.reduce(record).flow.estimate, "instrument:B") + share(
        flowrig.reduce(record).flow.estimate, "instrument:H") + share(
        flowrig.reduce(record).flow.estimate, "method:air"), abs=1e-3)  # fmt: skip


def test_order_of_statements_does_not_matter():
    statements = ["u = 0.6 Pa", "u = 1 % of reading"]
    one, other = nozzle(), nozzle()
    one["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"accuracy": statements}
    other["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"accuracy": statements[::-1]}
    a, b = (flowrig.reduce(r).flow.estimate for r in (one, other))
    shared = [c for c in a.parts if c.id.startswith("instrument:M1") and c in b.parts]
    assert len(shared) == 2


def test_the_same_statement_twice_is_a_fault():
    record = nozzle()
    record["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"accuracy": ["u = 1 Pa", "u = 1 Pa"]}
    with pytest.raises(flowrig.InputError, match="twice"):
        flowrig.reduce(record)


def test_records_with_other_readings_in_their_files_do_not_share_what_is_local(tmp_path):
    text = """
title = "t"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "101325 Pa ± 100 Pa"
relative_humidity = "50 % ± 3 %RH"
[instruments.manometer]
measures = "pressure difference"
serial = "M1"
accuracy = "1 Pa"
[nozzles.A]
diameter = "150 mm"
[[flow]]
method = "nozzle"
open = ["A"]
log = "log.csv"
"""
    estimates = []
    for i in range(2):
        folder = tmp_path / str(i)
        folder.mkdir()
        (folder / "record.toml").write_text(text, encoding="utf-8")
        drops = 250 + 20 * np.random.default_rng(i).standard_normal(12)
        (folder / "log.csv").write_text("drop [Pa]\n" + "\n".join(f"{d:.1f}" for d in drops) + "\n", encoding="utf-8")
        estimates.append(flowrig.reduce(folder / "record.toml").flow.estimate)
    a, b = estimates
    scatter = [c for c in a.parts if c.id.endswith(":scatter")]
    assert scatter
    assert not any(c in b.parts for c in scatter)


def test_rows_of_two_tables_scatter_apart(tmp_path):
    pattern = nozzle(drop=["245 Pa", "255 Pa", "248 Pa", "252 Pa", "250 Pa"])
    estimates = []
    for i, drop in enumerate((250.0, 251.0)):
        path = tmp_path / f"{i}.csv"
        path.write_text(f"drop [Pa]\n{drop}\n{drop}\n", encoding="utf-8")
        estimates.append(flowrig.reduce_rows(pattern, path).flow.estimate)
    a, b = estimates
    noise = [c for c in a.parts if c.each == "row"]
    assert len(noise) == 2  # scatter and resolution
    assert not any(c in b.parts for c in noise)


def test_one_home_made_nozzle_in_two_records_is_one_error():
    record = nozzle()
    record["nozzles"]["A"] |= {"made": "home-made", "coefficient_limit": "4 %", "serial": "N-7"}
    other = deepcopy(record)
    other["flow"][0]["drop"] = "300 Pa"
    assert correlation(record, other) > 0.98
    apart = deepcopy(other)
    apart["nozzles"]["A"]["serial"] = "N-8"
    assert correlation(record, apart) < 0.2


def test_two_home_made_nozzles_in_a_bank_err_by_themselves():
    one, bank = nozzle(open=["A"]), nozzle(open=["A", "B"])
    for record in (one, bank):
        for name in record["nozzles"]:
            record["nozzles"][name] = {
                "diameter": "150 mm",
                "made": "home-made",
                "coefficient_limit": "4 %",
            }
    single, both = (flowrig.reduce(r).flow.estimate for r in (one, bank))

    def relative(x):
        own = sum(float(np.sum(p**2)) for c, p in x.parts.items() if ":coefficient 0.04" in c.id)
        return own**0.5 / float(x.value)

    assert relative(both) == pytest.approx(relative(single) / 2**0.5, rel=1e-6)


def test_one_serial_on_two_nozzles_is_a_fault():
    record = nozzle()
    for name in record["nozzles"]:
        record["nozzles"][name] |= {"serial": "N-1"}
    with pytest.raises(flowrig.InputError, match="serial number of its own"):
        flowrig.reduce(record)


def test_hardware_stated_otherwise_is_not_the_same_error():
    one, other = nozzle(), nozzle()
    one["nozzles"]["A"] = {"diameter": "150 mm ± 0.15 mm", "serial": "N-1"}
    other["nozzles"]["A"] = {"diameter": "140 mm ± 0.15 mm", "serial": "N-1"}
    a, b = (flowrig.reduce(r).flow.estimate for r in (one, other))
    mine = [c for c in a.parts if "N-1" in c.id]
    assert mine
    assert not any(c in b.parts for c in mine)


def test_the_weather_is_one_for_all_stations():
    record = nozzle()
    record["air"] = {
        "meter": {"temperature": "20 degC", "altitude": "1650 m", "relative_humidity": "50 %"},
        "room": {"temperature": "22 degC", "altitude": "1650 m", "relative_humidity": "45 %"},
    }
    air = flowrig.reduce(record).flows[0].air
    assert correlation(air["meter"]["pressure"], air["room"]["pressure"]) == pytest.approx(1.0, abs=1e-9)


def test_two_traverses_of_one_plane_share_what_the_plane_does():
    record = traverse()
    record["ducts"]["main"]["serial"] = "W2"
    other = deepcopy(record)
    other["title"] = "another day"
    other["flow"][0]["grid"] = grid(level=4.4)
    a, b = (flowrig.reduce(r).flow.estimate for r in (record, other))
    shared = {c.label for c in a.parts if c in b.parts}
    assert {"integration over the plane", "flow angle (swirl)"} <= shared | {"flow angle (swirl)"}
    assert any("integration" in label for label in shared)


def test_one_pass_keeps_its_repeatability_beside_a_repeated_static():
    table = grid(passes=1)
    plain = flowrig.reduce(traverse(table=table, static="30 Pa ± 1 Pa")).flow.estimate
    beside = flowrig.reduce(traverse(table=table, static=["29 Pa ± 1 Pa", "30 Pa ± 1 Pa", "31 Pa ± 1 Pa"]))
    assert share(plain, "traverse:repeatability") > 0
    assert share(beside.flow.estimate, "traverse:repeatability") > 0


def test_readings_with_and_without_a_stated_limit_do_not_mix():
    with pytest.raises(flowrig.InputError, match="±"):
        flowrig.reduce(nozzle(drop=["118 Pa ± 30 Pa", "118 Pa", "118 Pa"]))
    one = flowrig.reduce(nozzle(drop=["118 Pa ± 30 Pa", "118 Pa ± 30 Pa"])).flow.estimate
    single = flowrig.reduce(nozzle(drop="118 Pa ± 30 Pa")).flow.estimate
    assert float(one.u) == pytest.approx(float(single.u), rel=0.02)


@pytest.mark.parametrize(("gap", "dof"), [(0.0, 29), (0.2, 1)])
def test_two_passes_that_differ_by_more_than_their_points_explain(gap, dof):
    table = grid(passes=2, noise=0.02)
    velocity = np.array(table["velocity [m/s]"])
    velocity[30:] *= 1 + gap + np.mean(velocity[:30]) / np.mean(velocity[30:]) - 1
    table["velocity [m/s]"] = list(velocity)
    estimate = flowrig.reduce(traverse(table=table)).flow.estimate
    [cause] = [c for c in estimate.parts if c.id.endswith(":scatter")]
    assert cause.dof == dof


def test_two_passes_of_a_pitot_scatter_as_velocities():
    noisy = grid("drop [Pa]", level=40.0, power=2.0, passes=2, noise=0.04)
    estimate = flowrig.reduce(traverse("pitot-traverse", "manometer", table=noisy)).flow.estimate
    [part] = [p for c, p in estimate.parts.items() if c.id.endswith(":scatter")]
    # 4 % on each pressure is 2 % on each velocity, over 60 readings
    assert float(part[0]) / float(estimate.value) == pytest.approx(0.02 / 60**0.5, rel=0.35)
