"""The curves of fan and bank as they meet in a cleaner, with the errors of both, to be drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.physics.balance import refined
from flowrig.records.items import Array
from flowrig.studies.balance import AXES, POINT, ROW, WHOLE, Indices, Options, Rig, delivered
from flowrig.studies.cleaner import Setup
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

PLACES = 80  # at which a curve is drawn, beside the fan's own points
DRAWS = 4000  # a place, all places on the same ones: a band's ends are then good to about 0.05 u


@dataclass
class Band:
    """A curve with its interval at every place. SI.

    Attributes
    ----------
    estimate : Estimate
        With one axis.
    low, high : array
    """

    estimate: Estimate
    low: Array
    high: Array

    @property
    def value(self) -> Array:
        return self.estimate.value


@dataclass
class Curves:
    """Fan and bank over the flow through the filters.

    Attributes
    ----------
    fan_flow : array
        Places of the fan's curve, from its first point to its last. [m3/s]
    fan : Band
        Pressure of the fan, or of all fans, at these flows. [Pa]
    flow : array
        Places of the bank's curve, from no flow. [m3/s]
    bank, lost : Band
        Pressure over the bank with its losses, and that of the losses alone. [Pa]
    point_flow, point_pressure : Band
        The points of the fan's record, brought to the cleaner: flow and pressure.
    coverage : float
    """

    fan_flow: Array
    fan: Band
    flow: Array
    bank: Band
    lost: Band
    point_flow: Band
    point_pressure: Band
    coverage: float


def curves(setup: Setup, *, coverage: float = 0.95, draws: int = DRAWS, seed: int = 1) -> Curves:
    """Both curves of a cleaner with their bands, through the same estimates as its prediction.

    Parameters
    ----------
    setup : Setup
        Of a single design.
    coverage : float
        Of each place by itself.
    draws : int
    seed : int

    Raises
    ------
    ValueError
        If the setup is one of a sweep.

    Notes
    -----
    The fan stands in the air and at the speed of the prediction, with as many fans, less what flows back beside them.
    At a given flow, moved points have moved the place along the curve too; beyond an end that an error has brought
    nearer the curve is continued straight.
    """
    if setup.batch:
        raise ValueError("the curves of one design at a time; a sweep holds many")
    nodes = setup.curve.nodes
    near = np.union1d(np.linspace(nodes[0], nodes[-1], PLACES), nodes)
    inputs = setup.inputs
    net = _net(setup, near)
    kept = (net >= 0.0) & (np.diff(net, prepend=-np.inf) > 0.0)  # with much flowing back the first places pass nothing
    near, net = near[kept], net[kept]
    places = {"near": Estimate(near, (ROW,)), "net": Estimate(net, (ROW,))}
    fan = linear(_fan_at, {**inputs, **places}, AXES, {"fan": (ROW,)}, options=setup.options)
    flow = np.linspace(0.0, float(net[-1]), PLACES)
    asked = {**inputs, "net": Estimate(flow, (ROW,))}
    bank = linear(_bank_at, asked, AXES, {"bank": (ROW,), "lost": (ROW,)}, options=setup.options)
    own = {name: inputs[name] for name in ("flow", "pressure", *WHOLE)}
    kept_points = {"flow": (POINT,), "pressure": (POINT,)}
    points = linear(_points, own, (POINT,), kept_points, curve_density=setup.options.curve_density)

    def bands(found: dict[str, Estimate]) -> dict[str, Band]:
        bars = batch_intervals(found, coverage, samples=draws, seed=seed)
        return {name: Band(x, bars[name][0].low, bars[name][0].high) for name, x in found.items()}

    asks, measured = bands(bank), bands(points)
    return Curves(
        net, bands(fan)["fan"], flow, asks["bank"], asks["lost"], measured["flow"], measured["pressure"], coverage
    )


class _AtFlow(Rig):
    """A rig of which the place is sought where a given flow passes the filters, whatever the bank asks for."""

    def __init__(self, options: Options, inputs: dict[str, Array], wanted: Array) -> None:
        super().__init__(options, inputs)
        self.wanted = wanted
        self.shape = np.broadcast_shapes(self.shape, wanted.shape)

    def apart(self, t: Array, i: Indices) -> Array:
        """Wanted flow less that at a place: falls as the place moves on."""
        whole, _ = self.of(i)
        net, _, _ = delivered(self.at("flow", t, i), self.at("pressure", t, i), whole, self.options.curve_density)
        return np.asarray(self.some(self.wanted, i) - net)

    def place(self, near: Array) -> Array:
        t = self.crossing(near, True)
        beyond = np.flatnonzero(~np.isfinite(t))
        if beyond.size:
            nodes = self.options.nodes
            low, high = (np.full(beyond.size, x) for x in (2 * nodes[0] - nodes[-1], 2 * nodes[-1] - nodes[0]))
            t.reshape(-1)[beyond] = refined(self.apart, low, high, (beyond,))
        return t


def _fan_at(*, near: Array, net: Array, options: Options, **inputs: Array) -> dict[str, Array]:
    """Pressure of the fans at given flows through the filters, each looked for around a place along the curve."""
    rig = _AtFlow(options, inputs, net[..., 0, 0])
    t = rig.place(near[..., 0, 0]).reshape(-1)
    i = np.arange(t.size)
    whole, _ = rig.of(i)
    _, total, _ = delivered(rig.at("flow", t, i), rig.at("pressure", t, i), whole, options.curve_density)
    return {"fan": total.reshape(rig.shape)[..., np.newaxis, np.newaxis]}


def _bank_at(*, net: Array, options: Options, **inputs: Array) -> dict[str, Array]:
    rig = Rig(options, inputs)
    *stages, lost = rig.drops(net[..., 0, 0], rig.whole, rig.members)
    found = {"bank": lost + sum(stages), "lost": lost + 0.0 * net[..., 0, 0]}
    return {name: np.asarray(x)[..., np.newaxis, np.newaxis] for name, x in found.items()}


def _points(*, flow: Array, pressure: Array, curve_density: float, **whole: Array) -> dict[str, Array]:
    net, total, _ = delivered(flow, pressure, whole, curve_density)
    return {"flow": net, "pressure": total}


def _net(setup: Setup, place: Array) -> Array:
    """Flow through the filters at places along the curve, nominally."""
    rig = Rig(setup.options, setup.nominal())
    i = np.zeros(len(place), dtype=np.intp)
    whole, _ = rig.of(i)
    net, _, _ = delivered(rig.at("flow", place, i), rig.at("pressure", place, i), whole, setup.options.curve_density)
    return net
