"""An inlet from still air against the pitot relation, Bernoulli's, the nozzle's table, and what must hold anyhow."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics.inlet import inlet_expansibility, inlet_flow
from flowrig.physics.velocity import pitot_velocity
from tests.reference.load import rows

KAPPA = 1.4
drops, densities, diameters = st.floats(1.0, 5e3), st.floats(0.9, 1.3), st.floats(0.03, 1.0)


# Source: isentropic nozzle at beta = 0, k = 1.4; nine digits (plenum_expansibility.csv).
@pytest.mark.recomputed
def test_expansibility():
    table = rows("plenum_expansibility.csv")
    assert len(table) == 8
    for row in table:
        factor = inlet_expansibility(float(row["dp_Pa"]), float(row["p1_Pa"]))
        assert factor == pytest.approx(float(row["eps_nozzle_beta0"]), rel=6e-10)


# Source: isentropic flow from rest, written as a velocity: v^2 = 2 k/(k-1) p/rho (1 - r^((k-1)/k)), throat density
# rho r^(1/k) (any gas-dynamics text).
@pytest.mark.recomputed
@given(drop=drops, density=densities)
def test_mass_flow_is_throat_density_times_throat_velocity(drop, density):
    r = 1 - drop / 1e5
    velocity = math.sqrt(2 * KAPPA / (KAPPA - 1) * 1e5 / density * (1 - r ** ((KAPPA - 1) / KAPPA)))
    mass_flow = density * r ** (1 / KAPPA) * velocity * math.pi / 4 * 0.04
    # the textbook form is a difference of nearly equal numbers, good to some 1e-16 pressure/drop
    assert density * inlet_flow(drop, density, 1e5, 0.2, 1.0) == pytest.approx(mass_flow, rel=1e-10)


# Source: a pitot tube in the throat of a lossless inlet has the still air's pressure as its total pressure, and the
# static pressure and density of the throat beside it; `pitot_velocity` is a series to second order in drop/pressure.
@pytest.mark.recomputed
@given(drop=drops, density=densities)
def test_a_lossless_inlet_is_a_pitot_tube_in_its_throat(drop, density):
    static = 1e5 - drop
    thinner = density * (static / 1e5) ** (1 / KAPPA)
    velocity = pitot_velocity(drop, thinner, static)
    mass_flow = density * inlet_flow(drop, density, 1e5, 0.2, 1.0)
    assert mass_flow == pytest.approx(thinner * velocity * math.pi / 4 * 0.04, rel=2e-6 + 0.1 * (drop / 1e5) ** 3)


# Source: Bernoulli's equation, 20 Pa of air of 1.2 kg/m3 are 5.7735 m/s.
@pytest.mark.recomputed
def test_a_small_drop_is_bernoullis():
    flow = inlet_flow(20.0, 1.2, 1e9, 0.2, 1.0)
    assert flow == pytest.approx(5.773502692 * math.pi / 4 * 0.04, rel=1e-7)
    assert inlet_flow(20.0, 1.2, 1e5, 0.2, 1.0, 0.0) == pytest.approx(flow, rel=1e-7)


@given(drop=drops, density=densities, diameter=diameters, coefficient=st.floats(0.5, 1.0))
def test_how_it_scales(drop, density, diameter, coefficient):
    one = inlet_flow(drop, density, 1e5, diameter, coefficient)
    assert inlet_flow(drop, density, 1e5, 2 * diameter, coefficient) == pytest.approx(4 * one, rel=1e-12)
    assert inlet_flow(drop, 4 * density, 1e5, diameter, coefficient) == pytest.approx(one / 2, rel=1e-12)
    assert inlet_flow(drop, density, 1e5, diameter, coefficient / 2) == pytest.approx(one / 2, rel=1e-12)
    assert inlet_flow(-drop, density, 1e5, diameter, coefficient) == -one


@given(drop=drops, step=st.floats(1e-3, 100.0))
def test_more_drop_is_more_flow_and_more_expansion_less(drop, step):
    flows = inlet_flow(np.array([drop, drop + step]), 1.2, 1e5, 0.2, 0.97)
    assert flows[1] > flows[0]
    shares = inlet_flow(drop, 1.2, 1e5, 0.2, 0.97, np.array([0.0, 0.5, 1.0]))
    assert shares[0] > shares[1] > shares[2]
    assert shares[1] == pytest.approx((shares[0] + shares[2]) / 2, rel=1e-12)
    assert shares[2] / shares[0] == pytest.approx(float(inlet_expansibility(drop, 1e5)), rel=1e-12)


def test_no_drop_is_no_flow():
    flow = inlet_flow(np.array([0.0, -0.0, 1e-300]), 1.2, 1e5, 0.2, 0.97)
    assert flow[0] == flow[1] == 0.0
    assert 0.0 < flow[2] < 1e-100
    assert inlet_expansibility(0.0, 1e5) == pytest.approx(1.0, abs=1e-15)


def test_outside_the_domain():
    usual = {"drop": 85.0, "density": 1.2, "pressure": 1e5, "diameter": 0.2, "coefficient": 0.97}
    assert np.isfinite(inlet_flow(**usual))
    for wrong in (
        {"density": 0.0},
        {"density": -1.2},
        {"pressure": 0.0},
        {"pressure": -1e5},
        {"pressure": 150.0},  # a sonic throat
        {"diameter": 0.0},
        {"diameter": -0.1},
        {"coefficient": -0.1},
    ):
        assert np.isnan(inlet_flow(**{**usual, **wrong})), wrong
