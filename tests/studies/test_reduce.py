"""A record to a flow: the whole way, against worked points and against what must hold whatever the numbers."""

from __future__ import annotations

import math
from copy import deepcopy

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import flowrig
from flowrig.uncertainty.montecarlo import sample
from tests.reference.load import rows
from tests.studies.records import INSTRUMENTS, nozzle


def codes(result):
    return {f.code for f in [*result.findings, *result.flows[0].findings]}


# Source: nozzle_worked_points.csv, chamber-nozzle equations of ISO 5801 / AMCA 210 evaluated by two separate programs.
# The densities there are the fan standard's, from a wet bulb.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("nozzle_worked_points.csv"), ids=lambda row: row["id"])
def test_worked_nozzle_points_through_a_whole_record(row):
    record = nozzle(drop=f"{row['dp_Pa']} Pa", static=f"{row['ps_upstream_gauge_Pa']} Pa")
    record["density_formula"] = "fan-standard"
    record["air"] = {
        "meter": {
            "temperature": f"{row['td_C']} degC",
            "pressure": f"{row['pb_Pa']} Pa",
            "wet_bulb": f"{row['tw_C']} degC",
        }
    }
    record["nozzles"] = {}
    for i, text in enumerate(row["nozzles"].split("+")):
        size, ratio = text.split("mm(L/D ")
        record["nozzles"][f"N{i}"] = {"diameter": f"{size} mm", "length_ratio": float(ratio.rstrip(")"))}
    record["flow"][0]["open"] = list(record["nozzles"])
    result = flowrig.reduce(record)
    flow = result.flows[0]
    # the printed column iterates the coefficient with another expansibility: up to 6e-7 apart
    assert float(flow["actual_flow_meter"].estimate.value) == pytest.approx(float(row["Q_m3_s_Yisentropic"]), rel=1e-6)
    # the printed mass flow uses the linear expansibility, up to 1.4e-4 from the isentropic one
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(float(row["qm_kg_s"]), rel=2e-4)
    assert float(flow["mass_flow"].estimate.value) / 1.2 == pytest.approx(
        float(flow["standard_flow"].estimate.value), rel=1e-12
    )
    throat = float(row["Q_m3_s_Yisentropic"]) / sum(
        math.pi / 4 * (float(t.split("mm")[0]) / 1000) ** 2 for t in row["nozzles"].split("+")
    )
    assert ("throat velocity" in codes(result)) == (not 14 <= throat <= 35)


@settings(max_examples=25, deadline=None)
@given(factor=st.floats(0.2, 4.0))
def test_flow_of_a_bank_grows_little_less_than_with_the_root_of_the_drop(factor):
    one, other = (flowrig.reduce(nozzle(drop=f"{250 * f} Pa")).flow.estimate.value for f in (1.0, factor))
    ratio = float(other / one) / math.sqrt(factor)
    assert abs(ratio - 1) < 0.02  # the coefficient alone changes
    assert (ratio - 1) * (factor - 1) >= -1e-3  # and rises with the Reynolds number, expansion against it


def test_order_of_readings_does_not_matter():
    drops = ["248.1 Pa", "251.7 Pa", "250.2 Pa", "249.5 Pa", "250.9 Pa"]
    one, other = (flowrig.reduce(nozzle(drop=d)).flow for d in (drops, drops[::-1]))
    assert float(one.estimate.value) == pytest.approx(float(other.estimate.value), rel=1e-13)
    assert float(one.estimate.u) == pytest.approx(float(other.estimate.u), rel=1e-9)


def test_order_of_nozzles_and_tables_does_not_matter():
    forwards = nozzle(open=["A", "B"])
    backwards = dict(reversed(list(nozzle(open=["B", "A"]).items())))
    one, other = (flowrig.reduce(r).flow.estimate for r in (forwards, backwards))
    assert float(one.value) == pytest.approx(float(other.value), rel=1e-13)
    assert float(one.u) == pytest.approx(float(other.u), rel=1e-9)


@pytest.mark.parametrize(("drop", "unit"), [("250 Pa", "Pa"), ("0.25 kPa", "kPa"), ("2.5 mbar", "mbar")])
def test_units_of_a_reading_do_not_matter(drop, unit):
    expected = flowrig.reduce(nozzle(drop="250 Pa")).flow.estimate
    found = flowrig.reduce(nozzle(drop=drop)).flow.estimate
    assert float(found.value) == pytest.approx(float(expected.value), rel=1e-12)
    assert float(found.u) == pytest.approx(float(expected.u), rel=1e-9)


