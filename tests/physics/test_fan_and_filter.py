"""Fan laws, filters and gaps, and where a fan meets a bank, against worked figures."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from flowrig.physics import (
    efficiency_with_gap,
    fan_flow_at_speed,
    fan_power_at_speed,
    fan_pressure_at_speed,
    filter_drop,
    filter_velocity,
    gap_flow,
)

WORKED = tomllib.loads((Path(__file__).parents[1] / "reference" / "fans_worked.toml").read_text(encoding="utf-8"))


# Source: fan laws of ISO 5801 / AMCA 210, read on a public engineering page; the figures recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(("density", "results"), [(1.2, "results_same_density"), (1.1, "results_density_1_1")])
def test_fan_laws(density, results):
    laws = WORKED["fan_laws"]
    given_, found = laws["inputs"], laws[results]
    ratio = given_["rpm2"] / given_["rpm1"]
    assert fan_flow_at_speed(given_["flow1_cfm"], ratio) == pytest.approx(found["flow2_cfm"], rel=1e-7)
    pressure = fan_pressure_at_speed(given_["dp1_inwg"], ratio, given_["density1"], density)
    assert pressure == pytest.approx(found["dp2_inwg"], rel=1e-7)
    power = fan_power_at_speed(given_["power1_hp"], ratio, given_["density1"], density)
    assert power == pytest.approx(found["power2_hp"], rel=1e-7)


# Source: a made-up fan and bank, solved in closed form and by a root finder, which agree to 1e-8.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_where_a_fan_meets_a_bank(number):
    found = WORKED["operating_point_quadratic"]["results"][f"{number}_filters"]
    area = number * 0.508**2

    def apart(flow):
        return 70 - 0.012 * flow - 2.5e-5 * flow**2 - filter_drop(flow / 3600 / area, 38.0, 14.0)

    flow = brentq(apart, 1.0, 1450.0, xtol=1e-10)
    assert flow == pytest.approx(found["flow_m3_h"], rel=1e-7)
    assert filter_drop(flow / 3600 / area, 38.0, 14.0) == pytest.approx(found["pressure_Pa"], rel=1e-7)
    assert filter_velocity(found["pressure_Pa"], 38.0, 14.0) == pytest.approx(found["face_velocity_m_s"], rel=1e-7)


positive = st.floats(0.01, 200.0)


@given(velocity=st.floats(-3.0, 3.0), linear=positive, quadratic=positive, thick=st.floats(0.8, 1.2))
def test_drop_and_velocity_undo_each_other(velocity, linear, quadratic, thick):
    drop = filter_drop(velocity, linear, quadratic, thick, 1.1)
    assert filter_velocity(drop, linear, quadratic, thick, 1.1) == pytest.approx(velocity, rel=1e-9, abs=1e-12)


def test_a_filter_with_one_coefficient():
    assert filter_velocity(20.0, 40.0, 0.0) == pytest.approx(0.5)
    assert filter_velocity(20.0, 0.0, 80.0) == pytest.approx(0.5)
    assert filter_velocity(0.0, 0.0, 80.0) == 0.0
    assert np.isnan(filter_velocity(20.0, 0.0, 0.0))
    assert np.isnan(filter_drop(1.0, -1.0, 2.0))


def test_a_gap_takes_from_the_efficiency_and_adds_to_the_flow():
    drop, area = 20.0, 0.258
    through = area * filter_velocity(drop, 38.0, 14.0)
    beside = gap_flow(drop, 0.002, 0.62, 1.2)
    assert beside == pytest.approx(0.62 * 0.002 * math.sqrt(2 * drop / 1.2))
    both = efficiency_with_gap(0.85, beside, through + beside)
    assert both * (through + beside) == pytest.approx(0.85 * through)  # clean air is made by the medium alone
    assert gap_flow(-drop, 0.002, 0.62, 1.2) == -beside
    assert np.isnan(efficiency_with_gap(0.85, 0.3, 0.2))
