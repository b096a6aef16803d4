"""A flow hood throttles what it measures: back to the flow without the hood."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within


@si("m^3/s", flow="m^3/s", pressure="Pa", throttled_flow="m^3/s", throttled_pressure="Pa")
def hood_free_flow(flow: Floats, pressure: Floats, throttled_flow: Floats, throttled_pressure: Floats) -> Floats:
    """Flow of an outlet without the hood over it, from two readings at two resistances of the hood.

    Parameters
    ----------
    flow : float or array
        First flow, at the lower resistance. [m^3/s]
    pressure : float or array, broadcast with the others
        Gauge pressure in the hood at the first flow. [Pa]
    throttled_flow : float or array, broadcast with the others
        Second flow, at the higher resistance. [m^3/s]
    throttled_pressure : float or array, broadcast with the others
        Gauge pressure in the hood at the second flow. [Pa]

    Returns
    -------
    free_flow : shape of the broadcast inputs
        Flow at no gauge pressure; the sign of flow and pressure does not matter as long as it is one. NaN where both
        pressures are equal. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Q0 = Q1 + (Q1 - Q2) P1/(P2 - P1): the straight line through both readings, at P = 0. Exact for a unit whose flow
    falls linearly with pressure. Where it falls as Q0 - a P - b P^2 the answer is high by b P1 P2 (low where the curve
    is hollow, b < 0): the further both pressures are from 0, the worse. An error in one flow reaches the answer
    multiplied by P2/(P2 - P1) for the first and P1/(P2 - P1) for the second, so that two nearly equal resistances say
    nothing.

    Source
    ------
    Line through two points; its error is the remainder of linear interpolation. Practice of the trade, no source.

    Examples
    --------
    >>> round(float(hood_free_flow(0.20, 5.0, 0.18, 15.0)), 4)
    0.21
    """
    with np.errstate(all="ignore"):
        apart = np.subtract(throttled_pressure, pressure)
        return within(apart != 0.0, flow + np.subtract(flow, throttled_flow) * (pressure / apart))
