"""One kernel, evaluated along every direction: orders, batches, chunks, axes, and every way to trip it."""

import math
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowrig.uncertainty import propagate
from flowrig.uncertainty.alongside import side_by_side
from flowrig.uncertainty.cause import Cause, CauseConflict
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.montecarlo import sample
from flowrig.uncertainty.propagate import linear, nominal
from flowrig.uncertainty.search import values_alone


def normal(value, u, name, dof=math.inf):
    return Estimate(value, (), {Cause(name, dof=dof): [u]})


def scalar(kernel, inputs, *outputs, **options):
    return linear(kernel, inputs, (), dict.fromkeys(outputs, ()), **options)


def nozzle(drop, density, diameter, discharge=0.98):
    return {"flow": discharge * np.pi / 4 * diameter**2 * np.sqrt(2 * drop / density)}


# order, staging, batches


COEFFICIENTS = st.lists(st.floats(-2.0, 2.0), min_size=4, max_size=4)


@settings(max_examples=40, deadline=None)
@given(COEFFICIENTS, st.permutations(range(4)))
def test_the_order_of_inputs_and_causes_changes_nothing(parts, order):
    names = "abcd"
    shared = Cause("shared")
    inputs = {
        name: Estimate(1.0 + i, (), {shared: [part], Cause(name, dof=3 + i): [0.1]})
        for i, (name, part) in enumerate(zip(names, parts, strict=True))
    }
    kernel = lambda a, b, c, d: {"y": a * b - c / d}  # noqa: E731
    one = scalar(kernel, inputs, "y")["y"]
    shuffled = {names[i]: inputs[names[i]] for i in order}
    turned = {n: Estimate(x.value, (), dict(reversed(x.parts.items()))) for n, x in shuffled.items()}
    two = scalar(kernel, turned, "y")["y"]
    assert float(two.u) == pytest.approx(float(one.u), rel=1e-12)
    assert float(two.dof) == pytest.approx(float(one.dof), rel=1e-12)
    # a draw may land next to zero by cancellation, where only rounding is left
    np.testing.assert_allclose(sample(two, 50), sample(one, 50), rtol=1e-12, atol=1e-13)


@settings(max_examples=40, deadline=None)
@given(COEFFICIENTS, COEFFICIENTS)
def test_covariance_agrees_with_draws_for_a_linear_kernel(one, two):
    causes = [Cause("a"), Cause("b", shape="rectangular"), Cause("c", shape="triangular"), Cause("d")]
    a, b = (Estimate(0.0, (), {c: [p] for c, p in zip(causes, parts, strict=True)}) for parts in (one, two))
    x, y = sample(a, 20_000), sample(b, 20_000)
    products = (x - x.mean()) * (y - y.mean())
    # five standard errors: forty random pairs are tried
    assert products.mean() == pytest.approx(float(a.cov(b)), abs=5 * products.std() / math.sqrt(20_000) + 1e-12)


def batch_inputs(n, seed=3):
    rng = np.random.default_rng(seed)
    noise, calibration, fit = Cause("noise", each="row", dof=9), Cause("calibration"), Cause("fit", n=2, dof=6)
    drop = rng.uniform(50, 400, n)
    return {
        "drop": Estimate(drop, ("row",), {noise: 0.5 * np.ones((1, n)), calibration: 0.004 * drop[np.newaxis]}),
        "density": Estimate(1.2 + 0.01 * rng.standard_normal(n), ("row",), {Cause("air", each="row"): [[0.004] * n]}),
        "diameter": Estimate(0.15, (), {fit: [1e-4, 2e-4], calibration: [1e-5]}),
    }


def row_of(x, i):
    """The same estimate for one row alone, noise along the rows an ordinary cause."""
    if not x.axes:
        return x
    return Estimate(x.value[i], (), {replace(cause, each=None): part[:, i] for cause, part in x.parts.items()})


def test_a_batch_equals_its_rows_reduced_one_by_one():
    inputs = batch_inputs(7)
    batch = linear(nozzle, inputs, ("row",), {"flow": ("row",)})["flow"]
    for i in range(7):
        single = scalar(nozzle, {name: row_of(x, i) for name, x in inputs.items()}, "flow")["flow"]
        assert float(batch.value[i]) == pytest.approx(float(single.value), rel=1e-14)
        assert float(batch.u[i]) == pytest.approx(float(single.u), rel=1e-10)
        assert float(batch.dof[i]) == pytest.approx(float(single.dof), rel=1e-9)


