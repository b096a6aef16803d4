"""Curves through points, resistances side by side, and where two curves meet, against other roads to the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from flowrig.physics.balance import BEYOND, bracketed, crossing_cells, places, refined, shape_keeping, stage_drop
from flowrig.physics.resistance import filter_velocity, gap_flow, power_law_velocity

NODES = np.array([0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.65])
DIP = np.array([80.0, 60.0, 42.0, 35.0, 50.0, 52.0, 40.0, 0.0])
INSIDE = np.linspace(0.0, 0.65, 1001)


# Filters and gaps side by side: (area, linear, quadratic, factor, exponent, gap) of each.
BANKS = [
    pytest.param([(0.25, 38.0, 14.0, 0.0, 1.0, 0.0)], id="one filter"),
    pytest.param([(0.25, 38.0, 14.0, 0.0, 1.0, 0.002)], id="one filter, a gap"),
    pytest.param([(0.25, 38.0, 14.0, 0.0, 1.0, 0.0), (0.4, 120.0, 5.0, 0.0, 1.0, 0.001)], id="two sorts"),
    pytest.param([(0.25, 0.0, 0.0, 55.0, 1.3, 0.0), (0.4, 120.0, 5.0, 0.0, 1.0, 0.001)], id="two laws, a gap"),
    pytest.param([(0.25, 0.0, 0.0, 55.0, 1.0, 0.0), (0.1, 0.0, 0.0, 20.0, 2.0, 0.0)], id="exponents 1 and 2"),
    pytest.param([(0.25, 38.0, 14.0, 0.0, 1.0, 0.0), (0.0, 30.0, 10.0, 0.0, 1.0, 0.0)], id="one that is not there"),
    pytest.param([(0.0, 38.0, 14.0, 0.0, 1.0, 0.003)], id="a gap alone"),
]  # fmt: skip


def passed(drop, members, density):
    """Flow of each at a drop, by the laws of one filter and one hole."""
    total = 0.0
    for area, linear, quadratic, factor, exponent, gap in members:
        if area > 0:
            velocity = (
                power_law_velocity(drop, factor, exponent) if factor else filter_velocity(drop, linear, quadratic)
            )
            total += area * velocity
        total += gap_flow(drop, gap, 1.0, density)
    return float(total)


def columns(members):
    return [np.array(column) for column in zip(*members, strict=True)]


@pytest.mark.library
@pytest.mark.parametrize("members", BANKS)
@pytest.mark.parametrize("flow", [1e-6, 0.003, 0.05, 0.3, 2.0])
def test_the_drop_of_a_stage_by_a_root_finder_on_the_sum_of_flows(members, flow):
    found = float(stage_drop(flow, *columns(members), 1.1))
    other = brentq(lambda drop: passed(drop, members, 1.1) - flow, 0.0, 1e9, xtol=1e-300, rtol=1e-14, maxiter=1000)
    assert found == pytest.approx(other, rel=1e-10)
    assert float(stage_drop(-flow, *columns(members), 1.1)) == -found


def test_a_stage_at_rest_and_one_that_is_not_there():
    assert stage_drop(0.0, *columns([(0.25, 38.0, 14.0, 0.0, 1.0, 0.002)]), 1.2) == 0.0
    assert np.isnan(stage_drop(0.1, *columns([(0.0, 38.0, 14.0, 0.0, 1.0, 0.0)]), 1.2))


@given(
    flow=st.floats(1e-4, 2.0),
    areas=st.lists(st.floats(0.05, 1.0), min_size=1, max_size=4),
    linear=st.floats(1.0, 200.0),
    quadratic=st.floats(0.0, 100.0),
    gap=st.floats(0.0, 0.02),
)
@settings(max_examples=60, deadline=None)
def test_filters_in_parallel_are_one_of_their_area(flow, areas, linear, quadratic, gap):
    many = [(a, linear, quadratic, 0.0, 1.0, gap * a / sum(areas)) for a in areas]
    one = [(sum(areas), linear, quadratic, 0.0, 1.0, gap)]
    together = float(stage_drop(flow, *columns(many), 1.2))
    assert together == pytest.approx(float(stage_drop(flow, *columns(one), 1.2)), rel=1e-9)
    if gap > 1e-6:  # a gap relieves the filter
        assert together < float(stage_drop(flow, *columns([(sum(areas), linear, quadratic, 0.0, 1.0, 0.0)]), 1.2))


# Source: the file's own factors, N^n for the same flow through N equal filters, recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(("exponent", "factor"), [(1.0, 4.0), (1.18, 5.1337036), (1.5, 8.0), (2.0, 16.0)])
def test_four_filters_at_the_flow_of_one(exponent, factor):
    one, four = ([(area, 0.0, 0.0, 50.0, exponent, 0.0)] for area in (0.25, 1.0))
    drops = [float(stage_drop(0.2, *columns(members), 1.2)) for members in (one, four)]
    assert drops[0] / drops[1] == pytest.approx(factor, rel=1e-7)


@pytest.mark.library
@pytest.mark.parametrize("values", [DIP, DIP[::-1].copy(), np.sqrt(NODES), NODES**0 * 3.0], ids="abcd")
def test_the_curve_is_the_librarys(values):
    curve = shape_keeping(NODES, values)
    np.testing.assert_allclose(curve.at(INSIDE), PchipInterpolator(NODES, values)(INSIDE), rtol=1e-12, atol=1e-12)
    np.testing.assert_array_equal(curve.at(NODES), values)
    # beyond the ends it goes on as straight as it ended
    first, last = BEYOND * (NODES[1] - NODES[0]), BEYOND * (NODES[-1] - NODES[-2])
    slope = PchipInterpolator(NODES, values).derivative()(NODES[[0, -1]])
    assert float(curve.at(NODES[:1] - first)[0]) == pytest.approx(values[0] - first * slope[0])
    assert float(curve.at(NODES[-1:] + last)[0]) == pytest.approx(values[-1] + last * slope[-1])


@pytest.mark.library
def test_curves_whose_points_moved_are_each_the_librarys():
    rng = np.random.default_rng(3)
    moved = DIP + rng.standard_normal((5, 2, len(NODES)))
    curves = shape_keeping(NODES, moved).at(INSIDE)
    assert curves.shape == (5, 2, len(INSIDE))
    for i in np.ndindex(5, 2):
        np.testing.assert_allclose(curves[i], PchipInterpolator(NODES, moved[i])(INSIDE), rtol=1e-11, atol=1e-11)


def test_straight_lines_and_half_of_the_way_to_them():
    lines = shape_keeping(NODES, DIP, 1.0).at(INSIDE)
    np.testing.assert_allclose(lines, np.interp(INSIDE, NODES, DIP), rtol=1e-12, atol=1e-12)
    half = shape_keeping(NODES, DIP, 0.5).at(INSIDE)
    np.testing.assert_allclose(half, (lines + shape_keeping(NODES, DIP).at(INSIDE)) / 2, rtol=1e-12, atol=1e-12)


def test_one_curve_bent_in_many_ways_is_many_curves():
    bent = np.array([0.0, 0.3, 1.0])[:, np.newaxis]
    curves = shape_keeping(NODES, DIP[np.newaxis], bent).at(INSIDE)
    for one, curve in zip((0.0, 0.3, 1.0), curves, strict=True):
        np.testing.assert_array_equal(curve, shape_keeping(NODES, DIP, one).at(INSIDE))


def test_a_dip_is_kept_where_it_is_and_no_other_is_added():
    curve = shape_keeping(NODES, DIP).at(INSIDE)
    assert curve.min() == 0.0
    near = (INSIDE > 0.2) & (INSIDE < 0.3)
    assert curve[near].min() == pytest.approx(35.0, abs=1e-3)
    assert INSIDE[near][np.argmin(curve[near])] == pytest.approx(0.25, abs=1e-3)
    turns = np.flatnonzero(np.diff(np.sign(np.diff(curve))))
    assert len(turns) == 2  # the bottom of the dip and the top to the right of it


@given(st.lists(st.floats(-50.0, 100.0).map(lambda x: round(x, 3)), min_size=3, max_size=9))
@settings(max_examples=60, deadline=None)
def test_between_two_points_the_curve_stays_between_them(values):
    nodes = np.cumsum(1.0 + np.arange(len(values)) % 3)
    at = np.linspace(nodes[0], nodes[-1], 301)
    curve = shape_keeping(nodes, np.array(values)).at(at)
    k = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    ends = np.sort(np.stack([np.array(values)[k], np.array(values)[k + 1]]), axis=0)
    assert np.all((curve >= ends[0] - 1e-9) & (curve <= ends[1] + 1e-9))


def test_a_curve_without_a_value_has_none_and_leaves_the_others_alone():
    values = np.stack([DIP, np.where(np.arange(8) == 3, np.nan, DIP)])
    curves = shape_keeping(NODES, values).at(INSIDE)
    np.testing.assert_array_equal(curves[0], shape_keeping(NODES, DIP).at(INSIDE))
    assert np.all(np.isnan(curves[1]))


def test_places_hold_every_point_and_both_ends_beyond():
    found = places(shape_keeping(NODES, DIP))
    assert np.all(np.isin(NODES, found))
    assert found[0] < 0.0 < 0.65 < found[-1]
    assert np.all(np.diff(found) > 0)


def test_changes_of_side():
    apart = np.array([3.0, -1.0, 0.0, 2.0, 0.0, -1.0])
    assert np.flatnonzero(crossing_cells(apart, True)).tolist() == [0, 3]
    assert np.flatnonzero(crossing_cells(apart, False)).tolist() == [2]
    assert not np.any(crossing_cells(np.array([1.0, np.nan, -1.0]), True))


@pytest.mark.library
def test_many_crossings_at_once_each_found_from_a_place_near_it():
    root = np.linspace(0.5, 4.0, 7)

    def apart(t, i):
        return root[i] - t - 0.1 * (t - root[i]) ** 3

    i = np.arange(7)
    near = np.where(i == 2, np.nan, root + 0.3)
    low, high = bracketed(apart, near, 0.02, (0.0, 5.0), i)
    assert np.isnan(low[2])
    assert np.isnan(high[2])
    others = i != 2
    assert np.all((low[others] <= root[others]) & (high[others] >= root[others]))
    found = refined(apart, low, high, (i,))
    assert found[others] == pytest.approx(root[others], rel=1e-10)
    for k in np.flatnonzero(others):
        assert found[k] == pytest.approx(brentq(lambda t, k=k: apart(t, k), 0.0, 5.0), rel=1e-9)
    assert np.isnan(found[2])


def test_a_crossing_beyond_the_ends_is_not_found():
    low, high = bracketed(lambda t, i: 9.0 - t, np.array([2.0]), 0.1, (0.0, 5.0), np.array([0]))
    assert np.isnan(low[0])
    assert np.isnan(high[0])
