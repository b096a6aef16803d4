"""A decline to a floor: against worked figures of two regression libraries, scipy's own minimum, and differences."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit, minimize
from scipy.special import gammaln

from flowrig.errors import CalculationError
from flowrig.uncertainty.decline import Decline, Known, decline
from flowrig.uncertainty.interval import coverage_factor
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
ANSWERS = tomllib.loads((REFERENCE / "decay_answers.toml").read_text(encoding="utf-8"))
NO_FLOOR = Known(0.0, 1e-9)
TIME = np.arange(0.0, 31.0)


def columns(name: str, *wanted: str) -> list[np.ndarray]:
    return [np.array([float(row[column]) for row in rows(name)]) for column in wanted]


def run(
    rng: np.random.Generator, rate: float, floor: float, scatter: float = 0.0, memory: float = 0.0, n: int = 31,
    first: float = 2000.0,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Invented counts of a decline over 30 time units."""
    time = np.linspace(0.0, 30.0, n)
    moved = rng.standard_normal(n)
    for i in range(1, n):
        moved[i] = memory * moved[i - 1] + math.sqrt(1.0 - memory**2) * moved[i]
    mean = (first * np.exp(-rate * time) + floor) * np.exp(scatter * moved)
    return time, rng.poisson(mean).astype(float)


# Source: regression check, slopes and standard errors by two libraries (concentration against time, in logarithms).
@pytest.mark.recomputed
@pytest.mark.parametrize("which", ["natural", "operating"])
def test_equal_weights_in_the_logarithm_are_the_regression_line(which):
    time, level = columns("decay_pair.csv", "time_min", f"{which}_count_per_cm3")
    found, wanted = decline(time, level, floor=NO_FLOOR, road="logarithms"), ANSWERS[which]
    assert found.rate == pytest.approx(-wanted["slope"], rel=1e-7)
    assert math.log(found.amplitude) == pytest.approx(wanted["intercept"], rel=1e-7)
    assert found.excess == pytest.approx(wanted["residual_sd"], rel=1e-6)
    assert found.free == pytest.approx(wanted["df"], abs=1e-6)
    # of independent readings, before what their order in time says
    assert found.excess * np.linalg.norm(found.leads) == pytest.approx(wanted["se_slope"], rel=1e-6)
    assert found.u >= found.excess * np.linalg.norm(found.leads) * (1.0 - 1e-9)


# Source: the floor trap of the same reference: 0.198 a minute without a floor, 0.24993804 with three coefficients.
@pytest.mark.recomputed
def test_a_floor_that_is_fitted_with_the_rate():
    time, level = columns("decay_floor.csv", "time_min", "count_per_cm3")
    trap = ANSWERS["floor_trap"]
    plain = decline(time, level, floor=NO_FLOOR, road="logarithms")
    assert plain.rate == pytest.approx(-trap["ols_no_correction"]["slope"], rel=1e-7)
    found, wanted = decline(time, level, road="logarithms"), trap["three_parameter_log_fit"]
    assert found.rate == pytest.approx(wanted["k_per_min"], rel=1e-7)
    assert found.amplitude == pytest.approx(wanted["amplitude"], rel=1e-7)
    assert found.floor == pytest.approx(wanted["floor"], rel=1e-6)
    assert abs(found.rate - trap["true_k_per_min"]) < 2.0 * found.u
    assert abs(plain.rate - trap["true_k_per_min"]) > 8.0 * plain.excess * np.linalg.norm(plain.leads)


# Source: the same points by scipy's curve_fit in logarithms, standard error too.
@pytest.mark.library
def test_three_coefficients_by_another_library():
    time, level = columns("decay_floor.csv", "time_min", "count_per_cm3")
    best, covariance = curve_fit(
        lambda t, a, k, c: np.log(a * np.exp(-k * t) + c), time, np.log(level), p0=(2e4, 0.2, 50.0), xtol=1e-14
    )
    found = decline(time, level, road="logarithms")
    assert (found.amplitude, found.rate, found.floor) == pytest.approx(tuple(best), rel=1e-6)
    assert found.u == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)
    assert found.u_floor == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-4)


