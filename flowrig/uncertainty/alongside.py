"""Several estimates as one, along a new axis; each keeps its causes and the way it was made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.propagate import linear


def side_by_side(estimates: Sequence[Estimate], axis: str, order: Sequence[int] | None = None) -> Estimate:
    """Estimates one behind the other along a new axis, in front of which they may share others.

    Parameters
    ----------
    estimates : sequence of Estimate
        None of them with the new axis; the other axes in one order.
    axis : str
    order : sequence of int, optional
        Which estimate stands at each place, by number; by default each once. One that stands at several places is the
        same there, errors and all.

    Raises
    ------
    ValueError
        If there is none, or one has the axis already.
    """
    if not estimates:
        raise ValueError("nothing to put side by side")
    if any(axis in x.axes for x in estimates):
        raise ValueError(f"an estimate has the axis {axis!r} already")
    own = tuple(dict.fromkeys(a for x in estimates for a in x.axes))
    inputs = {f"x{i}": x for i, x in enumerate(estimates)}
    inputs["order"] = Estimate(np.arange(len(estimates)) if order is None else np.asarray(order), (axis,))
    return linear(_joined, inputs, (*own, axis), {"joined": (*own, axis)})["joined"]


def _joined(*, order: Array, **pieces: Array) -> dict[str, Array]:
    laid = np.broadcast_arrays(*(pieces[f"x{i}"][..., 0] for i in range(len(pieces))))
    return {"joined": np.stack(laid, axis=-1)[..., order[(0,) * (order.ndim - 1)].astype(int)]}


def one_of(x: Estimate, axis: str, position: int) -> Estimate:
    """One position along an axis, which is then gone: `side_by_side` undone.

    Raises
    ------
    ValueError
        If the estimate has no such axis.
    """
    at = x.axes.index(axis) - len(x.axes)
    kept = tuple(a for a in x.axes if a != axis)
    return linear(_one, {"x": x}, x.axes, {"x": kept}, at=at, position=position)["x"]


def _one(*, x: Array, at: int, position: int) -> dict[str, Array]:
    return {"x": np.take(x, [position], axis=at)}


def averaged(x: Estimate, axis: str, groups: Sequence[int]) -> Estimate:
    """Means of the positions of each group along an axis, which then has one position a group.

    Parameters
    ----------
    x : Estimate
        With that axis alone.
    axis : str
    groups : sequence of int
        Of each position its group, from 0 on.

    Raises
    ------
    ValueError
        If the estimate has other axes, or a group has no position.
    """
    if x.axes != (axis,):
        raise ValueError(f"axes are {x.axes}; {axis!r} alone is expected")
    member = np.asarray(groups)[np.newaxis, :] == np.arange(max(groups) + 1)[:, np.newaxis]
    if not np.all(member.any(axis=1)):
        raise ValueError("a group without a position")
    weights = member / member.sum(axis=1, keepdims=True)
    return Estimate(weights @ x.value, (axis,), {cause: part @ weights.T for cause, part in x.over(axis).parts.items()})
