"""A fan against a bank, from records to a flow with its error bar, against worked figures and independent draws."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from flowrig.errors import CalculationError
from flowrig.studies.predict import Predicted, predict
from tests.reference.load import rows
from tests.studies.cleaners import (
    DIP_FLOWS,
    DIP_PRESSURES,
    FLOWS,
    PRESSURES,
    UNIT,
    cleaner,
    codes,
    fan,
    heading,
    panel,
    still_air,
    values,
)
from tests.studies.test_filter_law import behind_a_nozzle

WORKED = tomllib.loads((Path(__file__).parents[1] / "reference" / "fans_worked.toml").read_text(encoding="utf-8"))
QUADRATIC = WORKED["operating_point_quadratic"]
FEW = 400  # draws, where a test looks at no interval


def few(record: dict[str, Any]) -> Predicted:
    return predict(record, samples=FEW)


def part_of(estimate: Any, words: str) -> float:
    """The movement by the one cause whose name or label holds some words."""
    [found] = [p for c, p in estimate.parts.items() if words in (c.label or "") or words in c.name]
    return float(found[0])


# Source: a made-up fan and bank, recomputed in closed form. 61 points: between two of them a shape-keeping cubic is
# off by less than 2e-4 Pa, so that the flow is good to the fifth digit.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_the_quadratic_fan_and_bank(number):
    flows = np.linspace(0.0, QUADRATIC["free_air_m3_h"], 61)
    there = still_air()
    pressures = 70 - 0.012 * flows - 2.5e-5 * flows**2
    pressures[-1] = 0.0  # what is left of it there is the rounding of the file
    made = fan(flows, pressures, density=there["density"])
    filter_ = panel(
        width="508 mm", height="508 mm", linear="38 Pa ± 6 Pa (k=2)", quadratic="14 Pa ± 4 Pa (k=2)", **there
    )
    found = few(cleaner({"filter": filter_, "count": number}, fan=made))
    said = QUADRATIC["results"][f"{number}_filters"]
    assert found.flow.value == pytest.approx(said["flow_m3_h"], rel=2e-5)
    assert found["pressure"].value == pytest.approx(said["pressure_Pa"], rel=3e-5)
    assert found.entries[0]["velocity"].value == pytest.approx(said["face_velocity_m_s"], rel=2e-5)
    assert found["share"].value == pytest.approx(100 * said["flow_m3_h"] / QUADRATIC["free_air_m3_h"], rel=2e-5)
    of_flow = found.flow.estimate
    assert 3600 * part_of(of_flow, "linear of the filter") / 3.0 == pytest.approx(said["dQ_da"], rel=2e-3)
    assert 3600 * part_of(of_flow, "quadratic of the filter") / 2.0 == pytest.approx(said["dQ_db"], rel=2e-3)


BLOWER = [row for row in rows("fan_curves.csv") if row["fan"] == "blower_400_1750rpm"]


# Source: a catalogued blower of an open dataset against 1.6 (Q/2200)^1.18 in. w.g., recomputed by two interpolants.
@pytest.mark.recomputed
def test_a_published_curve_against_a_power_law():
    real = WORKED["operating_point_real_curve"]
    there = still_air()
    flows, pressures = ([float(row[c]) for row in BLOWER] for c in ("flow_cfm", "static_pressure_inwg"))
    made = fan(flows, pressures, ("cfm", "inH2O"), density=there["density"])
    at = np.array([1500.0, 2600.0])
    system = panel(width="1 m", height="1 m", law="power", flow=values(at, "cfm"), drop_limit="0 %",
                   drop=values(1.6 * (at / 2200) ** 1.18, "inH2O"), **there)  # fmt: skip
    found = predict(cleaner({"filter": system}, fan=made), unit="cfm", samples=4000)
    assert found.flow.value == pytest.approx(real["flow_cfm_pchip"], abs=0.1)
    # straight lines are one limit of the cause between the points, a whole 1/√3 of it away
    straight = found.flow.value + 3**0.5 * part_of(found.flow.estimate, "between its points") * 3600 / 1.6990108
    assert straight == pytest.approx(real["flow_cfm_linear_interpolation"], abs=0.1)
    assert found.flow.low < real["flow_cfm_linear_interpolation"] < real["flow_cfm_pchip"] < found.flow.high


def noisy_fan() -> dict[str, Any]:
    """Points read by a flow meter and a manometer of coarse digits, so that each is off by itself in both axes."""
    instruments = {
        "meter": {"measures": "flow", "serial": "Q", "accuracy": "0.001 % of reading", "resolution": "40 m3/h"},
        "manometer": {"measures": "pressure difference", "serial": "P", "accuracy": "0.001 Pa", "resolution": "3 Pa",
                      "zero_before": "0 Pa", "zero_after": "0 Pa"},
    }  # fmt: skip
    points = {"flow [m3/h]": np.array(FLOWS[1:], dtype=float), "pressure [Pa]": np.array(PRESSURES[1:], dtype=float)}
    return heading("A coarse fan") | {
        "air": {"meter": dict(UNIT)}, "instruments": instruments, "fan": {"figures": "measured", "points": points},
    }  # fmt: skip


@pytest.mark.library
@pytest.mark.parametrize("number", [1, 3])
def test_the_error_bar_by_independent_draws(number):
    """2000 draws of numpy, each solved by brentq over scipy's own curve: their spread is good to 1.6 %."""
    there = still_air()
    density = float(there["density"].split()[0])
    filter_ = panel(linear="38 Pa ± 8 Pa (k=2)", quadratic="14 Pa ± 6 Pa (k=2)", **there)
    found = predict(cleaner({"filter": filter_, "count": number}, fan=noisy_fan()))
    rng = np.random.default_rng(11)
    flows = []
    for _ in range(2000):
        q = np.array(FLOWS[1:]) + 40.0 * rng.uniform(-0.5, 0.5, 6)
        p = np.array(PRESSURES[1:]) + 3.0 * rng.uniform(-0.5, 0.5, 6)
        a, b, s = 38.0 + 4 * rng.standard_normal(), 14.0 + 3 * rng.standard_normal(), rng.uniform(-1, 1)
        thick = 1 + 0.015 * rng.uniform(-1, 1)  # the equation of viscosity holds to 1.5 %
        curve = PchipInterpolator(q, p)

        def apart(x, q=q, p=p, a=a * thick, b=b, s=s, curve=curve):
            v = x / 3600 / (0.25 * number)
            return (1 - s) * curve(x) + s * np.interp(x, q, p) - a * v - b * v**2

        flows.append(brentq(apart, q[0], q[-1]))
    assert density == pytest.approx(1.2, rel=0.01)
    assert found.flow.value == pytest.approx(np.mean(flows), abs=4 * np.std(flows) / 2000**0.5)
    assert 3600 * float(found.flow.estimate.u) == pytest.approx(np.std(flows), rel=0.05)
    ends = np.quantile(flows, [0.025, 0.975])
    assert [found.flow.low, found.flow.high] == pytest.approx(ends, abs=0.15 * np.std(flows))


