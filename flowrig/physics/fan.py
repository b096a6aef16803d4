"""Fan laws: one point of a fan's curve at another speed and in other air."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, Truth, si, within


@si("m^3/s", flow="m^3/s", speed_ratio="1")
def fan_flow_at_speed(flow: Floats, speed_ratio: Floats) -> Floats:
    """Flow of the same point of a fan's curve at another speed.

    Parameters
    ----------
    flow : float or array
        Flow at the first speed. [m^3/s]
    speed_ratio : float or array, broadcast with ``flow``
        Other speed over the first. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        NaN for a ratio not above 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q ~ n. The same point of the curve is not the same system: what a bank passes at another speed is where its own
    resistance meets the curve that was brought there.

    Source
    ------
    Fan laws, as in ISO 5801 and AMCA 210 (from memory).

    Examples
    --------
    >>> round(float(fan_flow_at_speed(1.0, 0.8)), 6)
    0.8
    """
    with np.errstate(all="ignore"):
        return within(np.greater(speed_ratio, 0.0), flow * np.asarray(speed_ratio, dtype=float))


@si("Pa", pressure="Pa", speed_ratio="1", density="kg/m^3", other_density="kg/m^3")
def fan_pressure_at_speed(pressure: Floats, speed_ratio: Floats, density: Floats, other_density: Floats) -> Floats:
    """Pressure of the same point of a fan's curve at another speed and in other air.

    Parameters
    ----------
    pressure : float or array
        Static pressure at the first speed, in the first air. [Pa]
    speed_ratio : float or array, broadcast with the others
        Other speed over the first. [1]
    density : float or array, broadcast with the others
        Density of the first air. [kg/m^3]
    other_density : float or array, broadcast with the others
        Density of the other air. [kg/m^3]

    Returns
    -------
    pressure : shape of the broadcast inputs
        NaN for a ratio or a density not above 0. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dp ~ rho n^2.

    Source
    ------
    Fan laws, as in ISO 5801 and AMCA 210 (from memory).

    Examples
    --------
    >>> round(float(fan_pressure_at_speed(100.0, 0.8, 1.2, 1.1)), 4)
    58.6667
    """
    with np.errstate(all="ignore"):
        scaled = pressure * np.square(speed_ratio) * np.divide(other_density, density)
        return within(_meaningful(speed_ratio, density, other_density), scaled)


@si("W", power="W", speed_ratio="1", density="kg/m^3", other_density="kg/m^3")
def fan_power_at_speed(power: Floats, speed_ratio: Floats, density: Floats, other_density: Floats) -> Floats:
    """Shaft power of the same point of a fan's curve at another speed and in other air.

    Parameters
    ----------
    power : float or array
        Shaft power at the first speed, in the first air. [W]
    speed_ratio : float or array, broadcast with the others
        Other speed over the first. [1]
    density : float or array, broadcast with the others
        Density of the first air. [kg/m^3]
    other_density : float or array, broadcast with the others
        Density of the other air. [kg/m^3]

    Returns
    -------
    power : shape of the broadcast inputs
        NaN for a ratio or a density not above 0. [W]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    P ~ rho n^3. It holds for the power at the shaft; what a motor draws from the socket has losses that follow no such
    law.

    Source
    ------
    Fan laws, as in ISO 5801 and AMCA 210 (from memory).

    Examples
    --------
    >>> round(float(fan_power_at_speed(100.0, 0.8, 1.2, 1.2)), 4)
    51.2
    """
    with np.errstate(all="ignore"):
        scaled = power * np.power(speed_ratio, 3) * np.divide(other_density, density)
        return within(_meaningful(speed_ratio, density, other_density), scaled)


@si("dB", level="dB", speed_ratio="1", slope="dB")
def fan_level_at_speed(level: Floats, speed_ratio: Floats, slope: Floats = 50.0) -> Floats:
    """Sound level of the same point of a fan's curve at another speed.

    Parameters
    ----------
    level : float or array
        Sound level at the first speed, of pressure or of power. [dB]
    speed_ratio : float or array, broadcast with ``level``
        Other speed over the first. [1]
    slope : float or array, broadcast with ``level``
        By how much the level rises for ten times the speed. [dB]

    Returns
    -------
    level : shape of the broadcast inputs
        NaN for a ratio not above 0. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    L + 50 lg(n_2/n_1). It is for the noise of the blades at one and the same point of the curve: a motor's hum follows
    no such law, and half the speed is half the flow only where the drop goes as its square.

    Source
    ------
    Fan laws, as on public engineering pages.

    Examples
    --------
    >>> round(float(fan_level_at_speed(60.0, 0.8)), 6)
    55.154499
    """
    with np.errstate(all="ignore"):
        return within(np.greater(speed_ratio, 0.0), level + slope * np.log10(speed_ratio))


@si("1", level="dB", other_level="dB", slope="dB")
def fan_speed_at_level(level: Floats, other_level: Floats, slope: Floats = 50.0) -> Floats:
    """Speed at which a fan has another sound level, over that of the first: the inverse of `fan_level_at_speed`.

    Parameters
    ----------
    level : float or array
        Sound level at the first speed, of pressure or of power. [dB]
    other_level : float or array, broadcast with ``level``
        Sound level wanted, of the same. [dB]
    slope : float or array, broadcast with ``level``
        By how much the level rises for ten times the speed. [dB]

    Returns
    -------
    speed_ratio : shape of the broadcast inputs
        NaN for a slope not above 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    10^((L_2 - L_1)/50), for the noise of the blades at one and the same point of the curve.

    Source
    ------
    Fan laws, as on public engineering pages.

    Examples
    --------
    >>> round(float(fan_speed_at_level(64.5, 57.0)), 6)
    0.707946
    """
    with np.errstate(all="ignore"):
        ratio = np.power(10.0, (np.asarray(other_level, dtype=float) - level) / slope)
        return within(np.greater(slope, 0.0), ratio)


def _meaningful(speed_ratio: Floats, density: Floats, other_density: Floats) -> Truth:
    return (np.asarray(speed_ratio) > 0.0) & (np.asarray(density) > 0.0) & (np.asarray(other_density) > 0.0)
