"""Orifice plates against tables of the equation, an independent library and what must hold for any plate."""

import fluids
import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from flowrig.physics.orifice import (
    CORNER,
    D_AND_HALF_D,
    orifice_coefficient,
    orifice_coefficient_uncertainty,
    orifice_expansibility,
    orifice_expansibility_uncertainty,
    orifice_flange_position,
    orifice_flow,
    orifice_limits,
)
from flowrig.physics.pipe import pipe_reynolds
from tests.reference.load import rows

WORKED = rows("orifice_worked_iterated.csv")
LIMITS = {row["item"]: row for row in rows("orifice_limits_uncertainty.csv")}
NINE_DIGITS, TEN_DIGITS = 6e-9, 6e-10
AIR = {"density": 1.2, "pressure": 1e5, "viscosity": 1.82e-5}
PLATE = {"drop": 250.0, **AIR, "diameter": 0.06, "beta": 0.6, "positions": CORNER}
LIBRARY = {"corner": "corner", "D-D/2": "D", "flange": "flange"}
drops, betas, pipes = st.floats(1.0, 2e4), st.floats(0.1, 0.75), st.floats(0.05, 1.0)
tappings = st.sampled_from(list(LIBRARY))


def positions(tapping, beta, diameter):
    flange = orifice_flange_position(beta, diameter)
    return {"corner": CORNER, "D-D/2": D_AND_HALF_D, "flange": (flange, flange)}[tapping]


# Source: ISO 5167-2:2003, constants from the documentation of fluids; nine decimals printed.
@pytest.mark.recomputed
def test_coefficient_and_its_limits():
    table = rows("orifice_rhg_C.csv")
    assert len(table) == 768
    for row in table:
        pipe, beta, reynolds = float(row["D_m"]), float(row["beta"]), float(row["Re_D"])
        bore, tapping = beta * pipe, row["tappings"]
        coefficient = orifice_coefficient(reynolds, beta, bore, positions(tapping, beta, bore))
        assert coefficient == pytest.approx(float(row["C"]), abs=0.51e-9), row
        assert coefficient == pytest.approx(float(row["C_fluids"]), abs=0.51e-9), row
        kept = orifice_limits(reynolds, beta, bore, 1.0, flange=tapping == "flange")
        assert all(kept.values()) == (row["in_limits"] == "yes"), (row, kept)


# Source: ISO 5167-2:2003 (read in the documentation of fluids) and its 5.3.3.2; eight decimals printed.
@pytest.mark.recomputed
def test_expansibility_and_its_uncertainty():
    table = rows("orifice_expansibility.csv")
    assert len(table) == 60
    for row in table:
        ratio, beta = float(row["p2_over_p1"]), float(row["beta"])
        assert float(row["kappa"]) == 1.4
        value = orifice_expansibility(ratio, beta)
        assert value == pytest.approx(float(row["eps_2003"]), abs=0.51e-8)
        # The edition before differs from ours by what the table says: it is not the form used.
        apart = 100.0 * (float(row["eps_1991"]) / value - 1.0)
        assert apart == pytest.approx(float(row["1991_minus_2003_pct"]), abs=2e-6)
        stated = 100.0 * orifice_expansibility_uncertainty(ratio)
        assert stated == pytest.approx(float(row["U_eps_pct_95"]), rel=1e-6)


