"""Where a fan's curve meets a bank: every crossing, by root finders and closed forms as second roads."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from flowrig.studies.balance import AXES, Options, all_crossings, balance
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate, align
from flowrig.uncertainty.propagate import linear

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "fans_worked.toml").read_text(encoding="utf-8"))["operating_point_quadratic"]
HALF = tomllib.loads((REFERENCE / "fan_half_speed.toml").read_text(encoding="utf-8"))
NODES = np.array([0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.65])
DIP = np.array([80.0, 60.0, 42.0, 35.0, 50.0, 52.0, 40.0, 0.0])
# 201 points of the quadratic fan: between two of them a shape-keeping cubic is off by less than 1e-5 Pa of 70 Pa
QUADRATIC = np.linspace(0.0, WORKED["free_air_m3_h"], 201)
FACE = 0.508**2


def quadratic_fan(flow):
    """The fan of the worked figures: Pa at m3/h."""
    return 70.0 - 0.012 * flow - 2.5e-5 * flow**2


def bank(*, nodes=NODES, pressure=DIP, straightness=0.0, members=((0.25, 38.0, 14.0, 0.0, 1.0, 0.0),), **whole):
    """Inputs of the balance: some filters as (area, linear, quadratic, factor, exponent, gap)."""
    names = ("area", "linear", "quadratic", "factor", "exponent", "gap")
    inputs = {name: Estimate(list(x), ("filter",)) for name, x in zip(names, zip(*members, strict=True), strict=True)}
    inputs |= {"flow": Estimate(nodes, ("point",)), "pressure": Estimate(pressure, ("point",))}
    inputs["straightness"] = Estimate(straightness)
    usual = {"loss": 0.0, "density": 1.2, "speed_ratio": 1.0, "backflow": 0.0, "abreast": 1.0, "in_line": 1.0}
    return inputs | {name: Estimate(x) for name, x in (usual | whole).items()}


def crossings(inputs, nodes=NODES, stages=(1,)):
    options = Options(np.asarray(nodes), 1.2, stages)
    [found] = all_crossings(options, {n: align(x.value, x.axes, AXES) for n, x in inputs.items()})
    return found


def solved(inputs, nodes=NODES, stages=(1,), falling=True, near=None):
    """What holds at the stable crossing of the greatest flow."""
    if near is None:
        near = max(t for t, falls in crossings(inputs, nodes, stages) if falls == falling)
    kept = dict.fromkeys(("flow", "fan_flow", "pressure", "free_air", "shut_off", "share", "lost", "back"), ())
    kept |= dict.fromkeys(("drop", "velocity", "through", "beside"), ("filter",))
    options = Options(np.asarray(nodes), 1.2, stages)
    return linear(balance, inputs | {"near": Estimate(near)}, AXES, kept, options=options, falling=falling)


def power_bank(factor, exponent=1.0):
    """One face of 1 m2 whose drop is factor·q^exponent."""
    return ((1.0, 0.0, 0.0, factor, exponent, 0.0),)


def densely(factor, exponent, nodes=NODES, pressure=DIP):
    """Every crossing by another road: a fine grid over scipy's own curve, and brentq."""
    curve = PchipInterpolator(nodes, pressure)
    grid = np.linspace(nodes[0], nodes[-1], 40_001)

    def apart(q):
        return curve(q) - factor * q**exponent

    side = apart(grid)
    found = []
    for k in np.flatnonzero((side[:-1] > 0) != (side[1:] > 0)):
        found.append((brentq(apart, grid[k], grid[k + 1], xtol=1e-14), bool(side[k] > 0)))
    return found


@pytest.mark.library
@pytest.mark.parametrize(
    ("factor", "exponent", "kinds"),
    [
        pytest.param(150.0, 1.0, [True, False, True], id="three"),
        pytest.param(80.0, 1.0, [True], id="one, right of the dip"),
        pytest.param(400.0, 1.0, [True], id="one, left of the dip"),
        pytest.param(150.0, 1.05, [True, False, True], id="three, bent"),
        pytest.param(330.0, 1.6, [True, False, True], id="three, more bent"),
    ],
)
def test_every_crossing_is_found_and_told_stable_or_not(factor, exponent, kinds):
    found = crossings(bank(members=power_bank(factor, exponent)))
    other = densely(factor, exponent)
    assert [falls for _, falls in found] == [falls for _, falls in other] == kinds
    assert [t for t, _ in found] == pytest.approx([t for t, _ in other], rel=1e-9)


