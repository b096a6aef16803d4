"""Results of one quantity: pairs held against each other, and all combined, with what they share counted once."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.uncertainty.cause import Cause, CauseConflict
from flowrig.uncertainty.combine import combine, compare
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.montecarlo import chunks
from flowrig.uncertainty.propagate import linear

GAIN, ZERO = Cause("manometer gain", scope="calibration"), Cause("manometer zero", scope="setup")
K = 1.959963984540054  # normal, 95 %
values, errors = st.floats(0.5, 2.0), st.floats(0.01, 0.2)


def result(value, own, name, *, gain=0.0, zero=0.0, dof=math.inf):
    parts = {Cause(f"own {name}", dof=dof): [own], GAIN: [gain], ZERO: [zero]}
    return Estimate(value, (), {cause: part for cause, part in parts.items() if part[0]})


def peelle():
    return [result(1.5, 0.15, "a", gain=0.30), result(1.0, 0.10, "b", gain=0.20)]


# combined


# Source: R. W. Peelle's puzzle (1987, from memory); both answers worked here in closed form.
@pytest.mark.recomputed
def test_a_shared_gain_does_not_drag_the_answer_below_both():
    readings = peelle()
    naive = np.array([[0.15**2 + 0.3**2, 0.3 * 0.2], [0.3 * 0.2, 0.1**2 + 0.2**2]])
    inverse = np.linalg.inv(naive)
    assert inverse.sum(axis=0) @ [1.5, 1.0] / inverse.sum() == pytest.approx(0.88, abs=0.005)
    combined = combine(readings)
    assert float(combined.estimate.value) == pytest.approx(1.25, rel=1e-12)
    np.testing.assert_allclose(combined.weights, [0.5, 0.5], rtol=1e-12)
    assert combined.adds_nothing == ()
    # parts of the readings, weighted: half of each own, and the gain on both alike
    assert float(combined.estimate.u) == pytest.approx(math.hypot(0.075, 0.05, 0.25), rel=1e-9)
    assert float(combined.estimate.parts[GAIN][0]) == pytest.approx(0.25, rel=1e-9)
    # both at 1.25: 0.125 of their own each; the shared gain explains none of the difference
    assert combined.chi_square == pytest.approx(0.5**2 / (2 * 0.125**2), rel=1e-9)
    assert combined.dof == 1


@given(a=values, b=values, own=errors, shared=st.floats(0.0, 0.5))
def test_relative_causes_alone_keep_the_answer_between_two_alike(a, b, own, shared):
    readings = [result(x, own * x, name, gain=shared * x) for x, name in ((a, "a"), (b, "b"))]
    assert float(combine(readings).estimate.value) == pytest.approx(0.5 * (a + b), rel=1e-9)


@given(readings=st.lists(st.tuples(values, errors), min_size=2, max_size=6))
def test_independent_absolute_errors_give_the_weighted_mean(readings):
    results = [result(x, u, str(i)) for i, (x, u) in enumerate(readings)]
    combined = combine(results, absolute=[f"own {i}" for i in range(len(results))])
    x, u = np.array(readings).T
    weights = u**-2 / np.sum(u**-2)
    mean = weights @ x
    np.testing.assert_allclose(combined.weights, weights, rtol=1e-9)
    assert float(combined.estimate.value) == pytest.approx(mean, rel=1e-9)
    assert float(combined.estimate.u) == pytest.approx(np.sum(u**-2) ** -0.5, rel=1e-9)
    assert combined.chi_square == pytest.approx(np.sum(((x - mean) / u) ** 2), rel=1e-6, abs=1e-12)
    assert combined.dof == len(results) - 1


@given(a=values, b=values, own=st.tuples(errors, errors), zero=errors, gain=errors)
def test_the_covariance_is_that_of_the_combined_value(a, b, own, zero, gain):
    readings = [result(x, u * x, name, gain=gain * x, zero=zero) for x, u, name in ((a, own[0], "a"), (b, own[1], "b"))]
    combined = combine(readings, absolute=[ZERO.id])
    middle = float(combined.estimate.value)
    covariance = np.full((2, 2), zero**2 + (gain * middle) ** 2) + np.diag((np.array(own) * middle) ** 2)
    inverse = np.linalg.inv(covariance)
    np.testing.assert_allclose(combined.weights, inverse.sum(axis=0) / inverse.sum(), rtol=1e-6, atol=1e-9)
    left = np.array([a, b]) - middle
    assert combined.chi_square == pytest.approx(left @ inverse @ left, rel=1e-6, abs=1e-12)


def test_a_mixture_of_absolute_and_relative_is_iterated():
    readings = [result(1.5, 0.15, "a", zero=0.1), result(1.0, 0.05, "b")]
    combined = combine(readings, absolute=[ZERO.id])
    middle = float(combined.estimate.value)
    variances = np.array([(0.1 * middle) ** 2 + 0.1**2, (0.05 * middle) ** 2])
    np.testing.assert_allclose(combined.weights, variances**-1 / np.sum(variances**-1), rtol=1e-9)


def test_a_result_that_shares_more_than_it_knows_adds_nothing():
    # the second has all that ails the first twice over, and its own on top
    readings = [result(1.0, 0.02, "a", gain=0.10), result(1.0, 0.02, "b", gain=0.20)]
    combined = combine(readings)
    assert combined.weights[1] < 0.0 < 1.0 < combined.weights[0]
    assert combined.adds_nothing == (1,)
    assert sum(combined.weights) == pytest.approx(1.0, rel=1e-12)


def test_singular_cases_have_an_answer():
    exact, rough = Estimate(1.0), result(1.1, 0.1, "b")
    combined = combine([exact, rough])
    np.testing.assert_allclose(combined.weights, [1.0, 0.0], atol=1e-12)
    assert combined.adds_nothing == (1,)
    assert combined.chi_square == pytest.approx(0.1**2 / (0.1 / 1.1) ** 2, rel=1e-9)
    alike = [result(1.0, 0.0, "a", gain=0.1), result(1.1, 0.0, "b", gain=0.11)]
    combined = combine(alike)
    np.testing.assert_allclose(combined.weights, [0.5, 0.5], rtol=1e-9)
    assert combined.chi_square == math.inf  # what they share moves both alike: it cannot part them
    assert combine([Estimate(1.0), Estimate(1.0)]).chi_square == 0.0


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
def test_the_unit_does_not_matter(scale):
    readings = [result(scale * 1.5, scale * 0.15, "a", gain=scale * 0.3, zero=scale * 0.02)]
    readings += [result(scale * 1.0, scale * 0.1, "b", gain=scale * 0.2, zero=scale * 0.05)]
    plain = combine(
        [result(1.5, 0.15, "a", gain=0.3, zero=0.02), result(1.0, 0.1, "b", gain=0.2, zero=0.05)], [ZERO.id]
    )
    scaled = combine(readings, [ZERO.id])
    np.testing.assert_allclose(scaled.weights, plain.weights, rtol=1e-9)
    assert scaled.chi_square == pytest.approx(plain.chi_square, rel=1e-9)


def test_the_combined_value_still_shares_its_causes_and_can_be_drawn():
    readings = peelle()
    combined = combine(readings).estimate
    assert float(combined.cov(readings[0])) == pytest.approx(0.5 * (0.15**2 + 0.3**2) + 0.5 * 0.3 * 0.2, rel=1e-9)
    drawn = np.concatenate([draws[0] for draws in chunks([combined], 100_000, 1)])
    assert np.std(drawn) == pytest.approx(float(combined.u), rel=0.01)
    assert np.mean(drawn) == pytest.approx(1.25, abs=0.005)


def test_a_block_of_directions_counts_like_as_many_causes():
    block, loose = Cause("fit", n=2), [Cause("fit 0"), Cause("fit 1")]
    parts = {1.2: [0.1, -0.05], 1.0: [0.03, 0.08]}
    together = [Estimate(x, (), {block: part, Cause(f"own {x}"): [0.05]}) for x, part in parts.items()]
    apart = [
        Estimate(x, (), {loose[0]: part[:1], loose[1]: part[1:], Cause(f"own {x}"): [0.05]})
        for x, part in parts.items()
    ]
    np.testing.assert_allclose(combine(together).weights, combine(apart).weights, rtol=1e-9)


def test_what_cannot_be_combined():
    one, two = peelle()
    with pytest.raises(ValueError, match="two or more"):
        combine([one])
    with pytest.raises(ValueError, match="axes"):
        combine([one, Estimate([1.0, 2.0], ("row",))])
    with pytest.raises(ValueError, match="no value"):
        combine([one, Estimate(math.nan)])
    with pytest.raises(ValueError, match="no causes of these"):
        combine([one, two], absolute=["phlogiston"])
    for value in (0.0, -0.1):
        with pytest.raises(ValueError, match="both signs"):
            combine([one, result(value, 0.1, "c")])
    near_zero = [result(0.02, 0.1, "a"), result(-0.01, 0.1, "b")]
    assert float(combine(near_zero, ["own a", "own b"]).estimate.value) == pytest.approx(0.005, rel=1e-9)
    with pytest.raises(CauseConflict):
        combine([one, Estimate(1.0, (), {Cause(GAIN.id, dof=5.0): [0.1]})])


def test_results_so_far_apart_that_their_covariance_has_no_fixed_point_are_refused():
    readings = [result(0.4, 0.01, "a", gain=0.1, zero=-0.2), result(2.2, 0.09, "b", gain=0.3, zero=-0.4)]
    with pytest.raises(ValueError, match="too far apart"):
        combine(readings, [ZERO.id, "own a", "own b"])


@pytest.mark.recomputed
@given(a=values, b=values, zero=errors)
def test_results_computed_at_the_combined_value_stand_in_for_the_rules_of_growth(a, b, zero):
    # an offset on a root: half of it over the square, so that it falls as the value rises
    def at(value):
        return [result(value, 0.05 * value, name, zero=0.5 * zero / value) for name in "ab"]

    readings = [result(x, 0.05 * x, name, zero=0.5 * zero / x) for x, name in ((a, "a"), (b, "b"))]
    combined = combine(readings, at=at)
    np.testing.assert_allclose(combined.weights, [0.5, 0.5], rtol=1e-9)
    middle = 0.5 * (a + b)
    assert combined.chi_square == pytest.approx((a - b) ** 2 / (2 * (0.05 * middle) ** 2), rel=1e-6, abs=1e-12)
    # the parts stay those of the results as they were read
    assert float(combined.estimate.parts[ZERO][0]) == pytest.approx(0.25 * zero * (1 / a + 1 / b), rel=1e-6)
    with pytest.raises(ValueError, match="not both"):
        combine(readings, absolute=[ZERO.id], at=at)


# compared


@given(a=values, b=values, u=st.tuples(errors, errors), gain=st.floats(0.0, 0.2))
def test_difference_and_its_two_uncertainties(a, b, u, gain):
    first, second = result(a, u[0], "a", gain=gain * a), result(b, u[1], "b", gain=gain * b)
    held = compare(first, second)
    shared = math.hypot(*u, gain * (a - b))
    assert float(held.difference.value) == pytest.approx(a - b, abs=1e-15)
    assert float(held.difference.u) == pytest.approx(shared, rel=1e-9)
    apart = first.variance + second.variance
    assert float(held.difference.variance) == pytest.approx(float(apart - 2 * first.cov(second)), rel=1e-9)
    assert held.u_unshared == pytest.approx(math.hypot(*u, gain * a, gain * b), rel=1e-9)
    assert held.e_n == pytest.approx((a - b) / (K * shared), rel=1e-9, abs=1e-12)
    assert held.e_n_unshared == pytest.approx((a - b) / (K * held.u_unshared), rel=1e-9, abs=1e-12)
    back = compare(second, first)
    assert back.verdict == held.verdict
    assert back.e_n == pytest.approx(-held.e_n, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("apart", "gain", "verdict"),
    [
        (0.01, 0.0, "agree"),
        (0.20, 0.0, "disagree"),
        (0.20, 0.2, "cannot tell"),  # differ beyond their own errors, though not beyond a gain that may not cancel
        (0.90, 0.2, "disagree"),
        (0.01, 0.2, "agree"),
    ],
)
def test_verdict(apart, gain, verdict):
    assert compare(result(1.0 + apart, 0.02, "a", gain=gain), result(1.0, 0.02, "b", gain=gain)).verdict == verdict


def test_causes_that_move_two_results_apart_are_held_both_ways_too():
    # one meter reads high where the other reads low: the shared cause widens the difference
    held = compare(result(1.3, 0.02, "a", gain=0.1), result(1.0, 0.02, "b", gain=-0.1))
    assert abs(held.e_n) < 1.0 < abs(held.e_n_unshared)
    assert held.verdict == "cannot tell"


def test_few_readings_widen_the_comparison():
    first, second = result(1.1, 0.03, "a", dof=4.0), result(1.0, 0.04, "b")
    held = compare(first, second)
    dof = 0.05**4 / (0.03**4 / 4.0)
    factor = float(coverage_factor(0.95, dof))
    assert factor > K
    assert held.e_n == pytest.approx(0.1 / (factor * 0.05), rel=1e-9)
    assert held.e_n_unshared == pytest.approx(held.e_n, rel=1e-9)
    assert abs(compare(first, second, 0.5).e_n) > abs(held.e_n)


def test_rounding_is_no_difference():
    assert compare(Estimate(0.1 + 0.2), Estimate(0.3)).verdict == "agree"
    everything = Estimate(0.1 + 0.2, (), {GAIN: [0.03]})
    assert compare(everything, Estimate(0.3, (), {GAIN: [0.03]})).verdict == "agree"


def test_exact_and_missing_results():
    assert compare(Estimate(1.0), Estimate(1.0)).verdict == "agree"
    assert compare(Estimate(1.1), Estimate(1.0)).verdict == "disagree"
    assert compare(Estimate(1.0), Estimate(1.1)).e_n == -math.inf
    assert compare(result(math.nan, 0.1, "a"), result(1.0, 0.1, "b")).verdict == "cannot tell"
    assert compare(Estimate(math.nan), Estimate(1.0)).verdict == "cannot tell"
    with pytest.raises(ValueError, match="axes"):
        compare(Estimate([1.0], ("row",)), Estimate(1.0))
    with pytest.raises(CauseConflict):
        compare(result(1.0, 0.1, "a", dof=5.0), result(1.0, 0.1, "a"))


def test_a_difference_computed_by_a_common_step_cancels_what_they_share():
    density = Estimate(1.2, (), {Cause("barometer"): [0.01]})
    flows = [
        linear(lambda rho, drop: {"flow": np.sqrt(drop / rho)}, {"rho": density, "drop": drop}, outputs={"flow": ()})
        for drop in (result(100.0, 0.1, "a"), result(100.0, 0.1, "b"))
    ]
    held = compare(flows[0]["flow"], flows[1]["flow"])
    assert Cause("barometer") not in held.difference.parts or np.all(
        np.abs(held.difference.parts[Cause("barometer")]) < 1e-12
    )
    assert held.u_unshared > 2.0 * float(held.difference.u)
