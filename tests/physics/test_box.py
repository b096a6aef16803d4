"""A calibrated box in other air: similarity to the last digit, its limits at both ends, and against the leak law."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics import box_equivalent_drop, box_flow, leakage_flow, nozzle_flow

CALIBRATION = {"calibrated_flow": 0.1332, "calibrated_drop": 50.0, "calibrated_density": 0.974}
VISCOSITY = {"calibrated_viscosity": 1.829e-5}

exponents = st.floats(0.45, 1.1)
densities, viscosities = st.floats(0.6, 1.4), st.floats(1.5e-5, 2.2e-5)
drops = st.floats(1.0, 500.0)


@given(drops, exponents, densities, viscosities, densities, viscosities)
def test_reynolds_number_is_a_function_of_drop_density_over_viscosity_squared_alone(n_drop, n, rho1, mu1, rho2, mu2):
    # the definition of the correction: q rho/mu at equal dp rho/mu^2 is the same in any air
    def reynolds(rho, mu):
        drop = n_drop * mu**2 / rho / (1.8e-5**2 / 1.2)
        return box_flow(drop, rho, mu, exponent=n, **CALIBRATION, **VISCOSITY) * rho / mu

    assert reynolds(rho1, mu1) == pytest.approx(reynolds(rho2, mu2), rel=1e-12)


@given(drops, exponents, densities, viscosities)
def test_the_equivalent_drop_keeps_that_number_and_is_its_own_in_the_air_of_the_calibration(drop, n, rho, mu):
    alike = box_equivalent_drop(drop, rho, mu, 0.974, 1.829e-5)
    assert alike * 0.974 / 1.829e-5**2 == pytest.approx(drop * rho / mu**2, rel=1e-12)
    at_calibration = box_flow(alike, 0.974, 1.829e-5, exponent=n, **CALIBRATION, **VISCOSITY)
    here = box_flow(drop, rho, mu, exponent=n, **CALIBRATION, **VISCOSITY)
    assert here * rho / mu == pytest.approx(at_calibration * 0.974 / 1.829e-5, rel=1e-12)
    assert box_equivalent_drop(drop, 0.974, 1.829e-5, 0.974, 1.829e-5) == pytest.approx(drop, rel=1e-14)


@given(drops, exponents, densities, viscosities)
def test_in_the_air_of_the_calibration_it_is_the_power_law(drop, n, rho, mu):
    flow = box_flow(drop, rho, mu, 0.1332, 50.0, n, rho, mu)
    assert flow == pytest.approx(leakage_flow(drop, 0.1332, n, 50.0), rel=1e-12)


@pytest.mark.from_memory
@given(exponents, densities, viscosities)
def test_it_undoes_the_correction_of_the_leak_test_standard(n, rho, mu):
    # ASTM E779: C0 = C (mu/mu0)^(2n-1) (rho/rho0)^(1-n) brings C from the air of the test to standard air (from memory)
    found = box_flow(1.0, rho, mu, 0.01, 1.0, n, 1.2041, 1.81e-5)
    assert found * (mu / 1.81e-5) ** (2 * n - 1) * (rho / 1.2041) ** (1 - n) == pytest.approx(0.01, rel=1e-12)


def test_both_ends_of_the_exponent():
    # a sharp hole knows no viscosity: q = A sqrt(2 dp/rho); a felt no density: q = k dp/mu (Bernoulli, Darcy)
    hole = box_flow(50.0, np.array([1.2, 0.3]), np.array([1.8e-5, 2.2e-5]), 0.1, 50.0, 0.5, 1.2, 1.8e-5)
    np.testing.assert_allclose(hole, [0.1, 0.2], rtol=1e-14)
    felt = box_flow(50.0, np.array([1.2, 0.6]), np.array([1.8e-5, 3.6e-5]), 0.1, 50.0, 1.0, 1.2, 1.8e-5)
    np.testing.assert_allclose(felt, [0.1, 0.05], rtol=1e-14)


@pytest.mark.recomputed
def test_a_nozzle_as_a_box_in_thinner_air():
    """A chamber nozzle obeys the same similarity, its coefficient a function of Reynolds number: fitted in one air, the
    power law must find it again in another, where the plain C would be 10 % off."""
    drop = np.geomspace(60.0, 240.0, 9)
    thick, thin, mu = 1.2, 0.97, 1.82e-5
    read = nozzle_flow(drop, thick, 1e8, mu, 0.15, 0.6)  # at 1000 bar the expansion is nothing
    n, height = np.polyfit(np.log(drop / 120.0), np.log(read), 1)
    true = nozzle_flow(100.0, thin, 1e8, mu, 0.15, 0.6)
    assert box_flow(100.0, thin, mu, np.exp(height), 120.0, n, thick, mu) == pytest.approx(true, rel=1e-4)
    plain = np.exp(height) * (100.0 / 120.0) ** n
    assert abs(plain / true - 1) > 0.09


def test_no_meaning_is_nan_and_the_sign_is_the_drops():
    sound = {"drop": 60.0, "density": 1.0, "viscosity": 1.8e-5, "exponent": 0.53, **CALIBRATION, **VISCOSITY}
    assert box_flow(**sound | {"drop": -60.0}) == -box_flow(**sound)
    assert box_flow(**sound | {"drop": 0.0}) == 0.0
    for name in ("density", "viscosity", "exponent", "calibrated_drop", "calibrated_density", "calibrated_viscosity"):
        for value in (0.0, -1.0, np.nan):
            assert np.isnan(box_flow(**sound | {name: value})), name
    assert np.isnan(box_flow(**sound | {"calibrated_flow": -0.1}))
    assert np.isnan(box_equivalent_drop(50.0, -1.0, 1.8e-5, 1.2, 1.8e-5))