# Source: maximum of the Poisson likelihood by scipy's minimize; error from its expected information, written out here.
@pytest.mark.library
@pytest.mark.parametrize("first", [40.0, 2000.0])
def test_counts_that_scatter_no_more_than_counting_have_the_greatest_likelihood(first):
    exposure = np.linspace(0.8, 1.2, 31)
    signal = first * np.exp(-0.2 * TIME) + 0.02 * first
    count = np.round(exposure * signal)  # without chance, so that nothing scatters beyond it
    found = decline(TIME, count, exposure)
    assert found.excess == 0.0
    assert found.u_scatter == 0.0

    def loss(b):
        mean = exposure * (np.exp(b[0] - b[1] * TIME) + b[2])
        return float(np.sum(mean - count * np.log(mean) + gammaln(count + 1.0)))

    best = minimize(loss, (math.log(first), 0.2, 0.02 * first), method="Nelder-Mead",
                    options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 20_000, "maxfev": 20_000})  # fmt: skip
    assert (math.log(found.amplitude), found.rate, found.floor) == pytest.approx(tuple(best.x), rel=2e-5)
    mean = exposure * (found.at(TIME) + found.floor)
    slopes = np.stack([exposure * found.at(TIME), -TIME * exposure * found.at(TIME), exposure])
    covariance = np.linalg.inv(slopes / mean @ slopes.T)
    assert found.u == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-6)
    assert found.u_floor == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-6)


def test_scatter_beyond_counting_is_a_share_of_each_reading():
    time, count = run(np.random.default_rng(4), 0.2, 20.0, scatter=0.05)
    found = decline(time, count)
    mean = found.at(time) + found.floor
    variance = mean + (found.excess * mean) ** 2
    assert np.sum((count - mean) ** 2 / variance) == pytest.approx(found.free, rel=1e-6)
    assert found.residuals == pytest.approx((count - mean) / np.sqrt(variance), abs=1e-9)
    assert found.chi_square == pytest.approx(np.sum((count - mean) ** 2 / mean), rel=1e-9)
    assert found.chi_square > 1.5 * found.free
    assert 0.02 < found.excess < 0.08
    # the three equations of the fit hold
    assert np.abs(found.design.T @ found.residuals) / np.linalg.norm(found.design, axis=0) == pytest.approx(0, abs=1e-5)


def test_what_is_known_of_the_floor_is_one_more_observation():
    time, count = run(np.random.default_rng(5), 0.05, 100.0)
    free = decline(time, count)
    loose, firm = decline(time, count, floor=Known(80.0, 1e7)), decline(time, count, floor=Known(100.0, 1e-4))
    assert loose.rate == pytest.approx(free.rate, rel=1e-6)
    assert loose.u == pytest.approx(free.u, rel=1e-4)
    assert firm.floor == pytest.approx(100.0, abs=1e-3)
    assert firm.free == pytest.approx(29.0, abs=1e-3)
    assert firm.u < 0.3 * free.u
    known = Known(100.0, 20.0)
    both = decline(time, count, floor=known)
    assert firm.u < both.u < free.u
    higher = decline(time, count, floor=Known(101.0, 20.0))
    assert (higher.rate - both.rate) * known.u == pytest.approx(both.by_floor, rel=2e-2)
    assert both.by_floor > 0.0


def test_the_leads_are_what_a_reading_moves_the_rate_by():
    count = np.round(2000.0 * np.exp(-0.2 * TIME) + 40.0)
    found = decline(TIME, count, floor=Known(40.0, 5.0))
    for i in (0, 10, 30):
        more, less = (np.where(i == TIME, (1.0 + by) * count, count) for by in (1e-3, -1e-3))
        rates = [decline(TIME, moved, floor=Known(40.0, 5.0)).rate for moved in (more, less)]
        assert (rates[0] - rates[1]) / 2e-3 == pytest.approx(found.leads[i], rel=0.05, abs=2e-5)


