"""A filter in the ducts of a building: what it cleans, what its leaks bring in, and its part in the building's balance.

Fan and filter pass a flow Q for a share f of the time. A share r of what reaches the filter has leaked into the return
duct from outside the rooms; a share L of what leaves it leaks out of the supply duct. Units as in `room`.
"""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, Truth, not_below_0, si, within


@si("m^3/s", runtime="1", flow="m^3/s", efficiency="1", supply_leakage="1", return_leakage="1")
def duct_clean_air(
    runtime: Floats, flow: Floats, efficiency: Floats, supply_leakage: Floats, return_leakage: Floats = 0.0
) -> Floats:
    """Clean-air rate of a filter in the ducts of a building, over the time that its fan runs and stands.

    Parameters
    ----------
    runtime : float or array
        Share of the time in which the fan runs. [1]
    flow : float or array, broadcast with the others
        Flow through the filter while it does. [m^3/s]
    efficiency : float or array, broadcast with the others
        Share of particles that the filter holds back, what passes beside it included. [1]
    supply_leakage : float or array, broadcast with the others
        Share of the flow that leaks out behind the filter and never reaches the rooms. [1]
    return_leakage : float or array, broadcast with the others
        Share of the flow that leaked in before the filter: cleaning it does not clean the rooms. [1]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        NaN for a runtime or a leakage outside 0 to 1 and for a flow below 0. The efficiency is taken as it is: one that
        was measured scatters past 0 and 1. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    f Q eta (1 - L)(1 - r). What supply leaks carry away is air exchange and no clean air: `duct_loss` has both.

    Source
    ------
    Conservation of particles; f Q eta (1 - L) is common practice, no source.

    Examples
    --------
    >>> round(float(duct_clean_air(0.5, 2000.0, 0.7, 0.1)), 6)
    630.0
    """
    with np.errstate(all="ignore"):
        reached = (1.0 - np.asarray(supply_leakage)) * (1.0 - np.asarray(return_leakage))
        clean = runtime * np.asarray(flow, dtype=float) * efficiency * reached
        return within(_shares(runtime, supply_leakage, return_leakage) & not_below_0(flow), clean)


@si(
    "1/s",
    runtime="1",
    flow="m^3/s",
    efficiency="1",
    supply_leakage="1",
    return_leakage="1",
    volume="m^3",
)
def duct_loss(
    runtime: Floats, flow: Floats, efficiency: Floats, supply_leakage: Floats, return_leakage: Floats, volume: Floats
) -> Floats:
    """What a filter in the ducts, its leaks included, adds to the rate of loss of a building.

    Parameters
    ----------
    runtime : float or array
        Share of the time in which the fan runs. [1]
    flow : float or array, broadcast with the others
        Flow through the filter while it does. [m^3/s]
    efficiency : float or array, broadcast with the others
        Share of particles that the filter holds back, what passes beside it included. [1]
    supply_leakage : float or array, broadcast with the others
        Share of the flow that leaks out behind the filter. [1]
    return_leakage : float or array, broadcast with the others
        Share of the flow that leaked in before the filter. [1]
    volume : float or array, broadcast with the others
        Volume of the air in the building, which counts as one well-mixed zone. [m^3]

    Returns
    -------
    loss : shape of the broadcast inputs
        To be added to `room_loss`. NaN for a runtime or a leakage outside 0 to 1, for a volume not above 0, and for a
        flow below 0. [1/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    (f Q/V) [eta (1 - L)(1 - r) + max(r (1 - L), L (1 - r))]: clean air, and the air that the leaks exchange. Where more
    leaks in than out the rest leaves through the envelope; where more leaks out it is made up through it. That is added
    to the infiltration whole, which is more than fan and wind give together. A fan that goes on and off counts by its
    mean, which holds where each turn is short against 1/K.

    Source
    ------
    Conservation of air and particles in one well-mixed zone.

    Examples
    --------
    >>> round(float(duct_loss(0.5, 2000.0, 0.7, 0.1, 0.0, 500.0)), 6)
    1.46
    """
    with np.errstate(all="ignore"):
        out, into = np.asarray(supply_leakage, dtype=float), np.asarray(return_leakage, dtype=float)
        exchanged = np.maximum(into * (1.0 - out), out * (1.0 - into))
        loss = runtime * (flow / np.asarray(volume, dtype=float))
        loss = loss * (efficiency * (1.0 - out) * (1.0 - into) + exchanged)
        valid = _shares(runtime, supply_leakage, return_leakage) & np.greater(volume, 0.0)
        return within(valid & not_below_0(flow), loss)


@si(
    "x/(m^3*s)",
    runtime="1",
    flow="m^3/s",
    efficiency="1",
    supply_leakage="1",
    return_leakage="1",
    volume="m^3",
    leak_concentration="x/m^3",
    outdoor="x/m^3",
    penetration="1",
)
def duct_gain(
    runtime: Floats,
    flow: Floats,
    efficiency: Floats,
    supply_leakage: Floats,
    return_leakage: Floats,
    volume: Floats,
    leak_concentration: Floats,
    outdoor: Floats,
    penetration: Floats,
) -> Floats:
    """What the leaks of the ducts bring into a building, for each volume of it.

    Parameters
    ----------
    runtime : float or array
        Share of the time in which the fan runs. [1]
    flow : float or array, broadcast with the others
        Flow through the filter while it does. [m^3/s]
    efficiency : float or array, broadcast with the others
        Share of particles that the filter holds back, what passes beside it included. [1]
    supply_leakage : float or array, broadcast with the others
        Share of the flow that leaks out behind the filter. [1]
    return_leakage : float or array, broadcast with the others
        Share of the flow that leaked in before the filter, which it has to pass. [1]
    volume : float or array, broadcast with the others
        Volume of the air in the building. [m^3]
    leak_concentration : float or array, broadcast with the others
        Concentration where the return duct leaks: in an attic, or outdoors. [x/m^3]
    outdoor : float or array, broadcast with the others
        Concentration outdoors. [x/m^3]
    penetration : float or array, broadcast with the others
        Share of what is in infiltrating air that comes through the cracks. [1]

    Returns
    -------
    gain : shape of the broadcast inputs
        To be added to `room_gain`. NaN for a runtime or a leakage outside 0 to 1, for a volume not above 0, and for a
        flow or a concentration below 0. [x/(m^3*s)]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    (f Q/V) [r (1 - L)(1 - eta) C_leak + max(L - r, 0) P C_out]: what the filter lets through of the return's leak, and
    outdoor air that comes through the envelope because more leaks out of the ducts than into them.

    Source
    ------
    Conservation of air and particles in one well-mixed zone.

    Examples
    --------
    >>> round(float(duct_gain(0.5, 2000.0, 0.7, 0.1, 0.05, 500.0, 100.0, 100.0, 0.8)), 6)
    10.7
    """
    with np.errstate(all="ignore"):
        out, into = np.asarray(supply_leakage, dtype=float), np.asarray(return_leakage, dtype=float)
        leaked = into * (1.0 - out) * (1.0 - np.asarray(efficiency)) * leak_concentration
        made_up = np.maximum(out - into, 0.0) * penetration * outdoor
        gain = runtime * (flow / np.asarray(volume, dtype=float)) * (leaked + made_up)
        valid = _shares(runtime, supply_leakage, return_leakage) & np.greater(volume, 0.0)
        return within(valid & not_below_0(flow, leak_concentration, outdoor), gain)


def _shares(*shares: Floats) -> Truth:
    valid = not_below_0(*shares)
    for each in shares:
        valid = valid & np.less_equal(each, 1.0)
    return valid
