"""Pitot-static tube, thermal anemometer, and the display that does its own sum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics.velocity import pitot_display_velocity, pitot_velocity, thermal_velocity, yaw_overreading
from tests.reference.load import rows

STIFF = 1e15  # a pressure at which no drop compresses anything: the incompressible equation of the textbooks
FOOT, POUND, INCH_OF_WATER = 0.3048, 0.45359237, 249.0889
densities = st.floats(0.7, 1.4)


def textbook(identity):
    return next(row for row in rows("worked_textbook.csv") if row["id"] == identity)


# Source: isentropic relation, recomputed exactly; ten digits printed.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("pitot_compressibility.csv"), ids=lambda row: row["v_true_m_s"])
def test_series_and_incompressible_velocity(row):
    drop, density, pressure = float(row["dp_Pa"]), float(row["rho_static"]), float(row["p_static_Pa"])
    assert pitot_velocity(drop, density, STIFF) == pytest.approx(float(row["v_incompressible"]), rel=4e-10)
    series = pitot_velocity(drop, density, pressure)
    assert series == pytest.approx(float(row["v_series2"]), rel=2e-9)
    off = (series / float(row["v_true_m_s"]) - 1.0) * 1e6
    assert off == pytest.approx(float(row["err_series_ppm"]), abs=1e-3)


# Source: the exact isentropic pitot relation, evaluated here.
@pytest.mark.recomputed
@pytest.mark.parametrize(("ratio", "parts_per_million"), [(0.05, 8.5), (0.1, 67.0), (0.2, 516.0)])
def test_the_series_is_as_far_off_as_the_docstring_says(ratio, parts_per_million):
    exact = np.sqrt(2.0 * 1.4 / 0.4 * 1e5 / 1.2 * np.expm1(0.4 / 1.4 * np.log1p(ratio)))
    assert (pitot_velocity(ratio * 1e5, 1.2, 1e5) / exact - 1.0) * 1e6 == pytest.approx(parts_per_million, rel=0.01)


# Source: definitions of the inch of water and of 0.075 lbm/ft3, recomputed; see the notes in the rows.
@pytest.mark.recomputed
@pytest.mark.parametrize("row", rows("velocity_pressure_constants.csv"), ids=lambda row: row["inH2O_definition"])
def test_constants_of_the_trade(row):
    pascals = float(row["Pa_per_inH2O"])
    if row["inH2O_definition"].startswith("SI"):
        assert pitot_velocity(1.0, 1.0, STIFF) == pytest.approx(1.41421356, rel=1e-8)
        assert pitot_velocity(1.0, 1.2, STIFF) == pytest.approx(1.29099445, rel=1e-8)
        assert pitot_velocity(1.0, 1.20138, STIFF) == pytest.approx(1.29025, rel=5e-6)
        return
    pound_per_cubic_foot = POUND / FOOT**3
    constant = pitot_velocity(pascals, pound_per_cubic_foot, STIFF) * 60.0 / FOOT
    assert constant == pytest.approx(float(row["K_in_V=K*sqrt(VP/rho)_fpm"]), rel=5e-8)
    standard = pitot_velocity(pascals, 0.075 * pound_per_cubic_foot, STIFF) * 60.0 / FOOT
    assert standard == pytest.approx(float(row["V_at_1inH2O_0.075_fpm"]), rel=5e-8)


# Source: Abulencia and Theodore, Fluid Flow for the Practicing Chemical Engineer, examples 19.2 and 19.3; inputs read.
@pytest.mark.published
def test_textbook_velocity_on_the_centre_line_and_flow():
    pound_per_cubic_foot = POUND / FOOT**3
    drop = 0.2 / 12.0 * FOOT * 32.2 * FOOT * (62.4 - 0.075) * pound_per_cubic_foot
    fastest = pitot_velocity(drop, 0.075 * pound_per_cubic_foot, 101325.0) / FOOT
    velocity, flow = textbook("OP2"), textbook("OP3")
    assert fastest == pytest.approx(float(velocity["expected"]), rel=2e-3)
    assert 60.0 * 0.815 * fastest * 0.785 == pytest.approx(float(flow["expected"]), rel=3e-3)
    assert 60.0 * 0.815 * fastest * 0.785 == pytest.approx(60.0 * 24.4 * 0.785, rel=3e-3)  # printed 24.4 ft/s


# Source: Doebelin and Manik, Measurement Systems, example 7.1; inputs and method read.
@pytest.mark.published
def test_textbook_uncertainty_of_a_velocity():
    density = 0.1e6 / (287.0 * 293.0)
    drop = 0.5 * density * 10.0**2
    slope = (pitot_velocity(drop + 0.1, density, STIFF) - pitot_velocity(drop - 0.1, density, STIFF)) / 0.2
    assert 100.0 * slope * 1.0 / 10.0 == pytest.approx(float(textbook("OP5")["expected"]), rel=1e-4)


@given(drop=st.floats(0.0, 5e3), density=densities, pressure=st.floats(7e4, 1.1e5), coefficient=st.floats(0.7, 1.1))
def test_a_pitot_tube_turned_round_reads_the_same_with_the_other_sign(drop, density, pressure, coefficient):
    there = pitot_velocity(drop, density, pressure, coefficient)
    assert pitot_velocity(-drop, density, pressure, coefficient) == -there
    assert there == pytest.approx(coefficient * pitot_velocity(drop, density, pressure), rel=1e-14)


@given(drop=st.floats(1e-3, 1e3), factor=st.floats(0.1, 10.0), density=densities)
def test_velocity_grows_with_the_root_of_the_drop(drop, factor, density):
    ratio = pitot_velocity(factor * drop, density, STIFF) / pitot_velocity(drop, density, STIFF)
    assert ratio == pytest.approx(factor**0.5, rel=1e-10)


@given(indicated=st.floats(0.05, 30.0), density=densities, reference=densities)
def test_a_thermal_anemometer_knows_the_mass_flow_whatever_the_density(indicated, density, reference):
    assert density * thermal_velocity(indicated, density, reference) == pytest.approx(indicated * reference, rel=1e-14)


@given(velocity=st.floats(0.5, 30.0), density=densities, setting=densities)
def test_a_display_is_corrected_to_what_its_pressure_meant(velocity, density, setting):
    drop = 0.5 * density * velocity**2
    shown = pitot_velocity(drop, setting, STIFF)
    assert pitot_display_velocity(shown, density, setting) == pytest.approx(velocity, rel=1e-10)


def test_outside_the_domain():
    assert np.isnan(pitot_velocity(21e3, 1.2, 1e5))
    assert np.isnan(pitot_velocity(100.0, np.array([-1.2, 0.0]), 1e5)).all()
    assert np.isnan(pitot_velocity(100.0, 1.2, np.array([-1e5, 0.0]))).all()
    assert np.isnan(thermal_velocity(1.0, np.array([1.2, 0.0]), np.array([-1.2, 1.2]))).all()
    assert np.isnan(pitot_display_velocity(1.0, np.array([1.2, 0.0]), np.array([-1.2, 1.2]))).all()
    assert np.isnan(yaw_overreading(np.radians([90.0, -91.0, 180.0]))).all()
    assert pitot_velocity(0.0, 1.2, 1e5) == 0.0


@given(angle=st.floats(0.0, 1.5))
def test_a_turned_probe_never_reads_low(angle):
    assert yaw_overreading(angle) >= 0.0
    assert yaw_overreading(-angle) == yaw_overreading(angle)
    assert (1.0 + yaw_overreading(angle)) * np.cos(angle) == pytest.approx(1.0, rel=1e-14)
