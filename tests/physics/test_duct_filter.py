"""A filter in the ducts of a building, its leaks and room units beside it, against the streams one by one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from flowrig.physics import (
    clean_air_for_concentration,
    concentration_at,
    duct_clean_air,
    duct_gain,
    duct_loss,
    room_gain,
    room_loss,
    steady_concentration,
)


# common practice, no source: f Q eta (1 - L); with no leak and a fan that never stands it is flow times efficiency.
def test_clean_air_of_the_ducts():
    assert duct_clean_air(1.0, 2000.0, 0.7, 0.0) == pytest.approx(1400.0)
    assert duct_clean_air(0.3, 2000.0, 0.7, 0.15) == pytest.approx(0.3 * 2000 * 0.7 * 0.85)
    assert duct_clean_air(0.3, 2000.0, -0.02, 0.15) < 0.0  # an efficiency that was measured is not clipped
    for inputs in [(1.1, 2000.0, 0.7, 0.1), (0.5, -1.0, 0.7, 0.1), (0.5, 1.0, 0.7, -0.1), (0.5, 1.0, 0.7, 0.1, 1.2)]:
        assert np.isnan(duct_clean_air(*inputs))


share = st.floats(0.0, 1.0)


def building(runtime, efficiency, out, into, clean_air, running=None):
    """dC/dt of a building from every stream of air by itself; ``running`` is the fan now, else its mean."""
    volume, flow, outdoor, attic, penetration, natural, deposition, source = (
        450.0,
        1800.0,
        120.0,
        260,
        0.8,
        0.4,
        0.3,
        900,
    )

    def change(time, level):
        fan = flow * (runtime if running is None else running(time))
        drawn, leaked_in = fan * (1 - into), fan * into
        filtered = (drawn * level + leaked_in * attic) * (1 - efficiency)  # x/h behind the filter
        delivered, arriving = fan * (1 - out), filtered * (1 - out)
        surplus = delivered - drawn  # the envelope lets out what comes in too much, and in what is missing
        through_cracks = natural * volume + max(-surplus, 0.0)
        out_of_cracks = natural * volume + max(surplus, 0.0)
        assert delivered + through_cracks == pytest.approx(drawn + out_of_cracks)
        enters = arriving + through_cracks * penetration * outdoor + source
        leaves = (drawn + out_of_cracks + deposition * volume + clean_air) * level
        return (enters - leaves) / volume

    gain = room_gain(outdoor, penetration, natural, source, volume)
    gain = gain + duct_gain(runtime, flow, efficiency, out, into, volume, attic, outdoor, penetration)
    loss = room_loss(natural, deposition, clean_air, volume)
    loss = loss + duct_loss(runtime, flow, efficiency, out, into, volume)
    return change, gain, loss


# Library: scipy's solver of differential equations, on streams that know nothing of the kernels' algebra.
@pytest.mark.library
@given(
    runtime=share, efficiency=share, out=share, into=share, clean_air=st.floats(0.0, 900.0), time=st.floats(0.1, 4.0)
)
def test_the_balance_with_leaks_and_room_units(runtime, efficiency, out, into, clean_air, time):
    change, gain, loss = building(runtime, efficiency, out, into, clean_air)
    solved = solve_ivp(change, (0.0, time), [200.0], method="LSODA", rtol=1e-10, atol=1e-10).y[0, -1]
    assert concentration_at(time, 200.0, gain, loss) == pytest.approx(solved, rel=1e-6)
    assert change(0.0, steady_concentration(gain, loss)) == pytest.approx(0.0, abs=1e-8)


# Library: the same solver, with a fan that goes on and off.
@pytest.mark.library
def test_a_fan_that_goes_on_and_off_counts_by_its_mean_where_its_turns_are_short():
    runtime, apart = 0.4, []
    for turn in (0.2, 0.02):  # hours
        _, gain, loss = building(runtime, 0.7, 0.1, 0.05, 0.0)
        level, passed, levels = steady_concentration(gain, loss), 0.0, []
        while passed < 4.0 - 1e-9:
            for on, length in ((1.0, runtime * turn), (0.0, (1 - runtime) * turn)):
                change, _, _ = building(runtime, 0.7, 0.1, 0.05, 0.0, running=lambda _, on=on: on)
                steps = np.linspace(0.0, length, 11)
                run = solve_ivp(change, (0.0, length), [level], t_eval=steps, rtol=1e-9, atol=1e-9).y[0]
                level = run[-1]
                levels.append((np.trapezoid(run, steps), length))
            passed += turn
        late = levels[len(levels) // 2 :]
        mean = sum(area for area, _ in late) / sum(length for _, length in late)
        apart.append(abs(mean / steady_concentration(gain, loss) - 1.0))
    assert apart[0] < 0.03
    assert apart[1] < 0.003


def test_more_leaking_in_than_the_filter_cleans_makes_a_building_dirtier():
    volume = 450.0
    quiet = steady_concentration(room_gain(100.0, 0.5, 0.3, 0.0, volume), room_loss(0.3, 0.2, 0.0, volume))
    running = steady_concentration(
        room_gain(100.0, 0.5, 0.3, 0.0, volume) + duct_gain(1.0, 1800.0, 0.1, 0.0, 0.3, volume, 100.0, 100.0, 0.5),
        room_loss(0.3, 0.2, 0.0, volume) + duct_loss(1.0, 1800.0, 0.1, 0.0, 0.3, volume),
    )
    assert running > quiet


def test_room_units_beside_the_ducts_hold_a_target():
    gain = room_gain(250.0, 0.8, 0.4, 0.0, 450.0) + duct_gain(0.6, 1800.0, 0.7, 0.1, 0.04, 450.0, 250.0, 250.0, 0.8)
    loss = room_loss(0.4, 0.3, 0.0, 450.0) + duct_loss(0.6, 1800.0, 0.7, 0.1, 0.04, 450.0)
    units = clean_air_for_concentration(12.0, gain, loss, 450.0)
    assert units > 0.0
    assert steady_concentration(gain, loss + units / 450.0) == pytest.approx(12.0)


def test_outside_the_domain():
    assert np.isnan(duct_loss(0.5, 2000.0, 0.7, 0.1, 0.0, 0.0))
    assert np.isnan(duct_loss(0.5, 2000.0, 0.7, 1.1, 0.0, 500.0))
    assert np.isnan(duct_gain(0.5, 2000.0, 0.7, 0.1, 0.0, 500.0, -1.0, 100.0, 0.8))
    assert np.isnan(duct_gain(0.5, -2.0, 0.7, 0.1, 0.0, 500.0, 1.0, 100.0, 0.8))
