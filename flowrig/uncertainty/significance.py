"""How likely as much is by chance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flowrig.uncertainty.estimate import Array

SAME = 0.1  # of a column, that others leave of it: less says nothing of its own
ROUNDING = 1e-6  # standard deviations: points that lie so close to a curve lie on it


@dataclass(frozen=True)
class Explained:
    """What further columns explain of residuals.

    Attributes
    ----------
    sizes, errors : array, shape (q,)
        Coefficient of each further column and its standard error by the scatter that is left.
    ratio : float
        Mean square explained over mean square left; infinite where nothing is left.
    dof, rest : int
        Degrees of freedom of the two.
    p : float
        Probability that chance explains as much.
    """

    sizes: Array
    errors: Array
    ratio: float
    dof: int
    rest: int
    p: float


def explained(residuals: Array, base: Array, further: Array) -> Explained | None:
    """Whether further columns explain more of residuals than chance would.

    Parameters
    ----------
    residuals : array, shape (n,)
        In standard deviations.
    base : array, shape (n, p)
        Columns of the model that the residuals come from, over the same standard deviations.
    further : array, shape (n, q)

    Returns
    -------
    Explained or None
        None where the columns say nothing beside those of the model, nothing is left to judge them by, or the
        residuals are but rounding.

    Source
    ------
    F test of nested linear models; any textbook of regression.
    """
    frame, sizes, _ = np.linalg.svd(base / _length(base), full_matrices=False)
    frame = frame[:, sizes > 1e-9]
    left, length = residuals - frame @ (frame.T @ residuals), _length(further)
    columns = further / length
    u, s, turn = np.linalg.svd(columns - frame @ (frame.T @ columns), full_matrices=False)
    u, s, turn = u[:, s > SAME], s[s > SAME], turn[s > SAME]
    dof, rest = len(s), len(residuals) - frame.shape[1] - len(s)
    if dof < 1 or rest < 1 or np.max(np.abs(left)) < ROUNDING:
        return None
    part = u.T @ left
    mean_square = max(float(left @ left - part @ part), 0.0) / rest
    ratio = float(part @ part) / dof / mean_square if mean_square else math.inf
    back = turn.T / s / length[:, np.newaxis]
    errors = math.sqrt(mean_square) * np.sqrt(np.sum(back**2, axis=1))
    return Explained(back @ part, errors, ratio, dof, rest, f_tail(ratio, dof, rest))


def against_the_others(residuals: Array, base: Array) -> tuple[Array, Array]:
    """How far each point lies off the curve of the others, which it cannot draw towards itself.

    Parameters
    ----------
    residuals : array, shape (n,)
        In standard deviations.
    base : array, shape (n, p)
        Columns of their model, over the same standard deviations.

    Returns
    -------
    off : array, shape (n,)
        Residual from the curve fitted without the point, in standard deviations.
    times : array, shape (n,)
        The same in robust standard deviations of such a residual: 1.4826 times the median of the others' own.

    Source
    ------
    Deleted residuals by the hat matrix; any textbook of regression.
    """
    n, p = base.shape
    frame, _ = np.linalg.qr(base / _length(base))
    hat = frame @ frame.T
    free = 1.0 - np.diagonal(hat)
    off = residuals / np.where(free > ROUNDING, free, np.nan)
    others = np.abs(residuals + hat * off[:, np.newaxis])[~np.eye(n, dtype=bool)].reshape(n, n - 1)
    robust = 1.4826 * np.median(others, axis=1) * math.sqrt((n - 1) / (n - 1 - p))
    with np.errstate(divide="ignore", invalid="ignore"):
        return off, off * np.sqrt(free) / robust


def f_tail(ratio: float, dof: float, other: float) -> float:
    """Probability that a ratio of two variances with these degrees of freedom exceeds `ratio`."""
    from scipy.special import fdtrc

    return float(fdtrc(dof, other, ratio))


def _length(columns: Array) -> Array:
    size = np.sqrt(np.sum(columns**2, axis=0))
    return np.asarray(np.where(size > 0, size, 1.0))
