"""How warm a motor's winding became, told by its resistance."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within

COPPER = 273.15 - 234.5  # where the resistance of copper, carried on straight, would be nothing [K]


@si("K", cold="ohm", hot="ohm", room_cold="K", room_hot="K")
def winding_rise(cold: Floats, hot: Floats, room_cold: Floats, room_hot: Floats) -> Floats:
    """Rise of a copper winding's temperature above the room, from its resistance before and after a run.

    Parameters
    ----------
    cold : float or array
        Resistance while the winding has the temperature of the room. [ohm]
    hot : float or array, broadcast with the others
        Resistance at the end of the run, at once after switching off. [ohm]
    room_cold : float or array, broadcast with the others
        Temperature of the room, and of the winding, at the beginning. [K]
    room_hot : float or array, broadcast with the others
        Temperature of the room at the end. [K]

    Returns
    -------
    rise : shape of the broadcast inputs
        Mean over the winding, above the room at the end; below 0 for a winding that became colder than that. NaN for a
        resistance not above 0, and for a temperature of the cold winding not above 38.65 K. [K]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dT = (R2/R1 - 1) (234.5 + T1) - (T2 - T1), temperatures in degrees Celsius; 225 in place of 234.5 for aluminium,
    whose rise is some 4 % less at the same resistances.

    Source
    ------
    IEC 60335-1, clause 11 (from memory).

    Examples
    --------
    >>> round(float(winding_rise(20.0, 25.0, 293.15, 295.15)), 6)
    61.625
    """
    with np.errstate(all="ignore"):
        cold, hot, room_cold = (np.asarray(x, dtype=float) for x in (cold, hot, room_cold))
        rise = (hot / cold - 1.0) * (room_cold - COPPER) - (room_hot - room_cold)
        return within((cold > 0.0) & (hot > 0.0) & (room_cold > COPPER), rise)
