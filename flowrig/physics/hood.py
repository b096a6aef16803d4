"""A flow hood throttles what it measures: back to the flow without the hood; what its display stands for."""

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


@si("m^3/s", flow="m^3/s", pressure="Pa", curve_pressure="Pa", curve_flow="m^3/s")
def hood_free_flow_by_curve(flow: Floats, pressure: Floats, curve_pressure: Floats, curve_flow: Floats) -> Floats:
    """Flow of a unit without the hood over it, from one reading and the shape of the unit's own curve.

    Parameters
    ----------
    flow : float or array
        Flow under the hood. [m^3/s]
    pressure : float or array, broadcast with ``flow``
        Gauge pressure in the hood, of either sign: how hard the unit has to work against it. [Pa]
    curve_pressure : array, shape (n,)
        Pressures that the unit works against, rising from 0. [Pa]
    curve_flow : array, shape (n,)
        Its flows there, falling. [m^3/s]

    Returns
    -------
    free_flow : shape of the broadcast ``flow`` and ``pressure``
        NaN for a flow not above 0, for a curve that does not begin at 0, rise in pressure and fall in flow, and where
        the reading would lie beyond the end of the curve. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    The curve is brought to the reading by the fan laws, flow as the speed and pressure as its square: the ratio r is
    sought for which r C(P/r^2) is the flow under the hood, and r C(0) is the answer. Only the shape of the curve
    matters, not whether it was taken at the same speed. Between its points it is a shape-keeping cubic (PCHIP). The
    ratio is found by halving, to 1e-12.

    Source
    ------
    Fan laws, as in ISO 5801 and AMCA 210 (from memory); F. N. Fritsch and R. E. Carlson, 1980, for the curve.

    Examples
    --------
    >>> round(float(hood_free_flow_by_curve(0.19, 10.0, np.array([0.0, 20.0]), np.array([0.20, 0.18]))), 4)
    0.2
    """
    from scipy.interpolate import PchipInterpolator  # half the time of a start-up: only where a curve is given

    points, flows = np.asarray(curve_pressure, dtype=float), np.asarray(curve_flow, dtype=float)
    if points[0] != 0.0 or np.any(np.diff(points) <= 0.0) or np.any(np.diff(flows) >= 0.0) or flows[-1] < 0.0:
        return within(False, flow + np.abs(pressure))
    curve = PchipInterpolator(points, flows)
    size = np.abs(pressure)
    with np.errstate(all="ignore"):
        # below the first ratio the reading would lie beyond the end of the curve
        low = np.sqrt(size / points[-1]) + 0.0 * np.asarray(flow)
        high = np.asarray(flow) / flows[0] + low
        for _ in range(4):  # doubled until the curve passes more than the reading
            high = np.where(high * curve(np.minimum(size / high**2, points[-1])) < flow, 2.0 * high, high)
        inside = low * flows[-1] <= flow
        for _ in range(60):
            middle = 0.5 * (low + high)
            less = middle * curve(np.minimum(size / np.maximum(middle, 1e-300) ** 2, points[-1])) < flow
            low, high = np.where(less, middle, low), np.where(less, high, middle)
        return within(inside & np.greater(flow, 0.0), 0.5 * (low + high) * flows[0])


@si("m^3/s", shown="m^3/s", density="kg/m^3", reference_density="kg/m^3", exponent="1")
def hood_actual_flow(shown: Floats, density: Floats, reference_density: Floats, exponent: Floats) -> Floats:
    """Actual flow behind the display of a hood that is true at one density.

    Parameters
    ----------
    shown : float or array
        Flow on the display. [m^3/s]
    density : float or array, broadcast with the others
        Density of the air in the hood. [kg/m^3]
    reference_density : float or array, broadcast with the others
        Density at which the display is true. [kg/m^3]
    exponent : float or array, broadcast with the others
        How the display goes with density: 1 for a heated sensor, which feels mass flow, 0.5 for a grid of pressure
        taps, 0 for a vane. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        NaN for a density not above 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = shown (rho_ref/rho)^exponent.

    Source
    ------
    Definition of the sensors: rho v, rho v^2/2 and v.

    Examples
    --------
    >>> round(float(hood_actual_flow(0.2, 1.0, 1.2, 0.5)), 4)
    0.2191
    """
    with np.errstate(all="ignore"):
        ratio = np.divide(reference_density, density)
        return within((density > 0.0) & (reference_density > 0.0), shown * np.power(ratio, exponent))