def test_noise_averages_over_rows_and_what_is_shared_stays():
    n = 16
    noise, calibration = Cause("noise", each="row"), Cause("calibration")
    x = Estimate(np.full(n, 10.0), ("row",), {noise: np.full((1, n), 2.0), calibration: np.full((1, n), 0.3)})
    average = linear(lambda x: {"m": x.mean(axis=-1, keepdims=True)}, {"x": x}, ("row",), {"m": ()})["m"]
    by_cause = {line.cause.id: float(line.u) for line in average.budget()}
    assert by_cause == pytest.approx({"noise": 2.0 / 4, "calibration": 0.3})
    drawn = sample(average, 40_000)
    assert drawn.std() == pytest.approx(float(average.u), abs=4 * float(average.u) / math.sqrt(80_000))


@pytest.mark.parametrize("kept", [("row", "point"), ("point", "row")])
def test_chunks_change_nothing(kept, monkeypatch):
    inputs = batch_inputs(50)
    weights = Estimate(np.array([0.2, 0.3, 0.5]), ("point",), {Cause("weights", n=3): 0.01 * np.eye(3)})
    single = Estimate([1.5], ("row",), {Cause("single"): [[0.1]]})  # an axis of length 1 stretches over all rows

    def kernel(weights, single, **rest):
        flow = nozzle(**rest)["flow"]
        found = {"mean": (weights * flow * single), "flow": flow * single, "by point": weights * np.ones(flow.shape)}
        return found | {"passes": 4, "wide": rest["density"], "same": weights, "lonely": single}

    def run():
        given = inputs | {"weights": weights, "single": single}
        return linear(kernel, given, ("row", "point"), {"mean": kept, "by point": kept})

    whole = run()
    calls = []
    original = propagate._stacked
    monkeypatch.setattr(propagate, "_stacked", lambda *given: calls.append(1) or original(*given))
    monkeypatch.setattr(propagate, "CHUNK", 1_000)
    pieces = run()
    assert len(calls) > 3 * len(inputs)
    for name, one in whole.items():
        two = pieces[name]
        np.testing.assert_array_equal(two.value, one.value)
        assert two.parts.keys() == one.parts.keys()
        for cause, part in one.parts.items():
            np.testing.assert_array_equal(two.parts[cause], part)
    assert whole["mean"].value.shape == {"row": (50, 3), "point": (3, 50)}[kept[0]]
    first, second = whole["mean"].node.diagnostics, pieces["mean"].node.diagnostics
    assert first["passes"] == second["passes"] == 4
    for name in ("wide", "same", "lonely", "flow"):
        np.testing.assert_array_equal(first[name], second[name])
    np.testing.assert_array_equal(first["wide"][:, 0], inputs["density"].value)


# axes


def test_a_scalar_beside_as_many_points_as_the_stack_has_shifts_keeps_its_contribution():
    # 12 causes make a stack of 25; laid along 25 points, a shifted density would cancel out
    points = 25
    causes = [Cause(f"probe {i}") for i in range(11)]
    drop = Estimate(np.full(points, 50.0), ("point",), {cause: np.full((1, points), 0.1) for cause in causes})
    density = normal(1.2, 0.012, "density")

    def kernel(drop, density):
        return {"velocity": np.sqrt(2 * drop / density).mean(axis=-1, keepdims=True)}

    out = linear(kernel, {"drop": drop, "density": density}, ("point",), {"velocity": ()})["velocity"]
    by_cause = {line.cause.id: float(line.u / out.value) for line in out.budget()}
    assert by_cause["density"] == pytest.approx(0.005, rel=1e-4)
    assert by_cause["probe 3"] == pytest.approx(0.001, rel=1e-4)


def test_axes_of_inputs_and_outputs_in_any_order():
    rng = np.random.default_rng(8)
    value, part = rng.uniform(1, 2, (2, 3, 4)), rng.uniform(0.1, 0.2, (2, 3, 4))
    shared, noise = Cause("shared"), Cause("noise", each="row")

    def kernel(a, b):
        return {"y": a * b, "total": (a * b).sum(axis=-1, keepdims=True)}

    def run(order, kept):
        turned = [("row", "column", "point").index(axis) for axis in order]
        a = Estimate(value.transpose(turned), order, {shared: part.transpose(turned)[np.newaxis]})
        b = Estimate(np.arange(2.0) + 1, ("row",), {noise: [[0.1, 0.2]], shared: [[0.3, 0.3]]})
        total = tuple(axis for axis in kept if axis != "point")
        return linear(kernel, {"a": a, "b": b}, ("row", "column", "point"), {"y": kept, "total": total})

    plain = run(("row", "column", "point"), ("row", "column", "point"))
    turned = run(("point", "row", "column"), ("column", "point", "row"))
    np.testing.assert_allclose(turned["y"].u, plain["y"].u.transpose(1, 2, 0))
    np.testing.assert_allclose(turned["total"].u, plain["total"].u.T)
    np.testing.assert_allclose(sample(turned["total"], 20), sample(plain["total"], 20).transpose(0, 2, 1))


