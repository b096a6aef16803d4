"""A value with its signed parts by cause. An input and an output are the same type."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowrig.uncertainty.cause import Cause, unite

if TYPE_CHECKING:
    from flowrig.uncertainty.propagate import Node

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = tuple[NDArray[np.intp], int]  # positions along an axis, and how many it had before any were taken
Axes = tuple[str, ...]


@dataclass(frozen=True)
class Share:
    """One line of an uncertainty budget.

    Attributes
    ----------
    cause : Cause
    u : array
        Standard uncertainty from this cause alone, in the unit of the value.
    share : array
        Its part of the variance, 0 to 1.
    """

    cause: Cause
    u: Array
    share: Array


def align(array: Array, own: Axes, axes: Axes, lead: int = 0) -> Array:
    """Array with axes `own` laid out in the order of `axes`, length 1 where it has none; `lead` axes stay in front."""
    if own == axes:
        return array
    missing = [axis for axis in own if axis not in axes]
    if missing:
        raise ValueError(f"axes {missing} are not among {axes}")
    order = [own.index(axis) for axis in axes if axis in own]
    moved = np.transpose(array, [*range(lead), *(lead + i for i in order)])
    shape = list(moved.shape[:lead])
    following = iter(moved.shape[lead:])
    shape += [next(following) if axis in own else 1 for axis in axes]
    return moved.reshape(shape)


def matched(estimates: Sequence[Estimate], axes: Iterable[str], unroll: Iterable[str] = ()) -> list[Estimate]:
    """The same estimates, with independent deviates unrolled along every axis where places do not face each other.

    Two estimates face each other along an axis if they hold the same places of it. They do not if rows were taken
    apart, if one has a single row beside the many of another, or if one of them is unrolled already.

    Parameters
    ----------
    estimates : sequence of Estimate
    axes : iterable of str
    unroll : iterable of str
        Axes along which to unroll in any case.
    """
    result = list(estimates)
    for axis in axes:
        holders = [x for x in result if any(cause.each == axis for cause in x.parts)]
        if not holders:
            continue
        length = max(x.length(axis) for x in result if axis in x.axes)
        first, full = holders[0].places(axis)
        same = all(
            x.length(axis) == length and x.places(axis)[1] == full and np.array_equal(x.places(axis)[0], first)
            for x in holders
        )
        each = {cause.id for x in holders for cause in x.parts if cause.each == axis}
        mixed = any(cause.each is None and cause.id in each for x in result for cause in x.parts)
        if axis in unroll or mixed or not same:
            result = [x.over(axis) if axis in x.axes else x for x in result]
    return result


class Estimate:
    """A number (or array of numbers) that knows how much each cause of error moves it.

    Parameters
    ----------
    value : array
        One dimension for each of `axes`. SI.
    axes : tuple of str
        Names of the axes of `value`.
    parts : mapping of Cause to array, shape (n, *value.shape)
        Signed movement of the value for one standard deviation along each direction of the cause. For a cause with
        `each`, the movement of every element by its own deviate.
    node : Node, optional
        How the value was computed, for Monte Carlo; none for an input.
    output : str
        Which output of the node this is.
    taken : mapping of str to Places, optional
        For an axis of which only some positions were kept, which and out of how many. A deviate that is independent
        along an axis belongs to a place, so that rows taken apart do not come to share one.

    Raises
    ------
    ValueError
        If shapes, axes and causes do not fit together.
    """

    __slots__ = ("__weakref__", "_variance", "axes", "node", "output", "parts", "taken", "value")

    def __init__(
        self,
        value: ArrayLike,
        axes: Sequence[str] = (),
        parts: Mapping[Cause, ArrayLike] | None = None,
        node: Node | None = None,
        output: str = "",
        taken: Mapping[str, Places] | None = None,
    ) -> None:
        self.value: Array = np.array(value, dtype=float)
        self.value.flags.writeable = False  # kernels get views of it
        self.axes: Axes = tuple(axes)
        if self.value.ndim != len(self.axes):
            raise ValueError(f"value has {self.value.ndim} dimensions but the axes are {self.axes}")
        self.parts: dict[Cause, Array] = {}
        self._variance: Array | None = None
        parts = parts or {}
        if len(parts) > 1:
            unite([parts])
        for cause, given in parts.items():
            part = np.asarray(given, dtype=float)
            if part.shape[:1] != (cause.n,):
                raise ValueError(f"part of {cause.id!r} has shape {part.shape}; expected {cause.n} directions in front")
            if cause.each is not None and cause.each not in self.axes:
                raise ValueError(f"cause {cause.id!r} differs along {cause.each!r}, which is not an axis of the value")
            if part.ndim == 1:
                part = part.reshape(-1, *[1] * self.value.ndim)
            if part.ndim != 1 + self.value.ndim:
                raise ValueError(f"part of {cause.id!r} has shape {part.shape} beside a value of {self.value.shape}")
            if part.shape[1:] == self.value.shape:
                self.parts[cause] = part.view()
                self.parts[cause].flags.writeable = False
            else:
                self.parts[cause] = np.broadcast_to(part, (cause.n, *self.value.shape))
        self.node = node
        self.output = output
        self.taken: dict[str, Places] = dict(taken or {})

    def __repr__(self) -> str:
        if self.axes:
            return f"<Estimate {self.axes} of shape {self.value.shape}, {len(self.parts)} causes>"
        return f"<Estimate {float(self.value):.6g} u {float(self.u):.2g}, {len(self.parts)} causes>"

    def length(self, axis: str) -> int:
        return int(self.value.shape[self.axes.index(axis)])

    def places(self, axis: str) -> Places:
        """Which positions of an axis these are, and how many there were before any were taken."""
        length = self.length(axis)
        return self.taken.get(axis, (np.arange(length), length))

    @property
    def variance(self) -> Array:
        if self._variance is None:
            total = np.zeros(self.value.shape)
            for part in self.parts.values():
                total += np.add.reduce(part**2, axis=0)
            total.flags.writeable = False
            self._variance = total
        return self._variance

    @property
    def u(self) -> Array:
        """Combined standard uncertainty, JCGM 100:2008 eq. 10 and 13 (from memory); correlation by shared causes."""
        return np.sqrt(self.variance)

    @property
    def dof(self) -> Array:
        """Effective degrees of freedom, Welch-Satterthwaite, JCGM 100:2008 eq. G.2b (from memory), block by block.

        Causes whose sizes were found from the same readings are one block.
        """
        blocks: dict[tuple[str, float], Array] = {}
        for cause, part in self.parts.items():
            if cause.dof != math.inf:
                block = (cause.sizing, cause.dof)
                own = np.add.reduce(part**2, axis=0)
                blocks[block] = blocks[block] + own if block in blocks else own
        if not blocks:
            return np.full(self.value.shape, math.inf)
        spread = np.zeros(self.value.shape)
        for (_, dof), variance in blocks.items():
            spread = spread + variance**2 / dof
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(spread > 0, self.variance**2 / spread, math.inf)

    def budget(self) -> list[Share]:
        """Every cause with its contribution and share of the variance, largest (on average) first."""
        alone = {cause: np.sqrt(np.add.reduce(part**2, axis=0)) for cause, part in self.parts.items()}
        shares = [Share(cause, u, self.share(cause)) for cause, u in alone.items()]
        return sorted(shares, key=lambda line: -float(line.share.mean()))

    def share(self, cause: Cause) -> Array:
        """Part of the variance that one of its causes brings, 0 to 1; 0 where there is no variance."""
        own = np.add.reduce(self.parts[cause] ** 2, axis=0)
        return np.divide(own, self.variance, out=np.zeros(self.value.shape), where=self.variance > 0)

    def cov(self, other: Estimate) -> Array:
        """Covariance with another estimate of the same axes (or without axes): a dot product over shared causes.

        Element by element: row i of one with row i of the other.

        Raises
        ------
        CauseConflict
            If a cause of one id means two things.
        ValueError
            If both have axes and they differ.
        """
        if self.axes and other.axes and self.axes != other.axes:
            raise ValueError(f"covariance of axes {self.axes} with {other.axes}: bring both to the same axes first")
        one, two = matched([self, other], self.axes or other.axes)
        unite([one.parts, two.parts])
        axes = self.axes or other.axes
        total = np.zeros(np.broadcast_shapes(self.value.shape, other.value.shape))
        for cause, part in one.parts.items():
            if cause in two.parts:
                facing = align(two.parts[cause], two.axes, axes, 1)
                total = total + np.sum(align(part, one.axes, axes, 1) * facing, axis=0)
        return total

    def over(self, axis: str) -> Estimate:
        """The same estimate with independent deviates along `axis` unrolled into directions of one block."""
        position = self.axes.index(axis)
        places, full = self.places(axis)
        parts: dict[Cause, Array] = {}
        for cause, part in self.parts.items():
            if cause.each != axis:
                parts[cause] = part
                continue
            unrolled = np.zeros((cause.n, full, *self.value.shape))
            along = np.moveaxis(unrolled, 2 + position, 2)  # n, place, position, other axes
            along[:, places, np.arange(len(places))] = np.moveaxis(part, 1 + position, 1)
            parts[cause.block(full)] = unrolled.reshape(cause.n * full, *self.value.shape)
        return Estimate(self.value, self.axes, parts, self.node, self.output, self.taken)

    def take(self, axis: str, positions: ArrayLike) -> Estimate:
        """Only some positions along an axis, with the way they were computed, so that Monte Carlo can follow.

        Every position keeps its own independent noise: two of them, taken apart and compared, do not share it.

        Parameters
        ----------
        axis : str
        positions : array of int, or of bool
            The axis stays, even for a single position.
        """
        from flowrig.uncertainty.propagate import take

        return take(self, axis, np.atleast_1d(np.arange(self.length(axis))[np.asarray(positions)]))

    def single(self, position: int) -> Estimate:
        """One position of an estimate with one axis, without the axis and the way it was made.

        A deviate that differs along the axis becomes one of its own, known by its place: the same in every estimate
        that holds it there.
        """
        parts = {}
        for cause, part in self.parts.items():
            place = int(self.places(cause.each)[0][position]) if cause.each is not None else 0
            own = replace(cause, id=f"{cause.id}|{place}", each=None) if cause.each is not None else cause
            if np.any(part[:, position]):
                parts[own] = part[:, position]
        return Estimate(self.value[position], (), parts)

    def to_ufloat(self) -> Any:
        """The value as a number of the `uncertainties` package; results that share causes come out correlated.

        Returns
        -------
        AffineScalarFunc, or an object array of them for a value with axes.
        """
        from uncertainties import ufloat
        from uncertainties.core import AffineScalarFunc, LinearCombination

        result = np.empty(self.value.shape, dtype=object)
        for index in np.ndindex(self.value.shape):
            number = AffineScalarFunc(float(self.value[index]), LinearCombination({}))
            for cause, part in self.parts.items():
                place, full = 0, 1
                if cause.each is not None:
                    places, full = self.places(cause.each)
                    place = int(places[index[self.axes.index(cause.each)]])
                for direction in range(cause.n):
                    key = (cause.id, direction * full + place)
                    deviate = _deviates.get(key)
                    if deviate is None:
                        deviate = _deviates[key] = ufloat(0.0, 1.0, tag=cause.name)
                    number = number + float(part[(direction, *index)]) * deviate
            result[index] = number
        return result[()] if self.axes else result.item()


# One number of the `uncertainties` package for each direction of each cause ever handed out: this is what keeps sibling
# results correlated. They cannot be weakly referenced, and a forgotten one would make siblings silently independent.
_deviates: dict[tuple[str, int], Any] = {}
