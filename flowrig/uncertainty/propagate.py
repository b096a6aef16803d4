"""One kernel, evaluated nominally, along every direction at once, and on draws.

A kernel is a function of named SI arrays and options that returns named arrays. It never sees a cause. The engine
hands every input over with the declared axes at its end (length 1 where an input has none) and any number of axes in
front; the kernel reduces an axis with ``keepdims=True`` and counts axes from the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from flowrig.uncertainty.cause import Cause, unite
from flowrig.uncertainty.estimate import Array, Axes, Estimate, Places, align, matched
from flowrig.uncertainty.search import VALUES_ALONE

Kernel = Callable[..., Mapping[str, ArrayLike]]
Deviates = Callable[[Cause, Places], tuple[Array, Axes]]  # cause, places along its own axis -> (m, n, *axes), axes

STEP = 0.1  # of a unit deviate: the slope over the spread that matters, and safe around any solver good to 1e-6
CHUNK = 65_536  # numbers an array in one call of the kernel: more falls out of the processor's cache
COUPLED = 0.01  # of a position's own movement: more, by its neighbours alone, is no solver's tolerance
ALONE: Places = (np.arange(1), 1)


@dataclass(eq=False)
class Node:
    """How a set of outputs was made, so that it can be made again on draws.

    Attributes
    ----------
    kernel : callable
    inputs : dict of str to Estimate
    options : dict
        Passed to the kernel unchanged.
    axes : tuple of str
    outputs : dict of str to tuple of str
        The axes each output keeps.
    diagnostics : dict of str to array
        Whatever else the kernel returned, at the nominal point, with all axes.
    coupled : frozenset of str
        Axes along which the positions of an output that keeps them depend on each other.
    """

    kernel: Kernel
    inputs: dict[str, Estimate]
    options: dict[str, Any]
    axes: Axes
    outputs: dict[str, Axes]
    diagnostics: dict[str, Array] = field(default_factory=dict)
    coupled: frozenset[str] = frozenset()


def nominal(
    kernel: Kernel, inputs: Mapping[str, Estimate], axes: Sequence[str] = (), **options: Any
) -> dict[str, Array]:
    """The kernel at the values of its inputs; every output with all of `axes`."""
    returned = kernel(**{name: align(x.value, x.axes, tuple(axes)) for name, x in inputs.items()}, **options)
    return {name: np.asarray(array, dtype=float) for name, array in returned.items()}


def linear(
    kernel: Kernel,
    inputs: Mapping[str, Estimate],
    axes: Sequence[str] = (),
    outputs: Mapping[str, Sequence[str]] | None = None,
    **options: Any,
) -> dict[str, Estimate]:
    """Outputs of a kernel with their signed contribution from every cause of its inputs.

    Parameters
    ----------
    kernel : callable
        ``kernel(**arrays, **options)`` returns a mapping of names to arrays.
    inputs : mapping of str to Estimate
    axes : sequence of str
        Every axis that any input has, in the order the kernel counts on, batch axes first.
    outputs : mapping of str to sequence of str
        The outputs wanted, with the axes each keeps.
    **options
        Handed to the kernel unchanged, whole: whatever varies along an axis is an input, exact or not.

    Returns
    -------
    dict of str to Estimate

    Raises
    ------
    ValueError
        If the kernel leaves an axis at full length that the output was said not to keep, drops one instead of
        leaving it with length 1, or returns no such output; or if two inputs differ in the length of an axis.
    CauseConflict
        If a cause of one id means two things.

    Notes
    -----
    All directions are shifted by a tenth of their unit deviate to both sides and evaluated in one stacked call (in
    chunks of rows for long batches): contribution = (y₊ − y₋) / (2 · 0.1), JCGM 100:2008 5.1.3
    note 2 (from memory).
    Deviates that are independent along an axis stay one direction while every output keeps that axis and its
    positions do not depend on each other (which is tried, not trusted); else each becomes a direction of its own.
    """
    axes = tuple(axes)
    wanted = {name: tuple(kept) for name, kept in (outputs or {}).items()}
    if VALUES_ALONE.get():
        inputs = {name: Estimate(x.value, x.axes, taken=x.taken) if x.parts else x for name, x in inputs.items()}
    length = _lengths(inputs)
    kept_by_all = [axis for axis in axes if wanted and all(axis in kept for kept in wanted.values())]
    coupled = frozenset(axis for axis in axes if _coupled(kernel, inputs, axes, wanted, axis, length, options))
    unroll = [axis for axis in axes if axis not in kept_by_all or axis in coupled]
    inputs = dict(zip(inputs, matched(list(inputs.values()), axes, unroll), strict=True))
    taken = {cause.each: x.taken[cause.each] for x in inputs.values() for cause in x.parts if cause.each in x.taken}
    causes = unite(x.parts for x in inputs.values())
    moved = {cause: _moving(inputs, cause) for cause in causes}
    directions = [(cause, k) for cause in causes for k in moved[cause]]
    at: dict[Cause, int] = {}  # where the directions of a cause begin in the stack
    for i, (cause, _) in enumerate(directions):
        at.setdefault(cause, 1 + 2 * i)

    stack = 1 + 2 * len(directions)
    batch = axes[0] if axes and axes[0] not in unroll and axes[0] in length else None  # one that no input has is made
    rows = length.get(batch, 1) if batch else 1
    others = math.prod(n for axis, n in length.items() if axis != batch) * stack
    step = max(1, CHUNK // others)
    gathered = {name: _Output(kept, batch, rows, len(directions)) for name, kept in wanted.items()}
    diagnostics: dict[str, list[Array]] = {}
    for start in range(0, rows, step):
        here = {**length, batch: min(step, rows - start)} if batch else length
        part = slice(start, start + step) if rows > step else None
        arrays = {name: _stacked(x, axes, at, moved, stack, batch, part) for name, x in inputs.items()}
        returned = kernel(**arrays, **options)
        for name, kept in wanted.items():
            if name not in returned:
                raise ValueError(f"the kernel returned {sorted(returned)}, not {name!r}")
            y = _squeezed(returned[name], name, axes, kept)
            full = [here.get(axis, n) for axis, n in zip(kept, y.shape[1:], strict=True)]
            gathered[name].take(np.broadcast_to(y, (stack, *full)), part)
        for name in set(returned) - set(wanted):
            found = np.asarray(returned[name])
            if found.ndim == 1 + len(axes):
                found = found[0]
                found = np.broadcast_to(found, (here[batch], *found.shape[1:])) if batch in here else found
            diagnostics.setdefault(name, []).append(found)

    beside = {
        name: np.concatenate(pieces) if len(pieces) > 1 and pieces[0].ndim == len(axes) else pieces[0]
        for name, pieces in diagnostics.items()
    }
    node = Node(kernel, inputs, options, axes, wanted, beside, coupled)
    return {
        name: Estimate(output.value, output.kept, output.parts(directions), node, name, taken)
        for name, output in gathered.items()
    }


class _Output:
    """One output of a kernel as it is gathered chunk by chunk: value and signed contribution of every direction."""

    def __init__(self, kept: Axes, batch: str | None, rows: int, directions: int) -> None:
        self.kept, self.rows, self.directions = kept, rows, directions
        self.at = kept.index(batch) if batch else 0
        self.value: Array = np.empty(0)
        self.slopes: Array = np.empty(0)

    def take(self, y: Array, part: slice | None) -> None:
        """The stack of one chunk: the value, then a pair of shifted values for every direction."""
        if part is None:
            self.value, self.slopes = y[0], self._slopes(y)
            return
        if part.start == 0:
            shape = [*y.shape[1:]]
            shape[self.at] = self.rows
            self.value, self.slopes = np.empty(shape), np.empty((self.directions, *shape))
        index: tuple[Any, ...] = (*[slice(None)] * self.at, part)
        self.value[index] = y[0]
        self.slopes[(slice(None), *index)] = self._slopes(y)

    @staticmethod
    def _slopes(y: Array) -> Array:
        with np.errstate(invalid="ignore"):  # ∞ − ∞ is NaN, and says so itself
            return np.asarray((y[1::2] - y[2::2]) / (2 * STEP))

    def parts(self, directions: list[tuple[Cause, int]]) -> dict[Cause, Array]:
        """Contributions by cause, without those that move nothing."""
        places: dict[Cause, list[int]] = {}
        for i, (cause, _) in enumerate(directions):
            places.setdefault(cause, []).append(i)
        found = {}
        for cause, at in places.items():
            own = self.slopes[at[0] : at[-1] + 1]
            if len(at) < cause.n:  # some of its directions move no input
                own = np.zeros((cause.n, *self.value.shape))
                own[[directions[i][1] for i in at]] = self.slopes[at]
            if own.any():
                found[cause] = own
        return found


def _lengths(inputs: Mapping[str, Estimate]) -> dict[str, int]:
    """Length of every axis; 1 stretches."""
    found: dict[str, int] = {}
    for name, x in inputs.items():
        for axis, n in zip(x.axes, x.value.shape, strict=True):
            if 1 not in (n, found.setdefault(axis, n)) and n != found[axis]:
                raise ValueError(f"input {name!r} has {n} positions along {axis!r}, another has {found[axis]}")
            found[axis] = max(n, found[axis])
    return found


def _moving(inputs: Mapping[str, Estimate], cause: Cause) -> list[int]:
    """Directions of a cause that move any input."""
    parts = [x.parts[cause] for x in inputs.values() if cause in x.parts]
    if cause.n == 1:
        return [0] if any(part.any() for part in parts) else []
    moves = np.zeros(cause.n, dtype=bool)
    for part in parts:
        moves |= part.reshape(cause.n, -1).any(axis=1)
    return [int(k) for k in np.flatnonzero(moves)]


def _coupled(
    kernel: Kernel,
    inputs: Mapping[str, Estimate],
    axes: Axes,
    wanted: Mapping[str, Axes],
    axis: str,
    length: Mapping[str, int],
    options: Mapping[str, Any],
) -> bool:
    """Whether positions along an axis that an output keeps depend on each other, as in a profile over its mean.

    Moves every other position, of at most 64, then the rest, and looks whether those left alone stay where they are.
    """
    n = length.get(axis, 1)
    keeping = {name: kept for name, kept in wanted.items() if axis in kept}
    if n == 1 or not keeping or not any(x.parts for x in inputs.values() if axis in x.axes):
        return False
    some = np.unique(np.linspace(0, n - 1, min(n, 64)).astype(int))
    odd = np.arange(len(some)) % 2 == 1
    movers = np.stack([0 * odd, odd | ~odd, odd, ~odd]).astype(float)
    arrays = {}
    for name, x in inputs.items():
        if axis not in x.axes or x.length(axis) == 1:
            arrays[name] = align(x.value, x.axes, axes)[np.newaxis]
            continue
        at = x.axes.index(axis)
        value, u = (align(np.take(array, some, at), x.axes, axes) for array in (x.value, x.u))
        arrays[name] = value + STEP * u * align(movers, (axis,), axes, 1)
    returned = kernel(**arrays, **options)
    for name, kept in keeping.items():
        if name in returned:
            y = np.moveaxis(_squeezed(returned[name], name, axes, kept), 1 + kept.index(axis), -1)
            still, whole, *halves = np.broadcast_to(y, (4, *y.shape[1:-1], len(some)))
            with np.errstate(invalid="ignore"):
                allowed = np.maximum(COUPLED * np.abs(whole - still), 1e-9 * np.abs(still))
                followed = [np.abs(half - still) > allowed for half in halves]
            if np.any(followed[0] & ~odd) or np.any(followed[1] & odd):
                return True
    return False


def _stacked(
    x: Estimate,
    axes: Axes,
    at: Mapping[Cause, int],
    moved: Mapping[Cause, Sequence[int]],
    stack: int,
    batch: str | None,
    rows: slice | None,
) -> Array:
    """One input at its value and shifted along every direction, with all axes behind the stack."""

    def part_of(array: Array) -> Array:
        if rows is None or batch is None or batch not in x.axes or x.length(batch) == 1:
            return array
        index: tuple[Any, ...] = (..., rows, *[slice(None)] * (len(x.axes) - 1 - x.axes.index(batch)))
        return np.asarray(array[index])

    value = align(part_of(x.value), x.axes, axes)
    if not x.parts:
        return value[np.newaxis]
    stacked = np.empty((stack, *value.shape))
    stacked[:] = value
    for cause, part in x.parts.items():
        shifts = STEP * align(part_of(part), x.axes, axes, 1)
        for i, k in enumerate(moved[cause]):
            stacked[at[cause] + 2 * i] += shifts[k]
            stacked[at[cause] + 2 * i + 1] -= shifts[k]
    return stacked


def _squeezed(y: ArrayLike, name: str, axes: Axes, kept: Axes) -> Array:
    """Stack or draws, then the axes an output keeps; the others must have been reduced, to length 1."""
    y = np.asarray(y)
    if y.ndim != 1 + len(axes):
        raise ValueError(f"output {name!r} has shape {y.shape}: expected one axis in front of {axes}, reduced ones too")
    for i, axis in enumerate(axes):
        if axis not in kept and y.shape[1 + i] != 1:
            raise ValueError(f"output {name!r} still has {y.shape[1 + i]} positions along {axis!r}: reduce them")
    y = y[(..., *(slice(None) if axis in kept else 0 for axis in axes))]
    order = [axis for axis in axes if axis in kept]
    return np.transpose(y, [0, *(1 + order.index(axis) for axis in kept)])


def evaluate(estimates: Sequence[Estimate], deviates: Deviates) -> list[tuple[Array, Axes]]:
    """The same computation with every cause at given deviates; shared intermediate results are computed once.

    Returns
    -------
    list of (array, axes)
        One a estimate: draws in front, then its axes (any batch axis the deviates brought included).
    """
    memo: dict[int, dict[str, tuple[Array, Axes]]] = {}

    def of(x: Estimate) -> tuple[Array, Axes]:
        if x.node is None:
            return _moved(x, deviates)
        node = x.node
        if id(node) not in memo:
            drawn = {name: of(inner) for name, inner in node.inputs.items()}
            extra = tuple(dict.fromkeys(a for _, own in drawn.values() for a in own if a not in node.axes))
            axes = extra + node.axes
            returned = node.kernel(
                **{name: align(array, own, axes, 1) for name, (array, own) in drawn.items()}, **node.options
            )
            memo[id(node)] = {
                name: (_squeezed(returned[name], name, axes, extra + kept), extra + kept)
                for name, kept in node.outputs.items()
            }
        return memo[id(node)][x.output]

    return [of(x) for x in estimates]


def _moved(x: Estimate, deviates: Deviates) -> tuple[Array, Axes]:
    """An input at given deviates of its causes."""
    moved = [deviates(cause, x.places(cause.each) if cause.each else ALONE) for cause in x.parts]
    extra = tuple(dict.fromkeys(a for _, own in moved for a in own if a not in x.axes))
    axes = extra + x.axes
    total = align(x.value, x.axes, axes)[np.newaxis]
    for (cause, part), (z, own) in zip(x.parts.items(), moved, strict=True):
        if not own:
            moves = z.reshape(-1, *[1] * len(x.axes)) * part if cause.n == 1 else np.tensordot(z, part, axes=1)
            total = _added(total, align(moves, x.axes, axes, 1))
            continue
        for k in range(cause.n):
            total = _added(total, align(z[:, k], own, axes, 1) * align(part[k], x.axes, axes)[np.newaxis])
    return total, axes


def _added(total: Array, moves: Array) -> Array:
    """The sum, in the place of the first where it is ours to write in: the value itself, at the start, is not."""
    if total.shape == moves.shape and total.flags.writeable:
        return np.add(total, moves, out=total)
    return np.asarray(total + moves)


def take(x: Estimate, axis: str, positions: Any, memo: dict[int, Node] | None = None) -> Estimate:
    """See `Estimate.take`; nodes shared by several results stay shared through `memo`."""
    if axis not in x.axes or x.length(axis) == 1:
        return x
    memo = {} if memo is None else memo
    at = x.axes.index(axis)
    places, full = x.places(axis)
    node, output = x.node, x.output
    if node is not None and (axis in node.coupled or axis not in _lengths(node.inputs)):
        # positions cannot be computed one without the other: compute all, then take
        node = Node(partial(_picked, lead=at - len(x.axes), positions=positions), {"x": x}, {}, x.axes, {"x": x.axes})
        output = "x"
    elif node is not None:
        if id(node) not in memo:
            inputs = {name: take(inner, axis, positions, memo) for name, inner in node.inputs.items()}
            memo[id(node)] = Node(node.kernel, inputs, node.options, node.axes, node.outputs)
        node = memo[id(node)]
    parts = {cause: np.take(part, positions, axis=1 + at) for cause, part in x.parts.items()}
    taken = {**x.taken, axis: (places[positions], full)}
    return Estimate(np.take(x.value, positions, axis=at), x.axes, parts, node, output, taken)


def _picked(x: Array, lead: int, positions: Any) -> dict[str, Array]:
    return {"x": np.take(x, positions, axis=lead)}


def alone(x: Estimate, axis: str) -> bool:
    """Whether every position of an estimate along an axis was computed without the others, all the way."""
    if x.node is None:
        return True
    return axis not in x.node.coupled and all(
        alone(inner, axis) if axis in inner.axes else all(axis not in leaf.axes for leaf in walk([inner]))
        for inner in x.node.inputs.values()
    )


def walk(estimates: Sequence[Estimate]) -> Iterator[Estimate]:
    """Every input, at any depth, that the estimates were computed from, each once."""
    seen: set[int] = set()
    waiting = list(estimates)
    while waiting:
        x = waiting.pop()
        if id(x) in seen:
            continue
        seen.add(id(x))
        if x.node is None:
            yield x
        else:
            waiting.extend(x.node.inputs.values())