def test_mass_closes_between_stations():
    record = nozzle()
    record["air"]["unit"] = {"temperature": "31 degC", "pressure": "1009 hPa", "relative_humidity": "30 %"}
    record["air"]["room"] = {"temperature": "12 degC", "pressure": "1013 hPa", "dew_point": "8 degC"}
    flow = flowrig.reduce(record).flows[0]
    assert flow.main.name == "actual_flow_unit"
    mass = float(flow["mass_flow"].estimate.value)
    for station in ("unit", "room"):
        density = float(flow.air[station]["density"].value)
        assert float(flow[f"actual_flow_{station}"].estimate.value) * density == pytest.approx(mass, rel=1e-12)
    for draws in (500,):
        q, m = (sample(flow[n].estimate, draws) for n in ("actual_flow_unit", "mass_flow"))
        assert q * sample(flow.air["unit"]["density"], draws) == pytest.approx(m, rel=1e-12)


def test_a_thermometer_used_at_two_stations_counts_once():
    """Its error raises both temperatures together, so their ratio hardly knows it."""
    record = nozzle()
    record["air"]["unit"] = {"temperature": "30 degC", "pressure": "101325 Pa", "relative_humidity": "50 %"}
    shared = flowrig.reduce(record).flows[0]
    apart = deepcopy(record)
    apart["instruments"]["other"] = {"measures": "temperature", "serial": "T2", "accuracy": "0.3 degC"}
    apart["air"]["meter"]["with"] = {"temperature": "thermometer"}
    apart["air"]["unit"]["with"] = {"temperature": "other"}
    separate = flowrig.reduce(apart).flows[0]

    def of_temperature(flow):
        parts = flow["actual_flow_unit"].estimate.parts
        return sum(float(np.sum(p**2)) for c, p in parts.items() if c.id.startswith("instrument:T"))

    # Q_unit = m/ρ_unit with m ∝ √ρ_meter: a shared kelvin acts once as 1/T − 1/2T, two of them as 1/T² + 1/4T²
    assert of_temperature(shared) / of_temperature(separate) == pytest.approx(0.25 / 1.25, rel=0.1)


def test_budget_sums_to_the_variance():
    estimate = flowrig.reduce(nozzle(open=["A", "B"], drop=["250 Pa", "251 Pa", "250.4 Pa"])).flow.estimate
    assert sum(float(line.u) ** 2 for line in estimate.budget()) == pytest.approx(float(estimate.u) ** 2, rel=1e-12)
    assert sum(float(line.share) for line in estimate.budget()) == pytest.approx(1.0, rel=1e-12)