def test_one_output_keeps_an_axis_and_another_reduces_it():
    noise = Cause("noise", each="row")
    x = Estimate(np.arange(4.0), ("row",), {noise: np.ones((1, 4)), Cause("zero"): np.full((1, 4), 0.5)})
    out = linear(
        lambda x: {"double": 2 * x, "mean": x.mean(axis=-1, keepdims=True)},
        {"x": x},
        ("row",),
        {"double": ("row",), "mean": ()},
    )
    np.testing.assert_allclose(out["double"].u, math.sqrt(4 + 1))
    assert float(out["mean"].u) == pytest.approx(math.sqrt(1 / 4 + 0.25))
    np.testing.assert_allclose(out["double"].cov(out["mean"]), 2 * 1 / 4 + 1 * 0.5)
    # and on: the unrolled result goes well with the rows it came from
    on = linear(lambda x, y: {"d": y - 2 * x}, {"x": x, "y": out["double"]}, ("row",), {"d": ("row",)})["d"]
    np.testing.assert_allclose(on.u, 0.0, atol=1e-12)
    np.testing.assert_allclose(sample(on, 100), 0.0, atol=1e-12)


def test_positions_that_depend_on_each_other_are_found_out():
    noise = Cause("noise", each="point")
    x = Estimate([1.0, 2.0, 3.0, 4.0], ("point",), {noise: np.full((1, 4), 0.1)})
    profile = lambda x: {"ratio": x - x.mean(axis=-1, keepdims=True)}  # noqa: E731
    out = linear(profile, {"x": x}, ("point",), {"ratio": ("point",)})["ratio"]
    np.testing.assert_allclose(out.u, 0.1 * math.sqrt(3 / 4))
    taken = out.take("point", [3])
    np.testing.assert_allclose(sample(taken, 50), sample(out, 50)[:, [3]])
    running = linear(lambda x: {"y": np.cumsum(x, axis=-1)}, {"x": x}, ("point",), {"y": ("point",)})["y"]
    np.testing.assert_allclose(running.u, 0.1 * np.sqrt([1, 2, 3, 4]))
    relative = linear(lambda x: {"y": x - x[..., :1]}, {"x": x}, ("point",), {"y": ("point",)})["y"]
    np.testing.assert_allclose(relative.u, 0.1 * np.sqrt([0, 2, 2, 2]), atol=1e-12)
    reduced = linear(lambda x: {"y": x.mean(axis=-1, keepdims=True)}, {"x": x}, ("point",), {"y": ("point",)})["y"]
    np.testing.assert_allclose(reduced.u, 0.1 / 2)
    assert reduced.value.shape == (4,)


def test_rows_that_depend_on_each_other_in_one_output_of_two_are_taken_whole():
    x = Estimate([1.0, 2.0, 3.0, 4.0], ("row",), {Cause("noise", each="row"): np.full((1, 4), 0.1)})

    def profile(x):
        mean = x.mean(axis=-1, keepdims=True)
        return {"ratio": x / mean, "mean": mean}

    out = linear(profile, {"x": x}, ("row",), {"ratio": ("row",), "mean": ()})["ratio"]
    np.testing.assert_allclose(sample(out.take("row", [3]), 50), sample(out, 50)[:, [3]])


def test_positions_that_depend_on_each_other_are_not_cut_into_chunks(monkeypatch):
    n = 60
    x = Estimate(np.arange(float(n)), ("row",), {Cause("zero"): np.full((1, n), 0.1)})
    monkeypatch.setattr(propagate, "CHUNK", 16)
    out = linear(lambda x: {"y": x / x.mean(axis=-1, keepdims=True)}, {"x": x}, ("row",), {"y": ("row",)})["y"]
    np.testing.assert_allclose(out.value, np.arange(n) / ((n - 1) / 2))


