"""The kernel of a prediction: a fan's curve against filters, gaps and losses, and all that follows at the crossing.

Axes: ``row`` (one design each), ``filter`` (kinds of filter in the bank), ``point`` (of the fan's curve).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowrig.physics.balance import (
    Array,
    Pieces,
    bracketed,
    crossing_cells,
    cubic,
    places,
    refined,
    shape_keeping,
    stage_drop,
)
from flowrig.physics.fan import fan_flow_at_speed, fan_power_at_speed, fan_pressure_at_speed
from flowrig.physics.resistance import filter_velocity, gap_flow, loss_drop, power_law_velocity

ROW, FILTER, POINT = "row", "filter", "point"
AXES = (ROW, FILTER, POINT)
MEMBER = ("area", "linear", "quadratic", "factor", "exponent", "gap")  # inputs with the axis `filter`
WHOLE = ("loss", "density", "speed_ratio", "backflow", "abreast", "in_line")  # one value a design
INSIDE = 1e-9  # of the last flow: rounding
CURVES = ("flow", "pressure", "power", "motor_temperature")  # inputs with the axis `point`


Indices = NDArray[np.intp]
LOOKED_AT = 16  # places at a time from the end of the curve, for free air
SCANNED = 16_384  # places of a scan taken at once: more falls out of the processor's cache
STEP = 1 / 256  # of the curve: first step to either side of where a crossing is looked for


@dataclass(frozen=True)
class Options:
    """What is the same for all designs and known exactly.

    Attributes
    ----------
    nodes : array, shape (m,)
        Flows of the curve's points, without error: the row along which all curves run. [m3/s]
    curve_density : float
        Density that the curve's pressures hold for. [kg/m3]
    stages : tuple of int
        Of each kind of filter, in which stage it stands; those of one stage are side by side.
    """

    nodes: Array
    curve_density: float
    stages: tuple[int, ...]


class Rig:
    """Fan and bank as arrays, designs (and what stands before them) in front; one number for each of them all."""

    def __init__(self, options: Options, inputs: dict[str, Array]) -> None:
        self.options = options
        self.pieces = {name: self._curve(name, inputs) for name in CURVES if name in inputs}
        self.whole = {name: inputs[name][..., 0, 0] for name in WHOLE}
        self.members = {name: inputs[name][..., 0] for name in MEMBER}
        shapes = [x.shape for x in self.whole.values()] + [x.shape[:-1] for x in self.members.values()]
        shapes += [pieces.coefficients.shape[1:-1] for pieces in self.pieces.values()]
        self.shape: tuple[int, ...] = np.broadcast_shapes(*shapes)
        self._known: dict[str, Array] = {}
        self._places: dict[tuple[int, ...], Indices] = {}

    def _curve(self, name: str, inputs: dict[str, Array]) -> Pieces:
        bent = inputs["straightness"][..., 0, :] if name == "pressure" else 0.0
        return shape_keeping(self.options.nodes, inputs[name][..., 0, :], bent)

    def _own(self, front: tuple[int, ...], i: Indices) -> Indices:
        """Where designs are found in an array that has fewer of them: what is the same for some is not laid out."""
        if front == self.shape:
            return i
        if front not in self._places:
            own = np.arange(int(np.prod(front))).reshape(front)
            self._places[front] = np.broadcast_to(own, self.shape).reshape(-1)
        return self._places[front][i]

    def at(self, name: str, t: Array, i: Indices) -> Array:
        """A curve of some designs, each at a place of its own."""
        nodes, curves = self.pieces[name].nodes, self._curves(name)
        k = np.clip(np.searchsorted(nodes, t, side="right") - 1, 0, len(nodes) - 2)
        piece = self._own(curves.shape[:-2], i) * (len(nodes) - 1) + k
        return cubic(np.take(curves.reshape(-1, 4), piece, axis=0).T, t - nodes[k])

    def _curves(self, name: str) -> Array:
        """Coefficients of a curve with those of one piece side by side, shape (..., pieces, 4)."""
        if name not in self._known:
            self._known[name] = np.ascontiguousarray(np.moveaxis(self.pieces[name].coefficients, 0, -1))
        return self._known[name]

    def of(self, i: Indices) -> tuple[dict[str, Array], dict[str, Array]]:
        """What is one value a design, and what is one a filter, of some designs; once where it is the same for all."""
        whole = {name: self.some(x, i) for name, x in self.whole.items()}
        return whole, {name: self.some(x, i, 1) for name, x in self.members.items()}

    def some(self, x: Array, i: Indices, tail: int = 0) -> Array:
        """Some designs of an array with `tail` further axes; without the axis of designs where all are the same."""
        front, last = x.shape[: x.ndim - tail], x.shape[x.ndim - tail :]
        if all(n == 1 for n in front):
            return x.reshape(last)
        return np.take(x.reshape(-1, *last), self._own(front, i), axis=0)

    def along(self, name: str, t: Array) -> Array:
        """A curve of all designs, each at a place of its own."""
        found = self.at(name, np.where(np.isfinite(t), t, self.options.nodes[0]).reshape(-1), np.arange(t.size))
        return np.where(np.isfinite(t), found.reshape(t.shape), np.nan)

    def apart(self, t: Array, i: Indices) -> Array:
        """Pressure of the fan less that of the bank, of some designs, each at a place of its own."""
        return self._apart(self.at("flow", t, i), self.at("pressure", t, i), *self.of(i))

    def _apart(self, flow: Array, pressure: Array, whole: dict[str, Array], members: dict[str, Array]) -> Array:
        net, total, _ = delivered(flow, pressure, whole, self.options.curve_density)
        return np.asarray(total - sum(self.drops(net, whole, members)))

    def drops(self, net: Array, whole: dict[str, Array], members: dict[str, Array]) -> list[Array]:
        """Pressure over each stage, and in the losses at the end."""
        found = []
        for stage in sorted(set(self.options.stages)):
            own = [j for j, s in enumerate(self.options.stages) if s == stage]
            area, linear, quadratic, factor, exponent, gap = (members[name][..., own] for name in MEMBER)
            drop = stage_drop(net, area, linear, quadratic, factor, exponent, gap, whole["density"])
            there = np.sum(area + gap, axis=-1) > 0.0  # a stage without any filter is none
            found.append(np.where(there, drop, 0.0))
        return [*found, np.asarray(loss_drop(net, whole["loss"], whole["density"]))]

    def scanned(self, i: Indices) -> tuple[Array, Array]:
        """Places along the curve, and how far fan and bank are apart there: (designs, places)."""
        nodes, grid = self.pieces["flow"].nodes, places(self.pieces["flow"])
        apart = np.empty((len(i), len(grid)))
        some = max(1, SCANNED // len(grid))
        for start in range(0, len(i), some):
            here = i[start : start + some]
            curves = (np.moveaxis(self.some(self._curves(name), here, 2), -1, 0) for name in ("flow", "pressure"))
            flow, pressure = (Pieces(nodes, coefficients).at(grid) for coefficients in curves)
            whole, members = self.of(here)
            whole = {name: x[:, np.newaxis] if x.ndim else x for name, x in whole.items()}
            members = {name: x[:, np.newaxis] if x.ndim > 1 else x for name, x in members.items()}
            apart[start : start + some] = self._apart(flow, pressure, whole, members)
        return grid, apart

    def crossing(self, near: Array, falling: bool) -> Array:
        """The place of the crossing nearest to a place, one a design; NaN where there is none of its kind.

        Looked for around the place first. Where that leads to no crossing of its kind, the whole curve is searched.
        """
        every = np.arange(int(np.prod(self.shape)))
        start = np.broadcast_to(near, self.shape).reshape(-1)
        nodes = self.pieces["flow"].nodes
        low, high = bracketed(self.apart, start, (nodes[-1] - nodes[0]) * STEP, (nodes[0], nodes[-1]), every)
        sought = np.isfinite(start)
        good = np.isfinite(low) & sought
        with np.errstate(invalid="ignore"):
            good[good] = (self.apart(low[good], every[good]) > 0) == falling
        lost = np.flatnonzero(sought & ~good)
        if lost.size:
            grid, apart = self.scanned(lost)
            cells = crossing_cells(apart, falling)
            k = np.argmin(
                np.where(cells, np.abs((grid[:-1] + grid[1:]) / 2 - start[lost, np.newaxis]), np.inf), axis=-1
            )
            there = cells[np.arange(len(lost)), k]
            low[lost], high[lost] = np.where(there, grid[k], np.nan), np.where(there, grid[k + 1], np.nan)
        return refined(self.apart, low, high, (every,)).reshape(self.shape)


def delivered(
    flow: Array, pressure: Array, whole: dict[str, Array], curve_density: float
) -> tuple[Array, Array, Array]:
    """What a fan's own flow and pressure come to: flow through the bank, pressure over it, flow back at the fans."""
    speed, density = whole["speed_ratio"], whole["density"]
    one = np.asarray(fan_pressure_at_speed(pressure, speed, curve_density, density))
    back = gap_flow(one, whole["backflow"], 1.0, density)
    net = whole["abreast"] * (fan_flow_at_speed(flow, speed) - back)
    return np.asarray(net), whole["in_line"] * one, np.asarray(whole["abreast"] * back)


