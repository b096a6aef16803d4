"""Leakage by its power law, and mass that closes wherever the meter stands and whichever way the chamber leaks."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics.leakage import leakage_flow, unit_flow

leaks, exponents, drops = st.floats(1e-4, 0.05), st.floats(0.5, 1.0), st.floats(0.1, 500.0)
densities = st.floats(1.0, 1.3)


@given(drop=drops, reference_flow=leaks, exponent=exponents, reference_drop=st.floats(1.0, 100.0))
def test_power_law(drop, reference_flow, exponent, reference_drop):
    leak = leakage_flow(drop, reference_flow, exponent, reference_drop)
    coefficient = reference_flow / reference_drop**exponent
    assert leak == pytest.approx(coefficient * drop**exponent, rel=1e-12)
    assert leakage_flow(drop, coefficient, exponent) == pytest.approx(leak, rel=1e-12)
    assert leakage_flow(-drop, reference_flow, exponent, reference_drop) == -leak
    assert leakage_flow(reference_drop, reference_flow, exponent, reference_drop) == reference_flow


def test_no_drop_no_leak_and_nonsense():
    assert leakage_flow(0.0, 0.01, 0.65, 25.0) == 0.0
    assert leakage_flow(50.0, 0.0, 0.65, 25.0) == 0.0
    wrong = {"reference_flow": -0.01, "exponent": 0.0, "reference_drop": 0.0}
    usual = {"drop": 50.0, "reference_flow": 0.01, "exponent": 0.65, "reference_drop": 25.0}
    assert np.isfinite(leakage_flow(**usual))
    for name, value in wrong.items():
        assert np.isnan(leakage_flow(**{**usual, name: value})), name


# Source: conservation of mass, written out for each case by where the air comes from and where it goes.
@pytest.mark.parametrize("side", ["downstream", "upstream"])
@pytest.mark.parametrize("chamber", ["pressure", "suction"])
@given(flow=st.floats(0.05, 1.0), drop=drops, reference=leaks, exponent=exponents, rho=st.tuples(*[densities] * 4))
def test_mass_closes(side, chamber, flow, drop, reference, exponent, rho):
    meter, inside, room, unit = rho
    gauge = drop if chamber == "pressure" else -drop
    leak = leakage_flow(gauge, reference, exponent, 25.0)
    through = unit_flow(flow, leak, 1.0 if side == "downstream" else -1.0, meter, inside, room, unit)
    size = reference * (drop / 25.0) ** exponent
    out, into = (size * inside, 0.0) if chamber == "pressure" else (0.0, size * room)
    if side == "downstream":  # unit, chamber, meter
        enters, leaves = unit * through + into, meter * flow + out
    else:  # meter, chamber, unit
        enters, leaves = meter * flow + into, unit * through + out
    assert enters == pytest.approx(leaves, rel=1e-12, abs=1e-12)


def test_what_is_added_and_what_is_subtracted():
    for (side, leak), more in zip(itertools.product([1.0, -1.0], [0.01, -0.01]), [1, -1, -1, 1], strict=True):
        assert unit_flow(0.2, leak, side, 1.2, 1.2, 1.2, 1.2) == pytest.approx(0.2 + more * 0.01, rel=1e-12)


def test_nothing_leaks_where_the_calibration_covered_it():
    assert unit_flow(0.2, 0.0, 1.0, 1.2, 1.1, 1.15, 1.2) == pytest.approx(0.2, rel=1e-15)
    # only the density of the place is left between the two
    assert unit_flow(0.2, 0.0, -1.0, 1.2, 1.1, 1.15, 1.0) == pytest.approx(0.24, rel=1e-15)


def test_outside_the_domain():
    assert np.isnan(unit_flow(0.2, 0.01, np.array([0.0, 0.5, 2.0]), 1.2, 1.2, 1.2, 1.2)).all()
    for place in range(4):
        rho = [1.2] * 4
        rho[place] = 0.0
        assert np.isnan(unit_flow(0.2, 0.01, 1.0, *rho))