@pytest.mark.library
def test_a_curve_that_begins_below_the_bank_has_two():
    nodes, pressure = NODES[3:], DIP[3:]
    found = crossings(bank(nodes=nodes, pressure=pressure, members=power_bank(150.0)), nodes)
    other = densely(150.0, 1.0, nodes, pressure)
    assert [falls for _, falls in found] == [falls for _, falls in other] == [False, True]
    assert [t for t, _ in found] == pytest.approx([t for t, _ in other], rel=1e-9)


def test_a_bank_that_takes_too_much_or_too_little_has_none():
    assert crossings(bank(nodes=NODES[2:], pressure=DIP[2:], members=power_bank(900.0)), NODES[2:]) == []
    assert crossings(bank(nodes=NODES[:-1], pressure=DIP[:-1], members=power_bank(20.0)), NODES[:-1]) == []


@pytest.mark.library
@given(
    values=st.lists(st.floats(5.0, 90.0), min_size=4, max_size=8),
    factor=st.floats(20.0, 400.0),
    exponent=st.floats(1.0, 2.0),
)
@settings(max_examples=80, deadline=None)
def test_no_crossing_is_missed_but_two_within_an_eighth_of_a_stretch(values, factor, exponent):
    nodes, pressure = np.linspace(0.0, 0.7, len(values) + 1), np.array([*values, 0.0])
    found = crossings(bank(nodes=nodes, pressure=pressure, members=power_bank(factor, exponent)), nodes)
    other = densely(factor, exponent, nodes, pressure)
    cell = nodes[1] / 8
    alone = [
        (t, falls)
        for i, (t, falls) in enumerate(other)
        if all(abs(t - s) > cell for j, (s, _) in enumerate(other) if j != i)
    ]
    for t, falls in alone:
        assert any(falls == kind and abs(t - s) < 1e-8 for s, kind in found), (found, other)
    for s, kind in found:
        assert any(kind == falls and abs(t - s) < 1e-4 for t, falls in other), (found, other)


@pytest.mark.library
@pytest.mark.parametrize("falling", [True, False])
def test_each_crossing_is_solved_as_itself(falling):
    inputs = bank(members=power_bank(150.0))
    for t, falls in crossings(inputs):
        if falls == falling:
            out = solved(inputs, falling=falling, near=t)
            assert float(out["flow"].value) == pytest.approx(t, rel=1e-9)
            assert float(out["pressure"].value) == pytest.approx(150.0 * t, rel=1e-8)


# Source: a made-up fan and bank, solved in closed form and by a root finder, with sensitivities by hand.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_the_quadratic_fan_and_what_moves_its_crossing(number):
    p0, a, b = Cause("p0"), Cause("a"), Cause("b")
    nodes = QUADRATIC / 3600
    inputs = bank(nodes=nodes, pressure=quadratic_fan(QUADRATIC), members=((number * FACE, 38, 14, 0, 1, 0),))
    inputs["pressure"] = Estimate(inputs["pressure"].value, ("point",), {p0: np.full((1, 201), 2.0)})
    inputs["linear"] = Estimate([38.0], ("filter",), {a: [[3.0]]})
    inputs["quadratic"] = Estimate([14.0], ("filter",), {b: [[2.0]]})
    out = solved(inputs, nodes)
    found = WORKED["results"][f"{number}_filters"]
    assert 3600 * float(out["flow"].value) == pytest.approx(found["flow_m3_h"], rel=1e-6)
    assert float(out["pressure"].value) == pytest.approx(found["pressure_Pa"], rel=1e-6)
    assert float(out["velocity"].value[0]) == pytest.approx(found["face_velocity_m_s"], rel=1e-6)
    for cause, u, slope in ((p0, 2.0, "dQ_dp0"), (a, 3.0, "dQ_da"), (b, 2.0, "dQ_db")):
        # the movement is that of a whole u, so that the bend of the curves stands in the third digit
        assert 3600 * float(out["flow"].parts[cause][0]) / u == pytest.approx(found[slope], rel=2e-3)
    assert 3600 * float(out["flow"].u) == pytest.approx(found["u_flow_m3_h_for_u_p0_2_u_a_3_u_b_2"], rel=1e-3)
    shares = dict(zip((1, 2, 4), WORKED["flow_fraction_of_free_air_1_2_4_filters"], strict=True))
    assert float(out["share"].value) == pytest.approx(shares[number], rel=1e-6)
    assert float(out["shut_off"].value) == 70.0


