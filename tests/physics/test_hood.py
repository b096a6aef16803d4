"""Two hood readings taken back to no hood, against fan curves whose flow without it is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics.hood import hood_actual_flow, hood_free_flow, hood_free_flow_by_curve

pressures = st.floats(1.0, 50.0)
apart = st.floats(1.5, 5.0)
flows = st.floats(0.05, 1.0)


def meet(curve, most, resistance):
    """Where a curve q(P) that falls to 0 at `most` meets a hood of P = resistance q^2, by halving."""
    low, high = 0.0, most
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle < resistance * curve(middle) ** 2 else (low, middle)
    return curve(low), low


# Source: analytic curve; the line is its own extrapolation.
@given(free=flows, slope=st.floats(1e-4, 2e-3), resistance=st.floats(20.0, 200.0), ratio=apart)
def test_exact_for_a_flow_that_falls_linearly(free, slope, resistance, ratio):
    line = (lambda pressure: free - slope * pressure), free / slope
    first, second = (meet(*line, r) for r in (resistance, ratio * resistance))
    assert hood_free_flow(*first, *second) == pytest.approx(free, rel=1e-8)


# Source: remainder of linear interpolation: high by b P1 P2 for Q0 - a P - b P^2, either sign of b.
@given(free=flows, slope=st.floats(0.0, 1e-3), bend=st.floats(-1e-5, 1e-5), first=pressures, ratio=apart)
def test_error_for_a_flow_that_falls_quadratically(free, slope, bend, first, ratio):
    second = first * ratio
    readings = [(free - slope * p - bend * p**2, p) for p in (first, second)]
    error = hood_free_flow(*readings[0], *readings[1]) - free
    assert error == pytest.approx(bend * first * second, rel=1e-9, abs=1e-13)


# Source: fan of P = Pmax (1 - (Q/Qmax)^2), bent so that the line is high; worked here in closed form.
@pytest.mark.recomputed
def test_a_parabolic_fan_reads_high_by_what_its_bend_says():
    free, most, low, high = 0.3, 100.0, 10.0, 25.0
    first, second = ((free * np.sqrt(1.0 - p / most), p) for p in (low, high))
    error = hood_free_flow(*first, *second) / free - 1.0
    # sqrt(1 - x) = 1 - x/2 - x^2/8 - ...: leading error x1 x2/8 = 0.31 %, the next term x1 x2 (x1 + x2)/16 = 0.055 %
    assert error == pytest.approx(0.1 * 0.25 / 8.0 + 0.1 * 0.25 * 0.35 / 16.0, rel=0.05)


@given(flow=flows, throttled=flows, first=pressures, ratio=apart)
def test_sense_and_order_do_not_matter(flow, throttled, first, ratio):
    free = hood_free_flow(flow, first, throttled, first * ratio)
    tolerance = 1e-12 * (flow + throttled) * ratio / (ratio - 1.0)
    assert hood_free_flow(-flow, -first, -throttled, -first * ratio) == pytest.approx(-free, abs=tolerance)
    assert hood_free_flow(throttled, first * ratio, flow, first) == pytest.approx(free, abs=tolerance)
    # the errors of both readings reach the answer as the notes say
    assert free == pytest.approx(flow * ratio / (ratio - 1.0) - throttled / (ratio - 1.0), abs=tolerance)


def test_no_pressure_is_no_correction_and_equal_pressures_say_nothing():
    assert hood_free_flow(0.2, 0.0, 0.15, 20.0) == 0.2
    answers = hood_free_flow(np.array([0.2, 0.2]), 5.0, 0.15, np.array([5.0, 10.0]))
    assert np.isnan(answers[0])
    assert answers[1] == pytest.approx(0.25, rel=1e-12)
    assert np.isnan(hood_free_flow(0.2, 0.0, 0.2, 0.0))


# Source: analytic curve q = q0 sqrt(1 - P/Pmax), brought to another speed by the fan laws.
@given(free=flows, most=st.floats(40.0, 80.0), speed=st.floats(0.7, 1.4), share=st.floats(0.0, 0.4))
def test_a_curve_brings_a_reading_back_whatever_the_speed(free, most, speed, share):
    at = np.linspace(0.0, 0.9 * most, 19)
    pressure = share * most * speed**2
    under = speed * free * np.sqrt(1 - share)
    found = hood_free_flow_by_curve(under, pressure, at, free * np.sqrt(1 - at / most))
    assert found == pytest.approx(speed * free, rel=2e-3)  # nineteen points of a curve that steepens
    assert hood_free_flow_by_curve(under, -pressure, at, free * np.sqrt(1 - at / most)) == found


@given(free=flows, slope=st.floats(1e-4, 1e-3), factor=st.floats(0.5, 3.0))
def test_two_points_of_a_curve_are_a_line_and_its_own_scale_does_not_matter(free, slope, factor):
    slope = slope * free / 0.05
    line = np.array([0.0, 20.0])
    under = free - slope * 8.0
    found = hood_free_flow_by_curve(under, 8.0, line, free - slope * line)
    assert found == pytest.approx(free, rel=1e-9)
    # the same unit faster: flow by the factor, pressure by its square
    faster = hood_free_flow_by_curve(under, 8.0, line * factor**2, factor * (free - slope * line))
    assert faster == pytest.approx(free, rel=1e-9)


def test_curves_that_say_nothing():
    good = np.array([0.0, 10.0, 20.0]), np.array([0.2, 0.19, 0.17])
    assert np.isfinite(hood_free_flow_by_curve(0.19, 5.0, *good))
    for bad in ((good[0] + 1, good[1]), (good[0], good[1][::-1]), (good[0][::-1], good[1])):
        assert np.isnan(hood_free_flow_by_curve(0.19, 5.0, *bad))
    assert np.isnan(hood_free_flow_by_curve(np.array([0.0, -0.1, 0.05]), np.array([5.0, 5.0, 90.0]), *good)).all()
    assert hood_free_flow_by_curve(0.19, 0.0, *good) == pytest.approx(0.19, rel=1e-12)


# Source: mass flow, velocity pressure and velocity, by their definitions.
def test_what_a_display_stands_for():
    density, reference, true = 0.96, 1.2, 0.2
    mass, root = true * density / reference, true * np.sqrt(density / reference)
    for shown, power in ((mass, 1.0), (root, 0.5), (true, 0.0)):
        assert hood_actual_flow(shown, density, reference, power) == pytest.approx(true, rel=1e-12)
    assert np.isnan(hood_actual_flow(0.2, 0.0, 1.2, 0.5))