def efficient(**fields: Any) -> dict[str, Any]:
    usual = {"particles": "1 to 3 um", "efficiency": ["90 %", "80 %"], "efficiency_velocity": ["0.4 m/s", "1.4 m/s"]}
    return panel(**(usual | fields))


def test_an_efficiency_is_taken_at_the_velocity_that_the_filter_runs_at():
    for number in (1, 2):
        found = few(cleaner({"filter": efficient(), "count": number}, fan=fan()))
        velocity = found.entries[0]["velocity"].value
        assert 0.4 < velocity < 1.4
        expected = np.interp(velocity, [0.4, 1.4], [90.0, 80.0])
        assert found.entries[0]["media_efficiency"].value == pytest.approx(expected, rel=1e-9)
        assert found["clean_air"].value == pytest.approx(expected / 100 * found.flow.value, rel=1e-9)
        assert "efficiency carried to another velocity" not in codes(found.findings)


def test_an_efficiency_known_elsewhere_alone_is_carried_and_flagged():
    for number, flagged in ((1, False), (6, True)):
        filter_ = efficient(efficiency=["85 %"], efficiency_velocity=["0.95 m/s"])
        found = few(cleaner({"filter": filter_, "count": number}, fan=fan()))
        assert found["efficiency"].value == pytest.approx(85.0)
        assert ("efficiency carried to another velocity" in codes(found.findings)) == flagged


def test_a_gap_raises_the_flow_and_lowers_the_efficiency():
    tight, leaky = (
        few(
            cleaner(
                {"filter": efficient(efficiency=["85 %"], efficiency_velocity=["1 m/s"]), "count": 2} | gap, fan=fan()
            )
        )
        for gap in ({}, {"gap_area": "60 cm2"})
    )
    assert leaky.flow.value > tight.flow.value
    beside = leaky.entries[0]["beside_share"].value / 100
    assert leaky["efficiency"].value == pytest.approx(85.0 * (1 - beside), rel=1e-9)
    assert leaky["clean_air"].value < tight["clean_air"].value


