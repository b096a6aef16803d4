"""From what a hand-held probe shows to the velocity of the air."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within

_KAPPA = 1.4  # ratio of specific heats of air
_LARGEST_RATIO = 0.2  # of drop to pressure; the series is 0.052 % off there


@si("m/s", drop="Pa", density="kg/m^3", pressure="Pa", coefficient="1")
def pitot_velocity(drop: Floats, density: Floats, pressure: Floats, coefficient: Floats = 1.0) -> Floats:
    """Velocity from the pressure difference of a pitot-static tube, compressibility included.

    Parameters
    ----------
    drop : float or array
        Total less static pressure. [Pa]
    density : float or array, broadcast with the others
        Density of the air at its static pressure. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute static pressure. [Pa]
    coefficient : float or array, broadcast with the others
        Multiplies the velocity. [1]

    Returns
    -------
    velocity : shape of the broadcast inputs
        Signed as ``drop``, so that noise round zero stays unbiased. NaN for no density or pressure, or a drop above a
        fifth of the pressure. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    v^2 = (2 dp/rho) [1 - x/(2 k) + (k + 1) x^2/(6 k^2)], x = dp/p, k = 1.4: the isentropic relation to second order.
    High by under 1 part in 10^6 of velocity at 60 m/s, by 67 at x = 0.1, by 516 at x = 0.2. The sign of a negative
    reading says that the probe faced away from the flow; its size is then only a guess.

    Source
    ------
    Isentropic flow (any gas-dynamics text), expanded here; ISO 3966 has a like factor (clause not to hand).

    Examples
    --------
    >>> round(float(pitot_velocity(60.0, 1.2, 101325.0)), 4)
    9.9989
    """
    with np.errstate(all="ignore"):
        ratio = np.abs(drop) / pressure
        squeezed = 1.0 - ratio * (1.0 / (2.0 * _KAPPA) - (_KAPPA + 1.0) / (6.0 * _KAPPA**2) * ratio)
        speed = coefficient * np.copysign(np.sqrt(2.0 * np.abs(drop) / density * squeezed), drop)
    return within((density > 0.0) & (pressure > 0.0) & (ratio <= _LARGEST_RATIO), speed)


@si("m/s", indicated="m/s", density="kg/m^3", reference_density="kg/m^3")
def thermal_velocity(indicated: Floats, density: Floats, reference_density: Floats) -> Floats:
    """Velocity from a thermal anemometer, which feels the mass flow past it.

    Parameters
    ----------
    indicated : float or array
        Velocity shown. [m/s]
    density : float or array, broadcast with the others
        Density of the air at the probe. [kg/m^3]
    reference_density : float or array, broadcast with the others
        Density for which the scale was made, usually that of the certificate. [kg/m^3]

    Returns
    -------
    velocity : shape of the broadcast inputs
        NaN where a density is not above 0. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    v = v_i rho_ref/rho. Not for an instrument that already corrects by its own barometer.

    Source
    ------
    Common practice, no source; it follows from the heat loss of the sensor being a function of rho v.

    Examples
    --------
    >>> round(float(thermal_velocity(2.0, 1.0, 1.2)), 3)
    2.4
    """
    with np.errstate(all="ignore"):
        return within((density > 0.0) & (reference_density > 0.0), np.divide(indicated * reference_density, density))


@si("m/s", indicated="m/s", density="kg/m^3", set_density="kg/m^3")
def pitot_display_velocity(indicated: Floats, density: Floats, set_density: Floats) -> Floats:
    """Velocity from a manometer that turned its pressure into a velocity at a density of its own.

    Parameters
    ----------
    indicated : float or array
        Velocity shown. [m/s]
    density : float or array, broadcast with the others
        Density of the air at the probe. [kg/m^3]
    set_density : float or array, broadcast with the others
        Density the instrument worked with. [kg/m^3]

    Returns
    -------
    velocity : shape of the broadcast inputs
        NaN where a density is not above 0. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    v = v_i sqrt(rho_set/rho), since dp = rho_set v_i^2/2 is what was felt. Compressibility is left as displayed.

    Source
    ------
    Bernoulli's equation, taken twice.

    Examples
    --------
    >>> round(float(pitot_display_velocity(10.0, 1.0, 1.21)), 3)
    11.0
    """
    with np.errstate(all="ignore"):
        return within((density > 0.0) & (set_density > 0.0), indicated * np.sqrt(np.divide(set_density, density)))


@si("1", angle="rad")
def yaw_overreading(angle: Floats) -> Floats:
    """Share by which a flow at an angle to the duct is overstated if a probe turned into it is read as axial.

    Parameters
    ----------
    angle : float or array
        Angle between the flow and the axis of the duct. [rad]

    Returns
    -------
    share : shape of the input
        NaN at a right angle and beyond. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    1/cos(angle) - 1: 0.4 % at 5 degrees, 1.5 % at 10 degrees.

    Source
    ------
    Geometry.

    Examples
    --------
    >>> round(100.0 * float(yaw_overreading(0.17453)), 2)
    1.54
    """
    with np.errstate(all="ignore"):
        return within(np.abs(angle) < np.pi / 2.0, 1.0 / np.cos(angle) - 1.0)
