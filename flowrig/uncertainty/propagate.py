"""One kernel, evaluated nominally, along every direction at once, and on draws.

A kernel is a function of named SI arrays and options that returns named arrays. It never sees a cause. The engine
hands every input over with the declared axes at its end (length 1 where an input has none) and any number of axes in
front; the kernel reduces an axis with ``keepdims=True`` and counts axes from the end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig.uncertainty.cause import Cause, unite
from flowrig.uncertainty.estimate import Array, Axes, Estimate, align

Kernel = Callable[..., Mapping[str, Array]]
Deviates = Callable[[Cause, int], tuple[Array, Axes]]  # cause, length of its own axis -> (m, n, *axes), axes

STEP = 0.1  # of a unit deviate: the slope over the spread that matters, and safe around any solver good to 1e-6
CHUNK_ROWS = 16_384


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
    """

    kernel: Kernel
    inputs: dict[str, Estimate]
    options: dict[str, Any]
    axes: Axes
    outputs: dict[str, Axes]
    diagnostics: dict[str, Array] = field(default_factory=dict)


def nominal(
    kernel: Kernel, inputs: Mapping[str, Estimate], axes: Sequence[str] = (), **options: Any
) -> dict[str, Array]:
    """The kernel at the values of its inputs; every output with all of `axes`."""
    return dict(kernel(**{name: align(x.value, x.axes, tuple(axes)) for name, x in inputs.items()}, **options))


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
        Handed to the kernel unchanged.

    Returns
    -------
    dict of str to Estimate

    Raises
    ------
    ValueError
        If the kernel leaves an axis at full length that the output was said not to keep, or returns no such output.
    CauseConflict
        If a cause of one id means two things.

    Notes
    -----
    All directions are shifted by a tenth of their unit deviate to both sides and evaluated in one stacked call (in
    chunks of rows for long batches): contribution = (y₊ − y₋) / (2 · 0.1), JCGM 100:2008 5.1.3 note 2.
    Deviates that are independent along an axis stay one direction while every output keeps that axis; else each
    becomes a direction of its own.
    """
    axes = tuple(axes)
    wanted = {name: tuple(kept) for name, kept in (outputs or {}).items()}
    inputs = dict(inputs)
    shared = set(axes).intersection(*wanted.values()) if wanted else set()
    for axis in axes:
        if axis not in shared:
            inputs = {name: x.over(axis) if axis in x.axes else x for name, x in inputs.items()}
    causes = unite(x.parts for x in inputs.values())
    directions = [(cause, k) for cause in causes for k in range(cause.n)]
    stack = 1 + 2 * len(directions)

    length = {axis: x.length(axis) for x in inputs.values() for axis in x.axes if x.length(axis) != 1}
    batch = axes[0] if axes and axes[0] in shared else None
    rows = length.get(batch, 1) if batch else 1
    others = int(np.prod([n for axis, n in length.items() if axis != batch], dtype=int)) * stack
    step = max(1, CHUNK_ROWS * 16 // others)

    values: dict[str, Array] = {}
    parts: dict[str, Array] = {}
    diagnostics: dict[str, list[Array]] = {}
    for start in range(0, rows, step):
        arrays = {}
        for name, x in inputs.items():
            arrays[name] = _stacked(x, axes, directions, batch, slice(start, start + step) if rows > step else None)
        returned = kernel(**arrays, **options)
        for name, kept in wanted.items():
            if name not in returned:
                raise ValueError(f"the kernel returned {sorted(returned)}, not {name!r}")
            y = _squeezed(np.asarray(returned[name]), name, axes, kept)
            y = np.broadcast_to(y, (stack, *y.shape[1:]))
            slopes = (y[1::2] - y[2::2]) / (2 * STEP)
            if rows <= step:
                values[name], parts[name] = np.array(y[0]), slopes
            else:
                if name not in values:
                    values[name] = np.empty((rows, *y.shape[2:]))
                    parts[name] = np.empty((len(directions), rows, *y.shape[2:]))
                values[name][start : start + step] = y[0]
                parts[name][:, start : start + step] = slopes
        for name, array in returned.items():
            if name not in wanted:
                diagnostics.setdefault(name, []).append(np.asarray(array)[:1])

    gathered = {
        name: pieces[0][0] if len(pieces) == 1 else np.concatenate([piece[0] for piece in pieces])
        for name, pieces in diagnostics.items()
    }
    node = Node(kernel, dict(inputs), options, axes, wanted, gathered)
    results = {}
    for name, kept in wanted.items():
        own: dict[Cause, Array] = {}
        first = 0
        for cause in causes:
            block = parts[name][first : first + cause.n]
            first += cause.n
            if np.any(block):
                own[cause] = block
        results[name] = Estimate(values[name], kept, own, node, name)
    return results


def _stacked(
    x: Estimate, axes: Axes, directions: list[tuple[Cause, int]], batch: str | None, rows: slice | None
) -> Array:
    """One input at its value and shifted along every direction, with all axes behind the stack."""

    def part_of(array: Array) -> Array:
        if rows is None or batch is None or batch not in x.axes:
            return array
        index: tuple[Any, ...] = (..., rows, *[slice(None)] * (len(x.axes) - 1 - x.axes.index(batch)))
        return np.asarray(array[index])

    value = align(part_of(x.value), x.axes, axes)
    if not x.parts:
        return value[np.newaxis]
    stacked = np.empty((1 + 2 * len(directions), *value.shape))
    stacked[:] = value
    for i, (cause, k) in enumerate(directions):
        if cause in x.parts:
            shift = STEP * align(part_of(x.parts[cause][k]), x.axes, axes)
            stacked[1 + 2 * i] += shift
            stacked[2 + 2 * i] -= shift
    return stacked


def _squeezed(y: Array, name: str, axes: Axes, kept: Axes) -> Array:
    """Drop the axes an output does not keep; they must have been reduced."""
    lead = y.ndim - len(axes)
    for i, axis in enumerate(axes):
        if axis not in kept and y.shape[lead + i] != 1:
            raise ValueError(f"output {name!r} still has {y.shape[lead + i]} positions along {axis!r}: reduce them")
    y = y[(..., *(slice(None) if axis in kept else 0 for axis in axes))]
    order = [axis for axis in axes if axis in kept]
    return np.transpose(y, [*range(lead), *(lead + order.index(axis) for axis in kept)])


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
                name: (_squeezed(np.asarray(returned[name]), name, axes, extra + kept), extra + kept)
                for name, kept in node.outputs.items()
            }
        return memo[id(node)][x.output]

    return [of(x) for x in estimates]


def _moved(x: Estimate, deviates: Deviates) -> tuple[Array, Axes]:
    """An input at given deviates of its causes."""
    moved = [deviates(cause, x.length(cause.each) if cause.each else 1) for cause in x.parts]
    extra = tuple(dict.fromkeys(a for _, own in moved for a in own if a not in x.axes))
    axes = extra + x.axes
    total = align(x.value, x.axes, axes)[np.newaxis]
    for (cause, part), (z, own) in zip(x.parts.items(), moved, strict=True):
        for k in range(cause.n):
            total = total + align(z[:, k], own, axes, 1) * align(part[k], x.axes, axes)[np.newaxis]
    return total, axes


def take(x: Estimate, axis: str, positions: Any, memo: dict[int, Node] | None = None) -> Estimate:
    """See `Estimate.take`; nodes shared by several results stay shared through `memo`."""
    memo = {} if memo is None else memo
    node = x.node
    if node is not None:
        if id(node) not in memo:
            inputs = {name: take(inner, axis, positions, memo) for name, inner in node.inputs.items()}
            memo[id(node)] = Node(node.kernel, inputs, node.options, node.axes, node.outputs)
        node = memo[id(node)]
    if axis not in x.axes or x.length(axis) == 1:
        return x if node is x.node else Estimate(x.value, x.axes, x.parts, node, x.output)
    at = x.axes.index(axis)
    parts = {cause: np.take(part, positions, axis=1 + at) for cause, part in x.parts.items()}
    return Estimate(np.take(x.value, positions, axis=at), x.axes, parts, node, x.output)


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