def test_a_noisy_axis_of_length_one_is_one_deviate_for_all_rows():
    single = Estimate([5.0], ("row",), {Cause("single", each="row"): [[1.0]]})
    rows_ = Estimate(np.zeros(4), ("row",), {Cause("noise", each="row"): np.ones((1, 4))})
    out = linear(lambda a, b: {"y": a + b}, {"a": single, "b": rows_}, ("row",), {"y": ("row",)})["y"]
    average = linear(lambda y: {"m": y.mean(axis=-1, keepdims=True)}, {"y": out}, ("row",), {"m": ()})["m"]
    assert float(average.variance) == pytest.approx(1.0 + 1 / 4)


# loud failures


def test_a_kernel_that_forgets_an_axis_is_told_so():
    x = Estimate(np.ones(3), ("point",), {Cause("a"): np.ones((1, 3))})
    for careless, said in [
        (lambda x: {"y": 2 * x}, "still has 3 positions along 'point'"),
        (lambda x: {"y": x.sum(axis=-1)}, "expected one axis in front"),
        (lambda x: {"y": np.sum(x)}, "expected one axis in front"),
        (lambda x: {"z": x}, r"returned \['z'\], not 'y'"),
    ]:
        with pytest.raises(ValueError, match=said):
            linear(careless, {"x": x}, ("point",), {"y": ()})


def test_inputs_that_do_not_fit_together_are_refused():
    a = Estimate(np.ones(3), ("row",))
    with pytest.raises(ValueError, match="4 positions along 'row', another has 3"):
        linear(lambda a, b: {"y": a + b}, {"a": a, "b": Estimate(np.ones(4), ("row",))}, ("row",), {"y": ("row",)})
    with pytest.raises(ValueError, match="not among"):
        linear(lambda a: {"y": a}, {"a": a}, (), {"y": ()})


def test_two_causes_of_one_id_are_a_conflict():
    inputs = {"a": normal(1.0, 0.1, "manometer"), "b": normal(1.0, 0.1, "manometer", dof=5)}
    with pytest.raises(CauseConflict, match="manometer"):
        scalar(lambda a, b: {"y": a + b}, inputs, "y")


def test_options_and_diagnostics_pass_through():
    def kernel(x, power):
        return {"y": x**power, "twice": 2 * x, "name": "sharp"}

    out = scalar(kernel, {"x": normal(3.0, 0.1, "x")}, "y", power=2)["y"]
    assert float(out.value) == 9.0
    assert float(out.node.diagnostics["twice"]) == 6.0
    assert out.node.diagnostics["name"] == "sharp"
    plain = lambda x, power: {"y": x**power}  # noqa: E731
    assert float(nominal(plain, {"x": Estimate(3.0)}, power=3)["y"]) == 27.0


def test_rows_without_a_value_do_not_poison_the_others():
    inputs = batch_inputs(6)
    drop = inputs["drop"]
    holed = drop.value.copy()
    holed[2] = np.nan
    out = linear(nozzle, inputs | {"drop": Estimate(holed, ("row",), drop.parts)}, ("row",), {"flow": ("row",)})["flow"]
    good = linear(nozzle, inputs, ("row",), {"flow": ("row",)})["flow"]
    others = np.arange(6) != 2
    np.testing.assert_allclose(out.u[others], good.u[others])
    assert np.isnan(out.value[2])
    assert np.isnan(out.u[2])


def test_a_cause_without_effect_is_no_line_of_the_budget():
    out = scalar(lambda a, b: {"y": a + 0 * b}, {"a": normal(1.0, 0.1, "a"), "b": normal(1.0, 0.1, "b")}, "y")["y"]
    assert [line.cause.id for line in out.budget()] == ["a"]


def test_estimates_without_axes_stand_side_by_side_along_a_new_one():
    both = side_by_side([normal(1.0, 0.1, "a"), normal(2.0, 0.2, "b"), Estimate(3.0)], "kind")
    assert both.axes == ("kind",)
    assert both.value.tolist() == [1.0, 2.0, 3.0]
    assert both.u == pytest.approx([0.1, 0.2, 0.0])


def test_a_search_for_values_evaluates_them_alone_and_leaves_the_rest_as_it_was():
    stacks = []

    def kernel(x):
        stacks.append(len(x))
        return {"y": x**2}

    inputs = {"x": normal(3.0, 0.1, "x")}
    with suppress(ZeroDivisionError), values_alone():
        out = scalar(kernel, inputs, "y")["y"]
        raise ZeroDivisionError
    assert (float(out.value), out.parts, stacks) == (9.0, {}, [1])
    assert float(scalar(kernel, inputs, "y")["y"].u) == pytest.approx(0.6)
