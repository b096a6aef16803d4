"""Several results of one quantity: held against each other, and combined, shared causes counted once."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from flowrig.uncertainty.cause import Cause, unite
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.propagate import linear

Verdict = Literal["agree", "disagree", "cannot tell"]

PASSES = 200
SETTLED = 1e-12  # of the combined value, between two passes
SETTLED_AT = 1e-7  # the same where results are computed anew in each
ROUNDING = 1e-12  # of the larger of two values
NOTHING = 1e-9  # a weight no larger than this is rounding


@dataclass(frozen=True)
class Comparison:
    """Two results of one quantity held against each other.

    Attributes
    ----------
    difference : Estimate
        First minus second; causes that both share cancel as far as they move both alike.
    u_unshared : float
        Standard uncertainty of the difference if nothing cancelled.
    e_n : float
        Difference over its expanded uncertainty, with shared causes cancelled. Beyond 1 either way they differ.
    e_n_unshared : float
        The same if nothing cancelled.
    verdict : {'agree', 'disagree', 'cannot tell'}
        'disagree' only if both ratios say so, 'agree' only if both do. A maker's limit shared by two readings is not
        known to move both alike, so that neither ratio alone can be trusted.
    """

    difference: Estimate
    u_unshared: float
    e_n: float
    e_n_unshared: float
    verdict: Verdict


@dataclass(frozen=True)
class Combined:
    """One value for a quantity that several results state.

    Attributes
    ----------
    estimate : Estimate
        Weighted sum of the results, the weights fixed, with the signed parts of all their causes. Not widened where
        the chi-square is large: results that disagree are not to be combined.
    weights : array, one a result
        Their sum is 1.
    chi_square : float
        Of the results about the combined value; infinite where results without an error in a direction differ in it.
    dof : int
        Degrees of freedom of the chi-square: results less one.
    adds_nothing : tuple of int
        Results with a weight of 0 or below. A negative weight corrects another result through a cause that both share:
        it rests on how well the sharing is known, and that result says nothing by itself.
    """

    estimate: Estimate
    weights: Array
    chi_square: float
    dof: int
    adds_nothing: tuple[int, ...]


def compare(
    first: Estimate, second: Estimate, coverage: float = 0.95, apart: Callable[[Cause], bool] = lambda cause: True
) -> Comparison:
    """Whether two results of one quantity agree.

    Parameters
    ----------
    first, second : Estimate
        Without axes.
    coverage : float
        Probability of the expanded uncertainty, 0 to 1.
    apart : callable
        Whether a shared cause may move the two differently, and is not cancelled in `e_n_unshared`; by default any.

    Returns
    -------
    Comparison
        The verdict is 'cannot tell' where a value or an uncertainty is missing.

    Raises
    ------
    ValueError
        If a result has axes, or `coverage` is not between 0 and 1.
    CauseConflict
        If a cause of one id means two things.

    Notes
    -----
    E_n = (a - b)/(k u), k the Student factor at the effective degrees of freedom of the difference; u^2 = u_a^2 + u_b^2
    - 2 cov(a, b), and without the covariance. Two exact results agree if they are equal.

    Source
    ------
    ISO/IEC 17043 and ISO 13528, E_n (from memory), there without covariance; JCGM 100:2008 eq. 13 (from memory).
    """
    _scalars((first, second))
    difference = linear(_difference, {"first": first, "second": second}, outputs={"difference": ()})["difference"]
    off = float(difference.value)
    if abs(off) <= ROUNDING * max(abs(float(first.value)), abs(float(second.value))):
        off = 0.0  # where all is shared, what is left of value and uncertainty is rounding, and so is their ratio
    alike = sum(
        float(np.sum(part * second.parts[cause]))
        for cause, part in first.parts.items()
        if cause in second.parts and not apart(cause)
    )
    u, u_unshared = float(difference.u), math.sqrt(float(first.variance) + float(second.variance) - 2 * alike)
    # Welch-Satterthwaite for two independent results; one with infinite degrees of freedom adds nothing below the line.
    spread = sum(float(x.u) ** 4 / float(x.dof) for x in (first, second))
    dof = u_unshared**4 / spread if spread > 0.0 else math.inf
    e_n = _ratio(off, u * float(coverage_factor(coverage, difference.dof)))
    e_n_unshared = _ratio(off, u_unshared * float(coverage_factor(coverage, dof)))
    verdict: Verdict = "cannot tell"
    if abs(e_n) > 1.0 and abs(e_n_unshared) > 1.0:
        verdict = "disagree"
    elif abs(e_n) <= 1.0 and abs(e_n_unshared) <= 1.0:
        verdict = "agree"
    return Comparison(difference, u_unshared, e_n, e_n_unshared, verdict)


def combine(
    results: Sequence[Estimate],
    absolute: Collection[str] = (),
    at: Callable[[float], Sequence[Estimate]] | None = None,
) -> Combined:
    """Results of one quantity combined by generalised least squares.

    Parameters
    ----------
    results : sequence of Estimate
        Two or more, without axes, of one quantity in one unit. Whether they agree is for `compare` to say first.
    absolute : collection of str
        Ids of the causes whose effect does not grow with the value, such as a zero offset. All others are taken as
        relative.
    at : callable, optional
        From a value to the results as they would be, with their parts, were the quantity that large. It takes the
        place of `absolute` where how each part grows can be computed: an offset on a root falls as the value rises.

    Returns
    -------
    Combined

    Raises
    ------
    ValueError
        If there are fewer than two results, one has axes or no value, an id in `absolute` is no cause of theirs, both
        `absolute` and `at` are given, no passes settle, or results are not all of one sign although a cause is
        relative: at 0 it would have no effect.
    CauseConflict
        If a cause of one id means two things.

    Notes
    -----
    Weights w minimise w' V w with sum 1. V is built from the causes with every relative part scaled from its own
    result to the combined value, or computed `at` it, and so again until that value stands still. Built from each
    reading, a shared gain would give the lower reading the smaller error and drag the answer below both: readings of
    1.5 and 1.0 with 10 % of their own and 20 % shared give 0.88; built from the combined value, 1.25. Where V is
    singular, the weights with the least sum of squares among the best are taken. The parts of the estimate are those of
    the results themselves, so that Monte Carlo follows the way each was computed.

    Source
    ------
    Aitken's generalised least squares; the puzzle: R. W. Peelle, 1987 (from memory).
    """
    _scalars(results)
    if len(results) < 2:
        raise ValueError(f"{len(results)} result to combine: two or more are needed")
    values = np.array([float(x.value) for x in results])
    fixed, scaled = _parts(results, frozenset(absolute))
    if at is not None and absolute:
        raise ValueError("either `absolute` or `at`, not both")
    if not (np.all(np.isfinite(values)) and np.all(np.isfinite(fixed)) and np.all(np.isfinite(scaled))):
        raise ValueError("a result has no value or no uncertainty: it cannot be combined")
    if at is None and np.any(scaled) and not (np.all(values > 0.0) or np.all(values < 0.0)):
        raise ValueError("results of both signs, or of 0, have no relative error in common: name their causes absolute")
    relative = scaled / np.where(values == 0.0, 1.0, values)[:, np.newaxis]

    middle = float(np.mean(values))
    settled = (SETTLED if at is None else SETTLED_AT) * float(np.max(np.abs(values)))
    for _ in range(PASSES):
        parts = np.hstack([fixed, middle * relative]) if at is None else _parts(at(middle), frozenset())[1]
        weights = _weights(parts)
        before, middle = middle, float(weights @ values)
        if abs(middle - before) <= settled:
            break
    else:
        raise ValueError(
            f"the combined value does not stand still after {PASSES} passes: the results are too far apart"
        )

    names = {f"result_{i}": x for i, x in enumerate(results)}
    estimate = linear(_weighted, names, outputs={"combined": ()}, weights=dict(zip(names, weights, strict=True)))
    adds_nothing = tuple(int(i) for i in np.flatnonzero(weights <= NOTHING))
    return Combined(estimate["combined"], weights, _chi_square(values - middle, parts), len(results) - 1, adds_nothing)


def _scalars(results: Sequence[Estimate]) -> None:
    for x in results:
        if x.axes:
            raise ValueError(f"a result has axes {x.axes}: compare and combine take one number each")


def _ratio(difference: float, expanded: float) -> float:
    if expanded == 0.0:
        return difference * math.inf if difference else 0.0  # a missing value stays missing
    return difference / expanded


def _difference(first: Array, second: Array) -> dict[str, Array]:
    return {"difference": first - second}


def _weighted(*, weights: dict[str, float], **results: Array) -> dict[str, Array]:
    return {"combined": np.asarray(sum(weight * results[name] for name, weight in weights.items()))}


def _parts(results: Sequence[Estimate], absolute: frozenset[str]) -> tuple[Array, Array]:
    """Parts of the results, one a row, directions of all causes beside each other: the absolute and the relative."""
    causes = list(unite(x.parts for x in results))
    unknown = sorted(absolute - {cause.id for cause in causes})
    if unknown:
        raise ValueError(f"absolute causes {unknown} are no causes of these results")

    def of(those: bool) -> Array:
        columns = [
            np.stack([np.asarray(x.parts.get(cause, np.zeros(cause.n))) for x in results])
            for cause in causes
            if (cause.id in absolute) is those
        ]
        return np.hstack([np.zeros((len(results), 0)), *columns])

    return of(True), of(False)


def _weights(parts: Array) -> Array:
    """Weights of sum 1 with the least variance; by the conditions for a minimum, which stand where V is singular."""
    n = len(parts)
    covariance = parts @ parts.T
    largest = float(np.max(np.diag(covariance)))
    conditions = np.ones((n + 1, n + 1))
    conditions[:n, :n] = covariance / largest if largest > 0.0 else 0.0
    conditions[n, n] = 0.0
    solution = np.linalg.lstsq(conditions, np.append(np.zeros(n), 1.0), rcond=None)[0]
    weights: Array = np.asarray(solution[:n], dtype=float)
    return weights / np.sum(weights)


def _chi_square(residuals: Array, parts: Array) -> float:
    """Least sum of squared deviates that explains the residuals."""
    deviates = np.linalg.lstsq(parts, residuals, rcond=None)[0]
    left = np.max(np.abs(parts @ deviates - residuals))
    return float(deviates @ deviates) if left <= 1e-9 * max(float(np.max(np.abs(residuals))), 1e-300) else math.inf