@pytest.mark.recomputed
@pytest.mark.parametrize("row", WORKED, ids=[row["id"] for row in WORKED])
def test_worked_point(row):
    names = ("D_m", "d_m", "p1_Pa", "dp_Pa", "rho1", "mu", "kappa")
    pipe, bore, pressure, drop, density, viscosity, kappa = (float(row[name]) for name in names)
    beta = bore / pipe
    assert kappa == 1.4
    assert beta == pytest.approx(float(row["beta"]), rel=TEN_DIGITS)
    where = positions(row["tappings"], beta, bore)
    flow = orifice_flow(drop, density, pressure, viscosity, bore, beta, where)
    assert flow == pytest.approx(float(row["Q_m3_s"]), rel=TEN_DIGITS)
    assert flow * density == pytest.approx(float(row["qm_kg_s"]), rel=TEN_DIGITS)
    reynolds = pipe_reynolds(flow, density, viscosity, pipe)
    assert reynolds == pytest.approx(float(row["Re_D"]), rel=TEN_DIGITS)
    assert orifice_coefficient(reynolds, beta, bore, where) == pytest.approx(float(row["C"]), rel=TEN_DIGITS)
    assert orifice_expansibility(1.0 - drop / pressure, beta) == pytest.approx(float(row["eps"]), rel=TEN_DIGITS)


# Below a pipe Reynolds number of 5000 the library adds two terms of its own; no plate is within the limits there.
@pytest.mark.library
@given(pipe=pipes, beta=betas, reynolds=st.floats(5e3, 1e8), tapping=tappings)
def test_coefficient_beside_a_library(pipe, beta, reynolds, tapping):
    bore = beta * pipe
    assume(all(orifice_limits(reynolds, beta, bore, 1.0, flange=tapping == "flange").values()))
    mass_flow = reynolds * np.pi * pipe * 1.82e-5 / 4.0
    theirs = fluids.C_Reader_Harris_Gallagher(pipe, bore, 1.2, 1.82e-5, mass_flow, taps=LIBRARY[tapping])
    assert orifice_coefficient(reynolds, beta, bore, positions(tapping, beta, bore)) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.library
@given(drop=drops, pipe=pipes, beta=betas, tapping=tappings)
def test_flow_beside_a_library(drop, pipe, beta, tapping):
    bore = beta * pipe
    flow = orifice_flow(drop, **AIR, diameter=bore, beta=beta, positions=positions(tapping, beta, bore))
    reynolds = pipe_reynolds(flow, 1.2, 1.82e-5, pipe)
    assume(all(orifice_limits(reynolds, beta, bore, 1.0 - drop / 1e5, flange=tapping == "flange").values()))
    mass_flow = fluids.differential_pressure_meter_solver(
        D=pipe,
        D2=bore,
        P1=1e5,
        P2=1e5 - drop,
        rho=1.2,
        mu=1.82e-5,
        k=1.4,
        meter_type="ISO 5167 orifice",
        taps=LIBRARY[tapping],
    )
    assert flow * 1.2 == pytest.approx(mass_flow, rel=1e-8)


@pytest.mark.library
@given(ratio=st.floats(0.75, 1.0), beta=betas)
def test_expansibility_beside_a_library(ratio, beta):
    theirs = fluids.orifice_expansibility(D=1.0, Do=beta, P1=1e5, P2=1e5 * ratio, k=1.4)
    assert orifice_expansibility(ratio, beta) == pytest.approx(theirs, rel=1e-12)


def percent(reynolds, beta, pipe):
    return 100.0 * orifice_coefficient_uncertainty(reynolds, beta, beta * pipe)


# Source: ISO 5167-2:2003, 5.3.3.1: the last line and both additions read.
@pytest.mark.published
def test_uncertainty_of_the_coefficient_where_the_clause_was_read():
    assert "last branch read" in LIMITS["U(C) base"]["status"]
    assert percent(1e5, 0.75, 0.2) == pytest.approx(1.667 * 0.75 - 0.5, rel=1e-12)
    assert percent(1e5, 0.65, 0.2) == pytest.approx(0.58355, rel=1e-12)
    for beta in (0.3, 0.5, 0.7):
        assert LIMITS["U(C) small pipe"]["status"].endswith("read")
        added = percent(1e5, beta, 0.0508) - percent(1e5, beta, 0.0712)
        assert added == pytest.approx(0.9 * (0.75 - beta) * 0.8, rel=1e-9)
        assert LIMITS["U(C) low Re"]["status"].endswith("read")
        assert percent(9999.0, beta, 0.2) - percent(1e4, beta, 0.2) == pytest.approx(0.5 * (beta > 0.5), abs=1e-12)