def test_stages_let_through_the_product_of_what_each_lets_through():
    coarse = efficient(efficiency=["30 %"], efficiency_velocity=["1 m/s"], linear="15 Pa", quadratic="5 Pa")
    fine = efficient(efficiency=["85 %"], efficiency_velocity=["1 m/s"])
    found = few(
        cleaner({"filter": coarse, "count": 2, "stage": 1}, {"filter": fine, "count": 2, "stage": 2}, fan=fan())
    )
    assert found["efficiency"].value == pytest.approx(100 * (1 - 0.7 * 0.15), rel=1e-9)
    assert sum(e["drop"].value for e in found.entries) == pytest.approx(found["pressure"].value, rel=1e-9)


def test_a_filter_far_above_its_tested_velocity_is_flagged():
    velocity = np.array([0.2, 0.3, 0.4])
    filter_ = panel(velocity=values(velocity, "m/s"), drop=values(38 * velocity + 14 * velocity**2, "Pa"))
    for number, flagged in ((2, True), (6, False)):
        found = few(cleaner({"filter": filter_, "count": number}, fan=fan()))
        assert ("filter beyond its tested velocity" in codes(found.findings)) == flagged
        assert (found.entries[0]["velocity"].value > 1.25 * 0.4) == flagged


def test_several_crossings_are_all_told_the_greatest_stable_one_first():
    narrow = panel(linear="0.001 Pa", quadratic="48 Pa")
    plain = few(cleaner({"filter": narrow}, fan=fan()))
    assert not {"several crossings", "fan curve with a dip"} & codes(plain.findings)
    deep = (72, 58, 47, 22, 46, 44, 33, 18, 0)
    found = few(cleaner({"filter": narrow}, fan=fan(DIP_FLOWS, deep)))
    assert [c.stable for c in found.crossings] == [True, False, True]
    flows = [c.quantities["flow"].value for c in found.crossings]
    assert flows == sorted(flows, reverse=True)
    assert {"several crossings", "fan curve with a dip"} <= codes(found.findings)
    for crossing in found.crossings:
        curve = PchipInterpolator(DIP_FLOWS, deep)
        flow = crossing.quantities["flow"].value
        density = float(still_air()["density"].split()[0]) / 1.2
        assert crossing.quantities["pressure"].value == pytest.approx(density * float(curve(flow)), rel=1e-6)


def test_a_dip_far_from_the_crossing_is_told_but_is_one_crossing():
    found = few(cleaner({"filter": panel(), "count": 4}, fan=fan(DIP_FLOWS, DIP_PRESSURES)))
    assert "fan curve with a dip" in codes(found.findings)
    assert "several crossings" not in codes(found.findings)


@pytest.mark.parametrize("more", [{}, {"fans": 2, "arrangement": "side by side"}, {"speed_ratio": "70 %"}], ids=str)
def test_a_nameplate_is_held_against_one_fan_at_its_own_speed(more):
    for claim, flagged in (("1810 m3/h", False), ("2600 m3/h", True)):
        made = fan(claimed_free_air=claim, flow_limit="5 %")
        found = few(cleaner({"filter": panel(), "count": 4}, fan=made, **more))
        assert ("nameplate against curve" in codes(found.findings)) == flagged


def test_a_crossing_near_the_last_point_is_flagged_unless_that_is_free_air():
    limits = {"flow_limit": "5 %", "pressure_limit": "5 %"}
    cut = fan(FLOWS[:-1], PRESSURES[:-1], **limits)
    light = panel(width="1 m", height="1 m", linear="30 Pa", quadratic="36 Pa")
    assert "crossing near the end of the curve" in codes(few(cleaner({"filter": light}, fan=cut)).findings)
    whole = fan(**limits)
    assert "crossing near the end of the curve" not in codes(few(cleaner({"filter": light}, fan=whole)).findings)
    assert "crossing near the end of the curve" not in codes(few(cleaner({"filter": panel()}, fan=cut)).findings)


def test_curves_that_do_not_meet_are_told_why():
    cut = fan(FLOWS[2:5], PRESSURES[2:5])
    with pytest.raises(CalculationError, match=r"still gives .* Pa more than the bank takes.*nearer to free air"):
        predict(cleaner({"filter": panel(), "count": 8}, fan=cut))
    with pytest.raises(CalculationError, match=r"takes .* Pa more than the fan gives.*nearer to shut-off"):
        predict(cleaner({"filter": panel(linear="400 Pa", quadratic="0 Pa")}, fan=cut))


