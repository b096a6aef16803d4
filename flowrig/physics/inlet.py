"""A conical or bell-mouthed inlet through which a duct draws still air."""

from __future__ import annotations

import numpy as np

from flowrig.physics.nozzle import nozzle_expansibility
from flowrig.physics.si import Floats, si, within


@si("1", drop="Pa", pressure="Pa")
def inlet_expansibility(drop: Floats, pressure: Floats) -> Floats:
    """Expansibility factor of air that speeds up from rest into a throat, isentropic.

    Parameters
    ----------
    drop : float or array
        Pressure of the still air less the static pressure in the throat. [Pa]
    pressure : float or array, broadcast with ``drop``
        Absolute pressure of the still air. [Pa]

    Returns
    -------
    expansibility : shape of the broadcast inputs
        NaN for a pressure not above 0, and where the throat would be sonic (drop above 0.472 of it). [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Y^2 = k/(k-1) r^(2/k) [1 - r^((k-1)/k)]/(1 - r), r = 1 - drop/pressure, k = 1.4: near 1 - 0.54 drop/pressure. A
    negative drop is read as the same drop the right way round.

    Source
    ------
    Isentropic flow from rest (any gas-dynamics text); as ISO 5167-3 with beta = 0.

    Examples
    --------
    >>> round(float(inlet_expansibility(500.0, 1e5)), 5)
    0.99732
    """
    with np.errstate(all="ignore"):
        ratio = np.divide(drop, pressure)
        return within(pressure > 0.0, nozzle_expansibility(1.0 - np.abs(ratio)))


@si("m^3/s", drop="Pa", density="kg/m^3", pressure="Pa", diameter="m", coefficient="1", expansion="1")
def inlet_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    diameter: Floats,
    coefficient: Floats,
    expansion: Floats = 1.0,
) -> Floats:
    """Volumetric flow of the still air that a conical or bell-mouthed inlet draws in.

    Parameters
    ----------
    drop : float or array
        Pressure of the still air less the static pressure at the tapping in the throat or the duct behind it. [Pa]
    density : float or array, broadcast with the others
        Density of the still air. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure of the still air. [Pa]
    diameter : float or array, broadcast with the others
        Inside diameter at the tapping. [m]
    coefficient : float or array, broadcast with the others
        Flow coefficient of this inlet with this tapping. [1]
    expansion : float or array, broadcast with the others
        Share of the expansion that the coefficient does not hold: 1 where it was worked out with an expansibility, 0
        where it is a compound one. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the state of the still air, signed as ``drop``. NaN for a density, pressure or diameter not above
        0, a coefficient below 0, and where the throat would be sonic. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C [1 - s (1 - Y)] (pi d^2/4) sqrt(2 dp/rho), Y from `inlet_expansibility`, s the ``expansion``; the mass flow is
    C Y A sqrt(2 dp rho). With C = 1 it is what a pitot tube in the throat would find. What C is: no source seen gives
    a value for either shape; it comes from a calibration, or from a document that the user has.

    Source
    ------
    Energy of isentropic flow from rest, and continuity; form of the inlet methods of ISO 5801 (from memory).

    Examples
    --------
    >>> round(float(inlet_flow(85.0, 1.2, 101325.0, 0.2, 0.97)), 5)
    0.36254
    """
    with np.errstate(all="ignore"):
        velocity = np.copysign(np.sqrt(np.divide(2.0 * np.abs(drop), density)), drop)
        held = 1.0 - expansion * (1.0 - inlet_expansibility(drop, pressure))
        meaningful = (density > 0.0) & (pressure > 0.0) & (diameter > 0.0) & (coefficient >= 0.0)
        return within(meaningful, coefficient * held * (0.25 * np.pi) * np.square(diameter) * velocity)