@pytest.mark.from_memory
def test_uncertainty_of_the_coefficient_where_the_lines_were_recalled():
    assert LIMITS["U(C) base"]["value"].startswith("(0.7-beta) % for 0.1<=beta<0.2; 0.5 % for 0.2<=beta<=0.6")
    assert percent(1e5, 0.1, 0.2) == pytest.approx(0.6, rel=1e-12)
    assert percent(1e5, 0.15, 0.2) == pytest.approx(0.55, rel=1e-12)
    for beta in (0.2, 0.4, 0.6):
        assert percent(1e5, beta, 0.2) == pytest.approx(0.5, rel=1e-12)
    # The recalled lines meet where they should: continuous, but for the digits of 1.667.
    for beta in (0.2, 0.6):
        assert percent(1e5, beta - 1e-9, 0.2) == pytest.approx(percent(1e5, beta + 1e-9, 0.2), abs=3e-4)


# Source: each line of the limits table, met and missed; all but the pressure ratio read in the documentation of fluids.
@pytest.mark.published
@pytest.mark.parametrize(
    ("limit", "kept", "missed", "flange"),
    [
        ("diameter", (1e5, 0.2, 0.0125, 0.99), (1e5, 0.2, 0.0124, 0.99), False),
        ("pipe_diameter", (1e5, 0.5, 0.025, 0.99), (1e5, 0.5, 0.0249, 0.99), False),
        ("pipe_diameter", (1e5, 0.5, 0.5, 0.99), (1e5, 0.5, 0.501, 0.99), False),
        ("beta", (1e5, 0.1, 0.05, 0.99), (1e5, 0.099, 0.05, 0.99), False),
        ("beta", (1e5, 0.75, 0.05, 0.99), (1e5, 0.751, 0.05, 0.99), False),
        ("reynolds", (5e3, 0.56, 0.05, 0.99), (4999.0, 0.56, 0.05, 0.99), False),
        ("reynolds", (9e3, 0.75, 0.05, 0.99), (8999.0, 0.75, 0.05, 0.99), False),
        ("reynolds", (5e3, 0.5, 0.05, 0.99), (4999.0, 0.5, 0.05, 0.99), True),
        ("reynolds", (21250.0, 0.5, 0.25, 0.99), (21249.0, 0.5, 0.25, 0.99), True),
        pytest.param(
            *("pressure_ratio", (1e5, 0.5, 0.05, 0.75), (1e5, 0.5, 0.05, 0.7499), False),
            marks=pytest.mark.from_memory,
        ),
    ],
)
def test_a_limit(limit, kept, missed, flange):
    assert orifice_limits(*kept, flange=flange)[limit]
    assert not orifice_limits(*missed, flange=flange)[limit]
    wrong = [name for name, holds in orifice_limits(*missed, flange=flange).items() if not holds]
    assert wrong == [limit]


def test_a_pipe_at_a_limit_stays_there_when_worked_out_from_bore_and_ratio():
    bore = np.linspace(0.0125, 0.0375, 1000)
    beta = bore / 0.05
    assert np.any(bore / beta < 0.05)  # without which this would test nothing
    assert np.all(orifice_limits(1e5, beta, bore, 0.99, flange=False)["pipe_diameter"])


def test_limits_are_answered_for_each_value():
    reynolds, beta = np.array([[4e3], [1e5], [np.nan]]), np.array([0.5, 0.8, np.nan, -0.5])
    answers = orifice_limits(reynolds, beta, 0.06, 0.99, flange=False)
    assert answers["reynolds"].shape == (3, 4)
    assert answers["reynolds"][:, 0].tolist() == [False, True, False]
    assert answers["beta"].tolist() == [True, False, False, False]
    assert answers["pipe_diameter"].tolist() == [True, True, False, False]
    assert orifice_limits(1e5, 0.0, 0.06, 0.99, flange=True)["pipe_diameter"] == np.False_