def test_a_change_of_units_goes_through():
    time, count = run(np.random.default_rng(6), 0.15, 30.0, scatter=0.03)
    found = decline(time, count, 1.0, Known(30.0, 5.0))
    other = decline(60.0 * time, count, 2.83e-3, Known(30.0 / 2.83e-3, 5.0 / 2.83e-3))
    assert 60.0 * other.rate == pytest.approx(found.rate, rel=1e-7)
    assert 60.0 * other.u == pytest.approx(found.u, rel=1e-6)
    assert other.floor * 2.83e-3 == pytest.approx(found.floor, rel=1e-6)
    assert other.excess == pytest.approx(found.excess, rel=1e-6)


def test_a_floor_below_nothing_is_held_at_nothing():
    rng = np.random.default_rng(7)
    held = [decline(*run(rng, 0.2, 0.0)) for _ in range(40)]
    assert all(found.floor >= 0.0 for found in held)
    some = [found for found in held if found.held]
    assert 8 < len(some) < 32  # about half of them
    plain = [found.u for found in held if not found.held]
    assert np.mean([found.u for found in some]) == pytest.approx(np.mean(plain), rel=0.1)


def test_a_rate_near_nothing_may_come_out_below_it():
    rng = np.random.default_rng(8)
    rates = [decline(*run(rng, 0.0, 0.0), floor=Known(0.0, 1.0)).rate for _ in range(30)]
    assert min(rates) < 0.0 < max(rates)
    assert abs(np.mean(rates)) < 3.0 * np.std(rates) / math.sqrt(30)


def test_memory_of_the_scatter_is_found_and_widens_the_bar():
    time, count = run(np.random.default_rng(9), 0.1, 20_000.0, scatter=0.02, memory=0.6, n=2000, first=1e6)
    found = decline(time, count)
    assert found.memory == pytest.approx(0.6, abs=0.06)
    assert found.memory > 20.0 * found.u_memory
    independent = found.excess * np.linalg.norm(found.leads)
    assert found.u == pytest.approx(independent * math.sqrt(1.6 / 0.4), rel=0.15)
    alone = decline(*run(np.random.default_rng(9), 0.1, 20_000.0, scatter=0.02, n=2000, first=1e6))
    assert alone.memory < 0.06


# Counting has no memory: where it is all the scatter, no order in time is looked for.
def test_counting_has_no_memory():
    assert decline(TIME, np.round(100.0 * np.exp(-0.1 * TIME))).memory == 0.0


@pytest.mark.parametrize(
    ("count", "said"),
    [
        ([10.0, 5.0, 2.0], "4 or more"),
        ([0.0] * 8, "nothing was counted"),
        ([0.0, 3.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0], "too few for a decline"),
    ],
)
def test_what_tells_no_decline(count, said):
    with pytest.raises(CalculationError, match=said):
        decline(np.arange(float(len(count))), count)


def test_what_has_no_logarithm():
    with pytest.raises(CalculationError, match="not above 0"):
        decline(TIME, np.where(TIME == 30, 0.0, 100.0 * np.exp(-0.1 * TIME)), road="logarithms")


def test_what_rises_has_a_rate_below_nothing():
    found = decline(TIME, np.round(100.0 * np.exp(0.1 * TIME)), floor=NO_FLOOR)
    assert found.rate == pytest.approx(-0.1, rel=1e-2)


def holds(found: Decline, rate: float) -> bool:
    blocks = found.u_scatter**4 / found.dof
    dof = found.u**4 / blocks if blocks else math.inf
    return bool(abs(found.rate - rate) <= coverage_factor(0.95, dof) * found.u)


# Own simulation: of 100 runs of each kind 95 % ± 4.4 points at two standard errors.
@pytest.mark.coverage
@pytest.mark.parametrize(
    ("rate", "floor", "scatter", "n", "known"),
    [(0.2, 20.0, 0.0, 31, None), (0.2, 20.0, 0.05, 21, None), (0.05, 100.0, 0.02, 31, 10.0)],
    ids=["counting alone", "scatter of 5 %", "slow, floor known"],
)
def test_the_bar_holds_the_rate(rate, floor, scatter, n, known):
    rng = np.random.default_rng(10)
    held = 0
    for _ in range(100):
        time, count = run(rng, rate, floor, scatter, n=n)
        told = Known(max(floor + known * rng.standard_normal(), 0.0), known) if known else None
        held += holds(decline(time, count, floor=told), rate)
    assert held >= 0.90 * 100
