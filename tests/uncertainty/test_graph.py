"""Random computations of several stages against one brute-force Jacobian that knows nothing of causes and stages."""

import numpy as np
import pytest

from flowrig.uncertainty.batch import probe
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import sample
from flowrig.uncertainty.propagate import linear

CAUSES = (
    Cause("noise", each="row"),
    Cause("pair of noises", each="row", n=2, dof=6),
    Cause("shared"),
    Cause("fit", n=2, dof=5),
    Cause("box", shape="rectangular"),
)
STEP = 1e-4  # of a unit deviate; the engine's is a tenth, and their slopes differ by some (0.1 u)² of themselves


def leaf(rng, n):
    parts = {c: 0.05 * rng.standard_normal((c.n, n)) for c in CAUSES if rng.random() < 0.6}
    return Estimate(rng.uniform(1, 2, n), ("row",), parts)


def whole(a, b, c):
    """Products of rows, a mean over rows, rows over that mean, and rows less their own mean, all at once."""
    product = a * b
    mean = (a + c).mean(axis=-1, keepdims=True)
    ratio = np.sqrt(c) + product / mean
    centred = ratio - ratio.mean(axis=-1, keepdims=True) + product
    return {"product": product, "mean": mean, "ratio": ratio, "centred": centred}


def staged(leaves):
    a, b, c = leaves.values()
    row, none = ("row",), ()
    product = linear(lambda a, b: {"product": a * b}, {"a": a, "b": b}, row, {"product": row})["product"]
    two = linear(
        lambda a, c: {"mean": (a + c).mean(axis=-1, keepdims=True), "root": np.sqrt(c)}, {"a": a, "c": c}, row,
        {"mean": none, "root": row},
    )  # fmt: skip
    ratio = linear(lambda root, product, mean: {"ratio": root + product / mean}, two | {"product": product}, row,
                   {"ratio": row})["ratio"]  # fmt: skip
    centred = linear(
        lambda ratio, product: {"centred": ratio - ratio.mean(axis=-1, keepdims=True) + product},
        {"ratio": ratio, "product": product}, row, {"centred": row},
    )["centred"]  # fmt: skip
    return {"product": product, "mean": two["mean"], "ratio": ratio, "centred": centred}


def brute_force(leaves):
    """Slope of every output along every deviate there is, rows' own deviates one by one."""
    moves = {}
    for name, x in leaves.items():
        for cause, part in x.parts.items():
            for k in range(cause.n):
                for place in range(len(x.value)) if cause.each else [None]:
                    shift = part[k] if place is None else np.where(np.arange(len(x.value)) == place, part[k], 0.0)
                    moves.setdefault((cause.id, k, place), {})[name] = shift
    found = {}
    for move in moves.values():
        up, down = (
            whole(**{name: x.value + sign * STEP * move.get(name, 0.0) for name, x in leaves.items()})
            for sign in (1, -1)
        )
        for output in up:
            found.setdefault(output, []).append((up[output] - down[output]) / (2 * STEP))
    return {output: np.array(slopes) for output, slopes in found.items()}


@pytest.mark.parametrize("seed", range(25))
def test_any_way_through_gives_the_brute_force_answer(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 7))
    leaves = {name: leaf(rng, n) for name in "abc"}
    slopes, results = brute_force(leaves), staged(leaves)
    for name, x in results.items():
        expected = np.sqrt((slopes[name] ** 2).sum(0))
        np.testing.assert_allclose(x.u.reshape(expected.shape), expected, rtol=5e-4)
    for one, two in (("centred", "product"), ("ratio", "mean"), ("mean", "centred")):
        expected = (slopes[one] * slopes[two]).sum(0)
        bound = float(np.max(results[one].u) * np.max(results[two].u))
        np.testing.assert_allclose(results[one].cov(results[two]), expected, atol=5e-4 * bound)
    kept = dict.fromkeys(("product", "ratio", "centred"), ("row",)) | {"mean": ()}
    composite = linear(whole, leaves, ("row",), kept)
    some = rng.permutation(n)[:2]
    for name, x in results.items():
        np.testing.assert_allclose(composite[name].u, x.u, rtol=1e-3)
        np.testing.assert_allclose(composite[name].dof, x.dof, rtol=5e-3)
        drawn = sample(x, 40)
        np.testing.assert_allclose(sample(composite[name], 40), drawn, rtol=1e-10)
        if name != "mean":
            for made in (x, composite[name]):
                np.testing.assert_allclose(sample(made.take("row", some), 40), drawn[:, some], rtol=1e-10)
            np.testing.assert_allclose(probe(x.take("row", some)), probe(x)[some], rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_two_rows_taken_apart_and_compared(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 7))
    leaves = {name: leaf(rng, n) for name in "abc"}
    slopes, ratio = brute_force(leaves)["ratio"], staged(leaves)["ratio"]
    i, j = rng.permutation(n)[:2]
    a, b = ratio.take("row", [i]), ratio.take("row", [j])
    difference = linear(lambda a, b: {"d": a - b}, {"a": a, "b": b}, ("row",), {"d": ("row",)})["d"]
    expected = np.sqrt(((slopes[:, i] - slopes[:, j]) ** 2).sum())
    assert float(difference.u[0]) == pytest.approx(float(expected), abs=5e-4 * float(np.max(ratio.u)))
    drawn = sample(ratio, 40)
    np.testing.assert_allclose(sample(difference, 40)[:, 0], drawn[:, i] - drawn[:, j], atol=1e-10)