@pytest.mark.recomputed
@given(
    p0=st.floats(30.0, 200.0), slope=st.floats(0.0, 60.0), a=st.floats(5.0, 100.0), b=st.floats(0.0, 60.0),
    area=st.floats(0.1, 2.0),
)  # fmt: skip
@settings(max_examples=30, deadline=None)
def test_quadratics_meet_where_the_closed_form_says(p0, slope, a, b, area):
    """p0 − s q − c q² = a q/A + b (q/A)², with c such that free air is at 0.5 m3/s."""
    c = (p0 - slope * 0.5) / 0.25
    nodes = np.linspace(0.0, 0.5, 401)
    inputs = bank(nodes=nodes, pressure=p0 - slope * nodes - c * nodes**2, members=((area, a, b, 0, 1, 0),))
    straight, bent = slope + a / area, c + b / area**2
    exact = 2 * p0 / (straight + math.sqrt(straight**2 + 4 * bent * p0))
    assert float(solved(inputs, nodes)["flow"].value) == pytest.approx(exact, rel=2e-6)


# Source: the file's recomputed rows; half speed is half flow only where the drop goes as the square of the flow.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_half_speed_is_less_than_half_the_flow(number):
    rows = HALF["speed_law"]["two_half_flow_units_vs_one"]
    k = rows["n_filters"].index(number)
    nodes, members = QUADRATIC / 3600, ((number * FACE, 38, 14, 0, 1, 0),)
    flows = [
        float(solved(bank(nodes=nodes, pressure=quadratic_fan(QUADRATIC), members=members, speed_ratio=r), nodes)[
            "flow"
        ].value)
        for r in (1.0, 0.5, rows["speed_ratio_for_half_flow"][k])
    ]  # fmt: skip
    assert 100 * flows[1] / flows[0] == pytest.approx(rows["flow_at_half_speed_pct_of_full"][k], rel=1e-6)
    assert flows[2] / flows[0] == pytest.approx(0.5, rel=1e-6)


MONOTONE = np.array([80.0, 74.0, 64.0, 58.0, 51.0, 36.0, 20.0, 0.0])


@given(speed=st.floats(0.2, 1.8), density=st.floats(0.8, 1.3), quadratic=st.floats(20.0, 400.0))
@settings(max_examples=40, deadline=None)
def test_where_the_drop_goes_as_the_square_the_flow_goes_as_the_speed(speed, density, quadratic):
    """And not at all with the density, of which the fan's pressure and the drop are both in proportion."""
    one = solved(bank(pressure=MONOTONE, members=((0.5, 0, quadratic, 0, 1, 0),)))
    other = solved(bank(
        pressure=MONOTONE, speed_ratio=speed, density=density, members=((0.5, 0, quadratic * density / 1.2, 0, 1, 0),),
    ))  # fmt: skip
    assert float(other["flow"].value) == pytest.approx(speed * float(one["flow"].value), rel=1e-8)
    scale = speed**2 * density / 1.2
    assert float(other["pressure"].value) == pytest.approx(scale * float(one["pressure"].value), rel=1e-8)
    assert float(other["free_air"].value) == pytest.approx(speed * float(one["free_air"].value), rel=1e-8)