def balance(*, near: Array, options: Options, falling: bool = True, **inputs: Array) -> dict[str, Array]:
    """The crossing nearest to a place, and what holds there.

    Parameters
    ----------
    near : array
        Place along the curve. [m3/s]
    options : Options
    falling : bool
        A crossing where the bank asks for more than the fan gives beyond it: a stable one.
    inputs : array
        Those of `MEMBER`, `WHOLE` and `CURVES`, and the curve's ``straightness``.

    Returns
    -------
    dict of array
        flow, fan_flow, back, pressure, free_air, shut_off, drop (of each kind of filter), velocity, through (flow
        through each kind, gaps apart), beside (through its gaps), lost (pressure in the losses), and power and
        motor_temperature where there is a curve of them. SI.
    """
    rig = Rig(options, inputs)
    place = near[..., 0, 0]
    rig.shape = np.broadcast_shapes(rig.shape, place.shape)
    t = rig.crossing(place, falling)
    whole = rig.whole
    flow, total, back = delivered(rig.along("flow", t), rig.along("pressure", t), whole, options.curve_density)
    *stages, lost = rig.drops(flow, whole, rig.members)
    numbers = sorted(set(options.stages))
    drop = np.stack([np.broadcast_to(stages[numbers.index(s)], flow.shape) for s in options.stages], axis=-1)
    m = rig.members
    velocity = np.where(
        m["factor"] > 0.0,
        power_law_velocity(drop, m["factor"], m["exponent"]),
        filter_velocity(drop, m["linear"], m["quadratic"]),
    )
    velocity = np.where(m["area"] > 0.0, velocity, 0.0)
    free = _free_air(rig)
    first = rig.pieces["pressure"].at(options.nodes[:1])[..., 0]
    speed, density = whole["speed_ratio"], whole["density"]
    shut = whole["in_line"] * fan_pressure_at_speed(first, speed, options.curve_density, density)
    found = {
        "flow": flow,
        "fan_flow": flow + back,
        "back": back,
        "pressure": total,
        "lost": lost,
        "free_air": free + 0.0 * flow,
        "shut_off": shut + 0.0 * flow,
        "share": flow / free,
    }
    if "power" in rig.pieces:
        one = fan_power_at_speed(rig.along("power", t), speed, options.curve_density, density)
        found["power"] = whole["abreast"] * whole["in_line"] * np.asarray(one)
    if "motor_temperature" in rig.pieces:
        found["motor_temperature"] = rig.along("motor_temperature", t)
    of_filters = {
        "drop": drop,
        "velocity": velocity,
        "through": m["area"] * velocity,
        "beside": gap_flow(drop, m["gap"], 1.0, whole["density"][..., np.newaxis]),
    }
    return {
        **{name: np.asarray(x)[..., np.newaxis, np.newaxis] for name, x in found.items()},
        **{name: (np.asarray(x) + 0.0 * velocity)[..., np.newaxis] for name, x in of_filters.items()},
    }