@given(drop=st.floats(1e-4, 2e4), pipe=pipes, beta=betas, tapping=tappings)
@example(drop=0.2458, pipe=0.2888, beta=0.7495, tapping="corner")  # slowest to settle of 400 000 drawn
def test_the_passes_settle_as_well_as_stated(drop, pipe, beta, tapping):
    bore = beta * pipe
    where = positions(tapping, beta, bore)
    ideal = orifice_expansibility(1.0 - drop / 1e5, beta) * np.pi / 4.0 * bore**2 * np.sqrt(2.0 * drop / 1.2)
    ideal /= np.sqrt(1.0 - beta**4)

    def miss(flow):
        return flow - ideal * orifice_coefficient(pipe_reynolds(flow, 1.2, 1.82e-5, pipe), beta, bore, where)

    truth = brentq(miss, 0.4 * ideal, 1.2 * ideal, xtol=1e-300, rtol=1e-14)
    assert orifice_flow(drop, **AIR, diameter=bore, beta=beta, positions=where) == pytest.approx(truth, rel=1.01e-10)


@given(drop=st.floats(0.0, 2e4), pipe=pipes, beta=betas, tapping=tappings)
def test_a_reversed_drop_gives_the_same_flow_backwards(drop, pipe, beta, tapping):
    plate = {**AIR, "diameter": beta * pipe, "beta": beta, "positions": positions(tapping, beta, beta * pipe)}
    assert orifice_flow(-drop, **plate) == -orifice_flow(drop, **plate)
    assert orifice_expansibility(1.0 + drop / 1e5, beta) == pytest.approx(
        orifice_expansibility(1.0 - drop / 1e5, beta), rel=1e-12
    )


@given(drop=drops, scale=st.floats(0.25, 4.0), beta=betas)
def test_two_plates_at_one_reynolds_number_are_one_plate(drop, scale, beta):
    # Twice the size at twice the viscosity, in pipes too large for the term of small ones: flow goes as area.
    one = orifice_flow(drop, 1.2, 1e5, 1.82e-5, beta * 0.3, beta, D_AND_HALF_D)
    other = orifice_flow(drop, 1.2, 1e5, 1.82e-5 * scale, beta * 0.3 * scale, beta, D_AND_HALF_D)
    assert other == pytest.approx(one * scale**2, rel=1e-12)


@given(drop=drops, factor=st.floats(0.8, 1.2))
def test_the_factor_multiplies_the_flow(drop, factor):
    plain = orifice_flow(**{**PLATE, "drop": drop})
    assert orifice_flow(**{**PLATE, "drop": drop}, coefficient_factor=factor) == pytest.approx(
        factor * plain, rel=1e-14
    )


@given(drop=st.floats(0.0, 2e4), step=st.floats(1e-3, 100.0), beta=betas, tapping=tappings)
def test_more_drop_is_more_flow(drop, step, beta, tapping):
    where = positions(tapping, beta, beta * 0.1)
    flows = orifice_flow(np.array([drop, drop + step]), **AIR, diameter=beta * 0.1, beta=beta, positions=where)
    assert flows[1] > flows[0]


def test_no_drop_is_no_flow():
    flow = orifice_flow(**{**PLATE, "drop": np.array([0.0, -0.0, 1e-300])})
    assert flow[:2].tolist() == [0.0, 0.0]
    assert 0.0 <= flow[2] < 1e-100
    assert orifice_flow(**{**PLATE, "drop": 0.0}) == 0.0


def test_noise_round_zero_is_unbiased():
    noise = np.random.default_rng(20240611).normal(0.0, 0.5, 20_000)
    flow = orifice_flow(**{**PLATE, "drop": np.concatenate([noise, -noise])})
    assert abs(flow.sum()) < 1e-12


def test_the_coefficient_is_held_below_the_lowest_reynolds_number_of_the_standard():
    held = orifice_coefficient(np.array([1e-3, 100.0, 4999.0, 5000.0]), 0.6, 0.06, D_AND_HALF_D)
    assert held.tolist() == [held[-1]] * 4
    assert orifice_coefficient(5100.0, 0.6, 0.06, D_AND_HALF_D) < held[-1]