@given(gap=st.floats(1e-4, 0.05), a=st.floats(20.0, 200.0), b=st.floats(0.0, 50.0))
@settings(max_examples=40, deadline=None)
def test_a_gap_raises_the_flow_and_takes_from_what_passes_the_medium(gap, a, b):
    tight = solved(bank(pressure=MONOTONE, members=((0.5, a, b, 0, 1, 0.0),)))
    leaky = solved(bank(pressure=MONOTONE, members=((0.5, a, b, 0, 1, gap),)))
    assert float(leaky["flow"].value) > float(tight["flow"].value)
    assert float(leaky["drop"].value[0]) < float(tight["drop"].value[0])
    through, beside = (float(leaky[name].value[0]) for name in ("through", "beside"))
    assert through < float(tight["through"].value[0])
    assert through + beside == pytest.approx(float(leaky["flow"].value), rel=1e-8)


@given(number=st.integers(2, 8), a=st.floats(20.0, 200.0), b=st.floats(0.0, 50.0))
@settings(max_examples=25, deadline=None)
def test_filters_side_by_side_are_one_of_their_area_and_behind_each_other_one_of_their_drop(number, a, b):
    area = 0.5
    one = solved(bank(pressure=MONOTONE, members=((number * area, a, b, 0, 1, 0.0),)))
    many = solved(bank(pressure=MONOTONE, members=((area, a, b, 0, 1, 0.0),) * number), stages=(1,) * number)
    assert float(many["flow"].value) == pytest.approx(float(one["flow"].value), rel=1e-8)
    thick = solved(bank(pressure=MONOTONE, members=((area, 2 * a, 2 * b, 0, 1, 0.0),)))
    two = solved(bank(pressure=MONOTONE, members=((area, a, b, 0, 1, 0.0),) * 2), stages=(1, 2))
    assert float(two["flow"].value) == pytest.approx(float(thick["flow"].value), rel=1e-8)


@given(number=st.integers(2, 5), a=st.floats(20.0, 200.0), b=st.floats(0.0, 50.0))
@settings(max_examples=25, deadline=None)
def test_fans_side_by_side_have_a_share_of_the_bank_each_and_in_line_a_share_of_the_drop(number, a, b):
    one = solved(bank(pressure=MONOTONE, members=((0.5, a, b, 0, 1, 0.0),)))
    abreast = solved(bank(pressure=MONOTONE, abreast=number, members=((0.5 * number, a, b, 0, 1, 0.0),)))
    assert float(abreast["flow"].value) == pytest.approx(number * float(one["flow"].value), rel=1e-8)
    assert float(abreast["share"].value) == pytest.approx(float(one["share"].value), rel=1e-8)
    in_line = solved(bank(pressure=MONOTONE, in_line=number, members=((0.5, number * a, number * b, 0, 1, 0.0),)))
    assert float(in_line["flow"].value) == pytest.approx(float(one["flow"].value), rel=1e-8)
    assert float(in_line["shut_off"].value) == pytest.approx(number * 80.0)


def test_losses_take_their_share_of_the_pressure():
    out = solved(bank(pressure=MONOTONE, loss=200.0))
    flow = float(out["flow"].value)
    assert float(out["lost"].value) == pytest.approx(200.0 * 0.6 * flow**2)
    assert float(out["pressure"].value) == pytest.approx(float(out["lost"].value) + float(out["drop"].value[0]))


def test_what_flows_back_at_the_fan_is_lost_to_the_bank():
    closed, opened = (solved(bank(pressure=MONOTONE, backflow=x)) for x in (0.0, 0.01))
    pressure = float(opened["pressure"].value)
    assert float(opened["back"].value) == pytest.approx(0.01 * math.sqrt(2 * pressure / 1.2))
    assert float(opened["flow"].value) < float(closed["flow"].value)
    assert float(opened["fan_flow"].value) == pytest.approx(float(opened["flow"].value) + float(opened["back"].value))
    assert float(np.interp(float(opened["fan_flow"].value), NODES, MONOTONE)) == pytest.approx(pressure, rel=0.03)
