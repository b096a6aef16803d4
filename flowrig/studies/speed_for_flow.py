"""The speed at which a fan passes a wanted flow through a bank, by the fan laws: the balance solved the other way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.physics.balance import crossing_cells, refined
from flowrig.physics.fan import fan_pressure_at_speed
from flowrig.physics.resistance import gap_flow
from flowrig.records.items import Array
from flowrig.studies.balance import AXES, INSIDE, Options, Rig
from flowrig.studies.cleaner import Setup
from flowrig.uncertainty.estimate import Estimate, align
from flowrig.uncertainty.propagate import linear


class WantedFlow(Rig):
    """Fan and bank where the flow is known and the speed is not.

    At the flow Q a fan turns with the ratio n of its speed if a point (q, p) of its curve has q n = Q and p n² = the
    drop of the bank: p Q² - drop q² is then zero, and n = Q/q.
    """

    def __init__(self, options: Options, inputs: dict[str, Array], wanted: Array) -> None:
        super().__init__(options, inputs)
        self.shape = np.broadcast_shapes(self.shape, wanted.shape)
        i = np.arange(int(np.prod(self.shape)))
        whole, members = self.of(i)
        net = np.broadcast_to(wanted, self.shape).reshape(-1)
        one = np.asarray(sum(self.drops(net, whole, members)) / whole["in_line"])
        back = gap_flow(one, whole["backflow"], 1.0, whole["density"])
        self.each = (net / whole["abreast"] + back).reshape(self.shape)
        self.whole |= {"each": self.each, "one": one.reshape(self.shape)}  # laid out with the rest of a design

    def _apart(self, flow: Array, pressure: Array, whole: dict[str, Array], members: dict[str, Array]) -> Array:
        there = fan_pressure_at_speed(pressure, 1.0, self.options.curve_density, whole["density"])
        return np.asarray(there * whole["each"] ** 2 - whole["one"] * flow**2)

    def speed(self, t: Array) -> Array:
        """Over that of the curve, where the place is known."""
        return np.asarray(self.each / self.along("flow", t))


def speed_for(*, wanted: Array, near: Array, options: Options, **inputs: Array) -> dict[str, Array]:
    """The speed ratio at which the wanted flow passes the bank, nearest to a place along the curve.

    Parameters
    ----------
    wanted : array
        Flow through the bank. [m3/s]
    near : array
        Place along the curve. [m3/s]
    options : Options
    inputs : array
        Those of `flowrig.studies.balance.balance`; its speed_ratio has no say.

    Returns
    -------
    dict of array
        speed
    """
    rig = WantedFlow(options, inputs, wanted[..., 0, 0])
    place = near[..., 0, 0]
    return {"speed": rig.speed(rig.crossing(place, True))[..., np.newaxis, np.newaxis]}


@dataclass(frozen=True)
class Turned:
    """Speeds found for wanted flows.

    Attributes
    ----------
    speed : Estimate
        Over that of the curve; NaN where no point of it gives that flow.
    place : array
        Along the curve. [m3/s]
    """

    speed: Estimate
    place: Array


def speed_for_flow(found: Setup, wanted: Estimate) -> Turned:
    """Speeds at which wanted flows pass a bank.

    Parameters
    ----------
    found : Setup
    wanted : Estimate
        With the axes of the set-up's batch. [m3/s]
    """
    inputs = {name: x for name, x in found.inputs.items() if name not in ("power", "motor_temperature")}
    nominal = {name: align(x.value, x.axes, AXES) for name, x in inputs.items()}
    rig = WantedFlow(found.options, nominal, align(wanted.value, wanted.axes, AXES)[..., 0, 0])
    every = np.arange(int(np.prod(rig.shape)))
    grid, apart = rig.scanned(every)
    cells = crossing_cells(apart, True)
    last = cells.shape[-1] - 1 - np.argmax(cells[:, ::-1], axis=-1)
    there = np.any(cells, axis=-1)
    low, high = np.where(there, grid[last], np.nan), np.where(there, grid[last + 1], np.nan)
    t = refined(rig.apart, low, high, (every,)).reshape(rig.shape)
    ends = found.options.nodes[[0, -1]]
    with np.errstate(invalid="ignore"):
        t = np.where((t >= ends[0] * (1 - INSIDE)) & (t <= ends[1] * (1 + INSIDE)), t, np.nan)
    t = np.broadcast_to(t, wanted.value.shape) if wanted.axes else t.reshape(())
    inputs |= {"wanted": wanted, "near": Estimate(t, wanted.axes)}
    speed = linear(speed_for, inputs, AXES, {"speed": wanted.axes}, options=found.options)["speed"]
    return Turned(speed, t)