def test_each_input_may_have_an_axis_of_its_own():
    drop, density, pressure, viscosity, diameter, beta, where, factor = np.meshgrid(
        [-20.0, 250.0], [1.1, 1.2], [95e3, 1e5], [1.8e-5, 1.9e-5], [0.03, 0.1], [0.0, 0.5], [0.0, 1.0], [0.99, 1.01],
        indexing="ij", sparse=True,
    )  # fmt: skip
    together = orifice_flow(drop, density, pressure, viscosity, diameter, beta, (where, 0.47 * where), factor)
    assert together.shape == (2,) * 8
    assert np.all(np.isfinite(together))
    alone = orifice_flow(250.0, 1.1, 1e5, 1.8e-5, 0.1, 0.5, D_AND_HALF_D, 1.01)
    assert np.ndim(alone) == 0
    assert together[1, 0, 1, 0, 1, 1, 1, 1] == pytest.approx(float(alone), rel=1e-14)
    many = orifice_coefficient(np.array([[1e4], [1e5]]), 0.5, 0.1, (np.array([0.0, 1.0, np.nan]), 0.47))
    assert np.isnan(many).tolist() == [[False, False, True]] * 2


def test_outside_the_domain():
    for name in ("density", "pressure", "viscosity", "diameter"):
        for wrong in (0.0, -1.0, np.nan, -1e30):
            assert np.isnan(orifice_flow(**{**PLATE, name: wrong})), (name, wrong)
    for name, wrong in (("pressure", 500.0), ("beta", 1.0), ("beta", -0.1), ("beta", np.nan), ("drop", np.nan)):
        assert np.isnan(orifice_flow(**{**PLATE, name: wrong})), (name, wrong)
    for wrong in ((-0.1, 0.0), (0.0, -0.1), (np.nan, 0.0), (0.0, np.nan)):
        assert np.isnan(orifice_flow(**{**PLATE, "positions": wrong}))
        assert np.isnan(orifice_coefficient(1e5, 0.5, 0.05, wrong))
    assert np.isnan(orifice_coefficient(np.array([0.0, -1e5, np.nan]), 0.5, 0.05, CORNER)).all()
    assert np.isnan(orifice_coefficient(1e5, np.array([-0.1, 1.0, 1.5]), 0.05, CORNER)).all()
    assert np.isnan(orifice_coefficient(1e5, 0.5, np.array([-0.1, 0.0]), CORNER)).all()
    assert np.isnan(orifice_coefficient(1e5, 1.0, 0.05, D_AND_HALF_D))
    assert np.isnan(orifice_expansibility(np.array([-0.5, 0.0, 0.52, 1.5]), 0.5)).all()
    assert np.isnan(orifice_expansibility_uncertainty(np.array([0.52, 1.5]))).all()
    assert np.isnan(orifice_coefficient_uncertainty(1e5, np.array([-0.1, 0.76]), 0.05)).all()
    assert np.isnan(orifice_coefficient_uncertainty(np.array([0.0, -1.0]), 0.5, 0.05)).all()
    assert np.isnan(orifice_flange_position(0.5, np.array([0.0, -1.0]))).all()
    assert np.isnan(pipe_reynolds(0.1, 1.2, 1.82e-5, np.array([0.0, -1.0]))).all()
    for extreme in (0.0, -1.0, -1e30, 1e30):  # no warning and no error from plain floats
        for name in ("drop", "density", "pressure", "viscosity", "diameter", "beta"):
            assert np.ndim(orifice_flow(**{**PLATE, name: extreme})) == 0
        orifice_coefficient(extreme, 0.5, 0.05, CORNER)
        orifice_coefficient(1e5, extreme, 0.05, D_AND_HALF_D)
        orifice_coefficient(1e5, 0.5, extreme, (extreme, extreme))