def test_speed_and_altitude_by_the_fan_laws():
    square = panel(linear="0.000001 Pa", quadratic="60 Pa", density="1.2 kg/m3")
    base = few(cleaner({"filter": square, "count": 2}, fan=fan()))
    slow = few(cleaner({"filter": square, "count": 2}, fan=fan(), speed_ratio="60 %"))
    assert slow.flow.value == pytest.approx(0.6 * base.flow.value, rel=1e-6)
    assert slow["pressure"].value == pytest.approx(0.36 * base["pressure"].value, rel=1e-6)
    assert "curve brought to another speed" in codes(slow.findings)
    assert "curve brought to another speed" not in codes(base.findings)
    assert "electrical power at another speed" not in codes(slow.findings)  # none is told
    record = cleaner({"filter": square, "count": 2}, fan=fan())
    record["air"]["unit"] = UNIT | {"pressure": "83500 Pa ± 1 Pa"}
    aloft = few(record)
    assert aloft.flow.value == pytest.approx(base.flow.value, rel=1e-6)
    ratio = float(aloft.setup.inputs["density"].value / base.setup.inputs["density"].value)
    assert aloft["pressure"].value == pytest.approx(ratio * base["pressure"].value, rel=1e-6)
    assert ratio == pytest.approx(83500 / 101325, rel=2e-3)


def test_a_speed_by_the_speed_of_the_record():
    made = fan(speed=["1000 rpm"] * 7)
    record = cleaner({"filter": panel(), "count": 2}, fan=made, speed="800 rpm")
    by_ratio = few(cleaner({"filter": panel(), "count": 2}, fan=made, speed_ratio="80 %"))
    assert few(record).flow.value == pytest.approx(by_ratio.flow.value, rel=1e-12)


def test_pieces_side_by_side_average_and_a_measured_one_does_not():
    def spread(number: int, **fields: Any) -> float:
        found = few(cleaner({"filter": panel(piece_spread="5 %", **fields), "count": number}, fan=fan()))
        return abs(part_of(found["pressure"].estimate, "spread from piece to piece"))

    # with twice the face the fan meets another part of its bank: compare by the drop's own share
    one = few(cleaner({"filter": panel(piece_spread="5 %")}, fan=fan())).setup.entries[0].members["linear"]
    four = few(cleaner({"filter": panel(piece_spread="5 %"), "count": 4}, fan=fan())).setup.entries[0].members["linear"]
    assert part_of(four, "piece to piece") == pytest.approx(part_of(one, "piece to piece") / 2)
    assert spread(1) > spread(4) > 0.0


def test_a_fan_that_does_not_stay_where_it_is_told_is_an_alarm():
    """Between the bottom of the dip and its top, and the points end before the bank is met again."""
    bare = panel(linear="0.001 Pa", quadratic="44 Pa")
    found = few(cleaner({"filter": bare}, fan=fan((650, 850, 880), (22, 46, 45.5))))
    assert [c.stable for c in found.crossings] == [False]
    [finding] = [f for f in found.findings if f.code == "unstable crossing"]
    assert finding.severity == "alarm"
    assert "unstable crossing" not in codes(few(cleaner({"filter": bare}, fan=fan())).findings)


def test_two_fans_on_a_curve_with_a_dip_may_not_share():
    two = {"fans": 2, "arrangement": "side by side"}
    for made, flagged in ((fan(DIP_FLOWS, DIP_PRESSURES), True), (fan(), False)):
        found = few(cleaner({"filter": panel(), "count": 8}, fan=made, **two))
        assert ("fans side by side on a curve with a dip" in codes(found.findings)) == flagged


POWERS = values((95, 94, 93, 91, 88, 84, 79), "W")


@pytest.mark.parametrize(("kind", "code"), [("shaft", "shaft power"), ("electrical", "electrical power in other air")])
def test_power_is_told_as_what_it_is(kind, code):
    made = fan(power=POWERS, power_is=kind, power_limit="0 %")
    record = cleaner({"filter": efficient(), "count": 2}, fan=made)
    here = few(record)
    assert ("shaft power" in codes(here.findings)) == (kind == "shaft")
    assert "electrical power in other air" not in codes(here.findings)
    assert ("clean_air_per_power" in here.main.quantities) == (kind == "electrical")
    record["air"]["unit"] = UNIT | {"pressure": "83500 Pa ± 1 Pa"}
    aloft = few(record)
    assert code in codes(aloft.findings)
    density = float(aloft.setup.inputs["density"].value)
    flow = aloft.main.place * 3600
    assert aloft["power"].value == pytest.approx(
        float(PchipInterpolator(FLOWS, (95, 94, 93, 91, 88, 84, 79))(flow)) * density / 1.2, rel=1e-6
    )


