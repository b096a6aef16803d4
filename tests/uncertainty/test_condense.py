"""Causes of several numbers brought into few directions: the same covariance, the known ones untouched."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.condense import condensed
from flowrig.uncertainty.estimate import Estimate

REST = Cause("readings", scope="calibration")
NAMES = ("flow", "exponent", "constant")
moves = st.floats(-3.0, 3.0).filter(lambda x: x == 0.0 or abs(x) > 1e-3)


def own(cause):
    return cause.id.startswith("own")


def numbers(parts):
    """Numbers by name; `parts` maps a cause to an array of directions over numbers."""
    arrays = {cause: np.asarray(moved, dtype=float) for cause, moved in parts.items()}
    count = next(iter(arrays.values())).shape[1]
    return {
        NAMES[k]: Estimate(1.0, (), {c: moved[:, k] for c, moved in arrays.items() if np.any(moved[:, k])})
        for k in range(count)
    }


def covariance(loads, count):
    """From what is written: a dot product over every direction of every cause."""
    total = np.zeros((count, count))
    for cause, moved in loads.items():
        block = np.stack([moved.get(name, np.zeros(cause.n)) for name in NAMES[:count]], axis=1)
        total += block.T @ block
    return total


def of(numbers):
    return np.array([[float(a.cov(b)) for b in numbers.values()] for a in numbers.values()])


@st.composite
def many(draw):
    count = draw(st.integers(1, 3))
    parts = {}
    for i in range(draw(st.integers(1, 8))):
        shape = draw(st.sampled_from(["normal", "normal", "rectangular", "triangular"]))
        dof = draw(st.sampled_from([math.inf, 4.0])) if shape == "normal" else math.inf
        n = draw(st.integers(1, 6))
        name = draw(st.sampled_from(["own", "instrument"]))
        moved = draw(st.lists(st.lists(moves, min_size=count, max_size=count), min_size=n, max_size=n))
        parts[Cause(f"{name} {i}", n=n, dof=dof, shape=shape)] = moved
    return numbers(parts)


@given(many())
def test_the_covariance_is_what_it_was(given):
    before = of(given)
    after = covariance(condensed(given, own, REST), len(given))
    scale = np.sqrt(np.outer(np.diag(before), np.diag(before)))
    np.testing.assert_allclose(after, before, rtol=1e-9, atol=1e-9 * np.max(scale))


@given(many())
def test_known_causes_keep_identity_and_directions_and_the_rest_have_no_more_than_numbers(given):
    found = condensed(given, own, REST)
    known = {c for x in given.values() for c in x.parts if not own(c)}
    assert {c for c in found if c.id.startswith("instrument")} == known
    for cause in known:
        for name, x in given.items():
            if cause in x.parts:
                np.testing.assert_array_equal(found[cause][name], x.parts[cause])
            else:
                assert name not in found[cause]
    for cause, moved in found.items():
        assert all(part.shape == (cause.n,) for part in moved.values())
        assert moved
        if own(cause) and cause.shape == "normal":
            assert cause.n <= len(given)
        if cause.id == REST.id:
            assert cause.n <= len(given)
            assert (cause.shape, cause.dof, cause.scope) == ("normal", math.inf, "calibration")


def test_forty_readings_become_two_directions():
    random = np.random.default_rng(1)
    given = numbers({Cause("own noise", n=40): random.normal(size=(40, 2)), Cause("own zero"): [[0.3, 0.2]]})
    [(cause, moved)] = condensed(given, own, REST).items()
    assert (cause.id, cause.n) == ("readings", 2)
    assert set(moved) == {"flow", "exponent"}
    np.testing.assert_allclose(covariance({cause: moved}, 2), of(given), rtol=1e-12)


def test_a_shape_is_kept_while_it_counts():
    limit, noise = Cause("own zero", shape="rectangular"), Cause("own noise", n=3)
    bell = [[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]]
    large = condensed(numbers({noise: bell, limit: [[0.5, 0.0]]}), own, REST)  # a fifth of the variance of one
    assert set(large) == {limit, Cause("readings", n=2, scope="calibration")}
    small = condensed(numbers({noise: bell, limit: [[0.2, 0.1]]}), own, REST)  # 4 %
    assert [c.id for c in small] == ["readings"]
    # of many directions together the sum is a bell
    digits = Cause("own digits", n=12, shape="rectangular")
    found = condensed(numbers({noise: bell, digits: np.full((12, 2), 0.3)}), own, REST)
    assert [c.id for c in found] == ["readings"]


def test_degrees_of_freedom_are_kept_while_they_count():
    few, noise = Cause("own scatter", n=5, dof=4.0), Cause("own noise", n=2)
    found = condensed(numbers({few: np.full((5, 2), 0.5), noise: np.eye(2)}), own, REST)
    [scatter] = [c for c in found if c.id == "own scatter"]
    assert scatter.dof == 4.0
    assert scatter.n == 1  # five directions that move both alike are one
    small = condensed(numbers({few: np.full((5, 2), 0.05), noise: np.eye(2)}), own, REST)
    assert [c.id for c in small] == ["readings"]


def test_numbers_of_very_different_size_keep_their_covariance():
    """A flow in m3/s beside a viscosity in Pa s: the small one is not lost in rounding."""
    random = np.random.default_rng(3)
    moved = random.normal(size=(30, 2)) @ np.array([[1.0, 0.4], [0.0, 0.1]]) * np.array([1e3, 1e-9])
    given = numbers({Cause("own noise", n=30): moved})
    np.testing.assert_allclose(covariance(condensed(given, own, REST), 2), of(given), rtol=1e-9)


def test_nothing_moves_nothing():
    assert condensed({"flow": Estimate(1.0)}, own, REST) == {}
    still = Estimate(1.0, (), {Cause("own still"): [0.0]})
    assert condensed({"flow": still}, own, REST) == {}