def _free_air(rig: Rig) -> Array:
    """Flow with nothing in front of the fan: the last place where its pressure falls through zero."""
    pieces = rig.pieces["pressure"]
    grid = places(pieces)
    shape = pieces.coefficients.shape[1:-1]
    last, there = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=bool)
    for end in range(len(grid) - 1, 0, -LOOKED_AT):  # from the end on: it lies beyond the last points of most curves
        start = max(end - LOOKED_AT, 0)
        cells = crossing_cells(pieces.at(grid[start : end + 1]), True)
        here = ~there & np.any(cells, axis=-1)
        last = np.where(here, end - 1 - np.argmax(cells[..., ::-1], axis=-1), last)
        there |= here
        if np.all(there):
            break
    low, high = np.where(there, grid[last], np.nan), np.where(there, grid[last + 1], np.nan)
    high = high + 1e-6 * (high - low)  # a last point at zero pressure is the crossing itself, give or take rounding
    piece = np.clip(np.searchsorted(pieces.nodes, (grid[last] + grid[last + 1]) / 2) - 1, 0, None)
    args = (pieces.nodes[piece], *pieces.piece(piece))
    t = refined(lambda t, node, *c: cubic(np.stack(c), t - node), low, high, args)
    one = fan_flow_at_speed(rig.along("flow", np.broadcast_to(t, rig.shape)), rig.whole["speed_ratio"])
    return np.asarray(rig.whole["abreast"] * one)


def all_crossings(options: Options, inputs: dict[str, Array]) -> list[list[tuple[float, bool]]]:
    """Every place where fan and bank agree, with whether it is stable, design by design; within the points alone."""
    rig = Rig(options, inputs)
    rows = int(np.prod(rig.shape))
    grid, apart = rig.scanned(np.arange(rows))
    found: list[list[tuple[float, bool]]] = [[] for _ in range(rows)]
    for falling in (True, False):
        row, k = np.nonzero(crossing_cells(apart, falling))
        t = refined(rig.apart, grid[k], grid[k + 1], (row,))
        inside = (t >= options.nodes[0] * (1 - INSIDE)) & (t <= options.nodes[-1] * (1 + INSIDE))
        for i in np.flatnonzero(inside):
            found[row[i]].append((float(t[i]), falling))
    return [sorted(own) for own in found]


def at_the_ends(options: Options, inputs: dict[str, Array]) -> list[tuple[float, float]]:
    """At both ends of a single design's curve: flow through the bank, and pressure of the fan less that of the bank."""
    rig = Rig(options, inputs)
    ends, i = options.nodes[[0, -1]], np.zeros(2, dtype=np.intp)
    whole, _ = rig.of(i)
    net, _, _ = delivered(rig.at("flow", ends, i), rig.at("pressure", ends, i), whole, options.curve_density)
    return [(float(f), float(p)) for f, p in zip(net, rig.apart(ends, i), strict=True)]