@pytest.mark.parametrize("kind", ["shaft", "electrical"])
def test_electrical_power_of_a_slowed_fan_is_told_with_a_warning(kind):
    made = fan(power=POWERS, power_is=kind, power_limit="0 %")
    found = few(cleaner({"filter": panel(), "count": 2}, fan=made, speed_ratio="80 %"))
    [*warned] = [f.severity for f in found.findings if f.code == "electrical power at another speed"]
    assert warned == (["warning"] if kind == "electrical" else [])


def test_what_is_assumed_of_stated_figures_is_said():
    bare = few(cleaner({"filter": panel(drop="25 Pa", velocity="1 m/s", **EFFICIENCY), "count": 2}, fan=fan()))
    told = {f.code: f.message for f in bare.findings}
    assert "in air of 1.2 kg/m3 assumed" in told["stated fan curve"]
    assert "in air of 1.2 kg/m3 assumed" in told["stated resistance"]
    assert "5 points of per cent" in told["efficiency with an assumed limit"]
    own = {"density": "1.1 kg/m3"}
    filters = panel(drop="25 Pa", velocity="1 m/s", efficiency_limit="3 %", **EFFICIENCY, **own)
    told = {f.code: f.message for f in few(cleaner({"filter": filters, "count": 2}, fan=fan(**own))).findings}
    assert "in air of 1.1 kg/m3 stated" in told["stated fan curve"]
    assert "in air of 1.1 kg/m3 stated" in told["stated resistance"]
    assert "efficiency with an assumed limit" not in told


EFFICIENCY = {"particles": "1 to 3 um", "efficiency": "85 %", "efficiency_velocity": "1 m/s"}


def test_what_is_known_of_an_efficiency_decides_what_is_told():
    other = efficient(particles="0.3 to 1 um")
    mixed = few(cleaner({"filter": efficient()}, {"filter": other}, fan=fan()))
    assert "efficiencies of different particles" in codes(mixed.findings)
    assert "clean_air" not in mixed.main.quantities
    weighed = few(cleaner({"filter": efficient(particles="ePM1")}, fan=fan()))
    assert "efficiency weighed by volume" in codes(weighed.findings)
    assert "clean_air" not in weighed.main.quantities
    bare = few(cleaner({"filter": efficient()}, {"filter": panel()}, fan=fan()))
    assert "efficiency not known" in codes(bare.findings)
    assert "clean_air" not in bare.main.quantities
    charged = few(cleaner({"filter": efficient()}, fan=fan()))
    assert "efficiency with its charge" in codes(charged.findings)
    told = few(cleaner({"filter": efficient(efficiency_conditioned="45 %")}, fan=fan()))
    assert "efficiency with its charge" not in codes(told.findings)
    assert told["efficiency_conditioned"].value == pytest.approx(45.0)


def test_the_piece_that_was_measured_differs_from_its_sort_however_many_there_are():
    record, _ = behind_a_nozzle()
    record["filter"] |= {"piece_spread": "6 %"}
    for number in (1, 4):
        members = few(cleaner({"filter": record, "count": number}, fan=fan())).setup.entries[0].members["linear"]
        value = float(members.value)
        assert part_of(members, "measured piece") == pytest.approx(0.06 / 3**0.5 * value, rel=1e-6)
        assert part_of(members, "piece to piece") == pytest.approx(0.06 / 3**0.5 / number**0.5 * value, rel=1e-6)


def test_a_slipped_unit_of_a_filter_is_noticed():
    """A face of 4.95 m for one of 495 mm: the air creeps."""
    drops = {"drop": ["20 Pa", "45 Pa"], "velocity": ["0.5 m/s", "1 m/s"]}
    right, slipped = (
        predict(cleaner({"filter": panel(**drops, width=side, height=side)}, fan=fan()))
        for side in ("500 mm", "5000 mm")
    )
    assert "filter far below its tested velocity" not in codes(right.findings)
    assert "filter far below its tested velocity" in codes(slipped.findings)