def test_a_source_split_in_two_gives_the_same_u():
    record = nozzle()
    record["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"accuracy": "u = 1 Pa"}
    joined = flowrig.reduce(record).flow.estimate
    record["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"accuracy": ["u = 0.6 Pa", "u = 0.8 Pa"]}
    split = flowrig.reduce(record).flow.estimate
    assert float(split.u) == pytest.approx(float(joined.u), rel=1e-9)
    assert len(split.parts) == len(joined.parts) + 1


def test_two_results_with_one_manometer_are_correlated_and_two_manometers_are_not():
    one, two = flowrig.reduce(nozzle()), flowrig.reduce(nozzle(drop="300 Pa"))
    other = nozzle()
    other["instruments"]["manometer"] = INSTRUMENTS["manometer"] | {"serial": "M2"}
    third = flowrig.reduce(other)
    causes = [set(r.flow.estimate.parts) for r in (one, two, third)]
    assert any(c.id.startswith("instrument:M1") for c in causes[0] & causes[1])
    assert not any(c.id.startswith("instrument:M") for c in causes[0] & causes[2])
    difference = one.flow.to_ufloat() - two.flow.to_ufloat()
    expected = one.flow.estimate.variance + two.flow.estimate.variance - 2 * one.flow.estimate.cov(two.flow.estimate)
    assert difference.std_dev**2 == pytest.approx(float(expected), rel=1e-9)


def test_zero_is_interpolated_and_its_drift_is_one_cause():
    record = nozzle(drop="250 Pa")
    del record["flow"][0]["static"]  # the same manometer would have its zero taken out too
    record["instruments"]["manometer"] |= {"zero_before": "0.1 Pa", "zero_after": "0.25 Pa"}
    zeroed = flowrig.reduce(record)
    plain = nozzle(drop="249.825 Pa")
    del plain["flow"][0]["static"]
    plain = flowrig.reduce(plain)
    assert float(zeroed.flow.estimate.value) == pytest.approx(float(plain.flow.estimate.value), rel=1e-9)
    [drift] = [p for c, p in zeroed.flow.estimate.parts.items() if c.id.endswith(":zero")]
    # dQ/Q = dΔp/2Δp to first order; |z2 − z1|/√12 (rectangular over the drift, JCGM 100:2008 4.3.7)
    expected = float(zeroed.flow.estimate.value) * (0.15 / math.sqrt(12)) / (2 * 249.825)
    assert abs(float(drift[0])) == pytest.approx(expected, rel=0.02)
    assert "zero beyond limit" not in codes(zeroed)
    record["instruments"]["manometer"]["zero_after"] = "0.4 Pa"
    assert "zero beyond limit" in codes(flowrig.reduce(record))


def test_scatter_of_repeats_is_s_over_root_n():
    drops = np.array([246.0, 254.0, 251.0, 249.0, 252.0, 248.0])
    record = nozzle(drop=[f"{d} Pa" for d in drops], fluctuation="real")
    estimate = flowrig.reduce(record).flow.estimate
    [(cause, part)] = [(c, p) for c, p in estimate.parts.items() if c.id.endswith(":scatter")]
    singles = np.array([float(flowrig.reduce(nozzle(drop=f"{d} Pa")).flow.estimate.value) for d in drops])
    assert float(abs(part[0])) == pytest.approx(np.std(singles, ddof=1) / math.sqrt(6), rel=1e-3)
    assert cause.dof == 5
    assert float(estimate.value) == pytest.approx(np.mean(singles), rel=1e-9)


@pytest.mark.parametrize(("known", "share"), [("noise", 0.0), ("unknown", 0.5), ("real", 1.0)])
def test_root_of_a_scattering_pressure(known, share):
    """Mean of roots lies s²/8 below the root of the mean: real unsteadiness takes all of it, unknown the middle."""
    drops = 250.0 * (1 + 0.2 * np.array([-1, 1] * 10))
    steady = float(flowrig.reduce(nozzle(drop="250 Pa")).flow.estimate.value)
    result = flowrig.reduce(nozzle(drop=[f"{d} Pa" for d in drops], fluctuation=known))
    bias = float(result.flow.estimate.value) / steady - 1
    assert bias == pytest.approx(-share * 0.2**2 / 8, abs=0.03 * 0.2**2 / 8 + 1e-6)
    limits = [p for c, p in result.flow.estimate.parts.items() if c.id.endswith(":unsteadiness")]
    assert bool(limits) == (known == "unknown")
    assert "unsteady readings" in codes(result)


def test_standard_flow_names_its_density():
    record = nozzle()
    record["standard_density"] = "0.075 lb/ft3"
    flow = flowrig.reduce(record).flows[0]
    usual = flowrig.reduce(nozzle()).flows[0]
    assert "0.075 lb/ft3" in flow["standard_flow"].label
    # Source: units.csv, ratio of flows at the two standard densities, 0.998847369 (exact definitions)
    ratio = float(flow["standard_flow"].estimate.value / usual["standard_flow"].estimate.value)
    assert ratio == pytest.approx(0.998847369, rel=1e-9)


def test_temperature_rise_of_a_fan_is_an_upper_bound():
    record = nozzle()
    record["air"]["unit"] = {"fan_power": "400 W", "pressure": "101325 Pa", "relative_humidity": "50 %"}
    result = flowrig.reduce(record)
    flow = result.flows[0]
    rise = 400 / (float(flow["mass_flow"].estimate.value) * 1006)
    unit, meter = (flow.air[s]["temperature"] for s in ("unit", "meter"))
    assert float(unit.value) == pytest.approx(float(meter.value) - rise / 2, abs=1e-6)
    [heat] = [p for c, p in unit.parts.items() if c.id.endswith(":heat")]
    assert abs(float(heat[0])) == pytest.approx(rise / 2 / math.sqrt(3), rel=1e-6)
    assert "temperature from fan power" in codes(result)


def test_altitude_stands_in_for_a_barometer_with_an_honest_bar():
    record = nozzle()
    record["air"]["meter"] = {"temperature": "20 degC", "altitude": "1650 m", "relative_humidity": "50 %"}
    result = flowrig.reduce(record)
    assert "pressure from altitude" in codes(result)
    # Source: US Standard Atmosphere 1976: p = 101325 (1 − 2.25577e-5 h)^5.25588
    assert float(result.flows[0].air["meter"]["pressure"].value) == pytest.approx(
        101325 * (1 - 2.25577e-5 * 1650) ** 5.25588, rel=1e-4
    )
    assert float(result.flows[0].air["meter"]["pressure"].u) == pytest.approx(1000, rel=1e-6)


def test_sea_level_pressure_at_altitude_is_suspected():
    record = nozzle()
    record["air"]["meter"] |= {"altitude": "1650 m"}
    assert "sea-level pressure suspected" in codes(flowrig.reduce(record))
    record["air"]["meter"] |= {"pressure": "831 hPa"}
    assert "sea-level pressure suspected" not in codes(flowrig.reduce(record))


@pytest.mark.library
@pytest.mark.parametrize(("reading", "key"), [("relative_humidity", "R"), ("dew_point", "D"), ("wet_bulb", "B")])
def test_humidity_in_three_ways(reading, key):
    from CoolProp.HumidAirProp import HAPropsSI

    value = HAPropsSI(key, "T", 293.15, "P", 101325.0, "R", 0.5)
    said = "50 %" if key == "R" else f"{value} K"
    record = nozzle()
    record["air"]["meter"] = {"temperature": "20 degC", "pressure": "101325 Pa", reading: said}
    found = flowrig.reduce(record).flows[0].air["meter"]["density"]
    # Source: air_cipm2007_points.csv, 20 degC 101325 Pa 50 %: 1.1993139 (recomputed from the published constants)
    assert float(found.value) == pytest.approx(1.1993139, rel=2e-5)


def test_no_humidity_is_assumed_and_said():
    record = nozzle()
    del record["air"]["meter"]["relative_humidity"]
    assert "humidity not read" in codes(flowrig.reduce(record))


def test_saturated_air_keeps_its_draws():
    record = nozzle()
    record["air"]["meter"]["relative_humidity"] = "100 %"
    result = flowrig.reduce(record, samples=20_000)
    assert "air saturated" in codes(result)
    assert "draws without a value" not in codes(result)


def test_reversed_hoses_are_an_input_fault_and_noise_round_zero_is_not():
    with pytest.raises(flowrig.InputError, match="hoses"):
        flowrig.reduce(nozzle(drop="-250 Pa"))
    result = flowrig.reduce(nozzle(drop="-0.1 Pa"))
    assert float(result.flow.estimate.value) < 0
    assert "below noise" in codes(result)


def test_a_home_made_nozzle_carries_its_limit():
    record = nozzle()
    record["nozzles"]["A"] |= {"made": "home-made", "coefficient_limit": "4 %"}
    wide = flowrig.reduce(record).flow.estimate
    [part] = [p for c, p in wide.parts.items() if ":coefficient" in c.id and c.scope == "calibration"]
    assert abs(float(part[0])) / float(wide.value) == pytest.approx(0.04 / math.sqrt(3), rel=1e-9)


def test_approach_velocity_is_corrected_and_flagged():
    still = float(flowrig.reduce(nozzle()).flow.estimate.value)
    result = flowrig.reduce(nozzle(chamber_width="300 mm", chamber_height="300 mm"))
    share = 0.98 * math.pi / 4 * 0.15**2 / 0.09
    assert float(result.flow.estimate.value) / still - 1 == pytest.approx(0.5 * share**2, rel=0.05)
    assert "approach velocity" in codes(result)
    assert "chamber size unknown" not in codes(result)


def test_coverage_and_samples_do_what_they_say():
    narrow, wide = (flowrig.reduce(nozzle(), coverage=p).flow for p in (0.68, 0.99))
    assert (float(wide.high) - float(wide.low)) / (float(narrow.high) - float(narrow.low)) == pytest.approx(2.59, 0.02)
    drawn = flowrig.reduce(nozzle(), samples=200_000, seed=3).flow
    linear = flowrig.reduce(nozzle()).flow
    assert (drawn.interval.source, linear.interval.source) == ("monte carlo", "linear")
    assert float(drawn.low) == pytest.approx(float(linear.low), rel=5e-4)
    assert float(flowrig.reduce(nozzle(), samples=200_000, seed=4).flow.low) != float(drawn.low)


def test_quantities_and_frames():
    result = flowrig.reduce(nozzle())
    # Source: units.csv, one cfm is 1.6990108 m3/h (exact)
    assert result.flow.quantity("cfm").m * 1.6990108 == pytest.approx(float(result.flow.value), rel=1e-8)
    frame = result.to_frame()
    assert list(frame["quantity"]) == ["actual_flow_meter", "standard_flow", "mass_flow"]
    assert frame["value"][0] == pytest.approx(float(result.flow.value))
    import pint

    stock = pint.UnitRegistry()
    record = nozzle(drop=stock.Quantity(0.25, "kPa"))
    assert float(flowrig.reduce(record).flow.estimate.value) > 0
