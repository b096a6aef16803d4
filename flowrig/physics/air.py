"""Air: how dense, how viscous; the standard atmosphere; and, passed on from `humidity`, how moist.

Humidity is carried as the mole fraction of water vapour, whichever way it was measured.
"""

from __future__ import annotations

import numpy as np

from flowrig.physics.humidity import (
    BULB_MARGIN,
    FRACTION_MARGIN,
    KELVIN,
    MOLAR_MASS_AIR,
    MOLAR_MASS_WATER,
    enhancement_factor,
    ice_vapour_pressure,
    meaningful,
    relative_humidity,
    saturation_vapour_pressure,
    vapour_fraction_from_dew_point,
    vapour_fraction_from_humidity,
    vapour_fraction_from_wet_bulb,
)
from flowrig.physics.si import Floats, si, within

__all__ = [
    "enhancement_factor",
    "fan_standard_density",
    "fan_standard_vapour_pressure",
    "ice_vapour_pressure",
    "moist_air_density",
    "relative_humidity",
    "saturation_vapour_pressure",
    "standard_pressure",
    "sutherland_viscosity",
    "temperature_rise",
    "vapour_fraction_from_dew_point",
    "vapour_fraction_from_humidity",
    "vapour_fraction_from_wet_bulb",
    "viscosity",
]

_GAS_CONSTANT = 8.314472  # CODATA 2006, as CIPM-2007 has it


@si("kg/m^3", temperature="K", pressure="Pa", vapour_fraction="1", co2_fraction="1")
def moist_air_density(
    temperature: Floats, pressure: Floats, vapour_fraction: Floats, co2_fraction: Floats = 400e-6
) -> Floats:
    """Density of moist air.

    Parameters
    ----------
    temperature : float or array
        Temperature. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure. [Pa]
    vapour_fraction : float or array, broadcast with the others
        Mole fraction of water vapour. [1]
    co2_fraction : float or array, broadcast with the others
        Mole fraction of carbon dioxide. [1]

    Returns
    -------
    density : shape of the broadcast inputs
        NaN outside 223.15-373.15 K, for no pressure, or a fraction outside 0 to 1. [kg/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    rho = p M_a/(Z R T) [1 - x_v (1 - M_v/M_a)]. Range of the source 60-110 kPa, 15-27 °C; standard uncertainty of the
    equation 22e-6 (all from memory). From 0 to 45 °C and 70 to 105 kPa it lies 30e-6 to 62e-6 below a reference
    mixture model.

    Source
    ------
    Picard, Davis, Glaser, Fujii, Metrologia 45 (2008) 149-155 (CIPM-2007), eqs 1-4 and appendix A1.

    Examples
    --------
    >>> round(float(moist_air_density(293.15, 101325.0, 0.0115893401)), 5)
    1.19931
    """
    celsius, vapour = temperature - KELVIN, vapour_fraction
    molar_mass = MOLAR_MASS_AIR + 12.011e-3 * (co2_fraction - 400e-6)
    with np.errstate(all="ignore"):
        ratio = np.divide(pressure, temperature)
        dry = 1.58123e-6 + celsius * (-2.9331e-8 + 1.1043e-10 * celsius)
        moist = vapour * (5.707e-6 - 2.051e-8 * celsius + vapour * (1.9898e-4 - 2.376e-6 * celsius))
        compressibility = 1.0 - ratio * (dry + moist - ratio * (1.83e-11 - 0.765e-8 * vapour * vapour))
        density = ratio / (compressibility * _GAS_CONSTANT) * (molar_mass - vapour * (molar_mass - MOLAR_MASS_WATER))
    fractions = (vapour >= -FRACTION_MARGIN) & (vapour <= 1.0) & (co2_fraction >= 0.0) & (co2_fraction <= 1.0)
    return within(meaningful(temperature) & (pressure > 0.0) & fractions, density)


@si("Pa", wet_bulb="K", temperature="K", pressure="Pa")
def fan_standard_vapour_pressure(wet_bulb: Floats, temperature: Floats, pressure: Floats) -> Floats:
    """Vapour pressure by the short form of the fan test standard.

    Parameters
    ----------
    wet_bulb : float or array
        Wet-bulb temperature. [K]
    temperature : float or array, broadcast with the others
        Dry-bulb temperature. [K]
    pressure : float or array, broadcast with the others
        Barometric pressure. [Pa]

    Returns
    -------
    vapour_pressure : shape of the broadcast inputs
        NaN for a wet bulb more than 3 K above the dry bulb or outside 4-32 °C (half a kelvin of error bar aside), where
        the quadratic is no fit, or clearly below 0. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    p_e = 3.25 t_w^2 + 18.6 t_w + 692; p_p = p_e - p_b (t_d - t_w)/1500. About 2 % low at 10 °C and 1 % high at 22 °C.

    Source
    ------
    ANSI/AMCA 210 (ANSI/ASHRAE 51), SI form, from memory; edition not to hand.

    Examples
    --------
    >>> round(float(fan_standard_vapour_pressure(288.15, 293.15, 101325.0)), 2)
    1364.5
    """
    wet = wet_bulb - KELVIN
    vapour_pressure = (3.25 * wet + 18.6) * wet + 692.0 - pressure * (temperature - wet_bulb) / 1500.0
    fitted = np.abs(wet - 18.0) <= 14.5
    bulbs = (wet_bulb <= temperature + BULB_MARGIN) & meaningful(temperature)
    return within(fitted & bulbs & (pressure > 0.0) & (vapour_pressure >= -FRACTION_MARGIN * pressure), vapour_pressure)


@si("kg/m^3", temperature="K", pressure="Pa", vapour_pressure="Pa")
def fan_standard_density(temperature: Floats, pressure: Floats, vapour_pressure: Floats) -> Floats:
    """Density of moist air by the short form of the fan test standard.

    Parameters
    ----------
    temperature : float or array
        Dry-bulb temperature. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure. [Pa]
    vapour_pressure : float or array, broadcast with the others
        Partial pressure of water vapour. [Pa]

    Returns
    -------
    density : shape of the broadcast inputs
        NaN outside 223.15-373.15 K or for a vapour pressure below 0 or above the pressure. [kg/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    rho = (p_b - 0.378 p_p)/(287.1 T). Some 0.04-0.07 % below the density of `moist_air_density`.

    Source
    ------
    ANSI/AMCA 210 (ANSI/ASHRAE 51), SI form, from memory; edition not to hand.

    Examples
    --------
    >>> round(float(fan_standard_density(293.15, 101325.0, 1364.5)), 5)
    1.19778
    """
    moisture = (vapour_pressure >= -FRACTION_MARGIN * pressure) & (vapour_pressure <= pressure)
    valid = meaningful(temperature) & (pressure > 0.0) & moisture
    with np.errstate(all="ignore"):
        return within(valid, np.divide(pressure - 0.378 * vapour_pressure, 287.1 * temperature))


@si("Pa*s", temperature="K")
def viscosity(temperature: Floats) -> Floats:
    """Dynamic viscosity of air, linear in temperature.

    Parameters
    ----------
    temperature : float or array
        Temperature. [K]

    Returns
    -------
    viscosity : shape of the input
        NaN outside 223.15-373.15 K. [Pa*s]

    Raises
    ------
    Nothing.

    Notes
    -----
    mu = (17.23 + 0.048 t) 1e-6, t in °C. Humidity is left out: at 50 % humidity the true value is 0.3 % lower at 20 °C
    and 1.6 % lower at 45 °C.

    Source
    ------
    ANSI/AMCA 210 and ISO 5801 (form read in a public reprint; clause not to hand).

    Examples
    --------
    >>> round(float(viscosity(293.15)) * 1e6, 3)
    18.19
    """
    return within(meaningful(temperature), (17.23 + 0.048 * (temperature - KELVIN)) * 1e-6)


@si("Pa*s", temperature="K")
def sutherland_viscosity(temperature: Floats) -> Floats:
    """Dynamic viscosity of dry air by Sutherland's law.

    Parameters
    ----------
    temperature : float or array
        Temperature. [K]

    Returns
    -------
    viscosity : shape of the input
        NaN outside 223.15-373.15 K. [Pa*s]

    Raises
    ------
    Nothing.

    Notes
    -----
    mu = 1.458e-6 T^1.5/(T + 110.4); about 0.3-0.4 % below reference data at room temperature.

    Source
    ------
    U.S. Standard Atmosphere, 1976, section 1.3, eq. 51.

    Examples
    --------
    >>> round(float(sutherland_viscosity(293.15)) * 1e6, 3)
    18.134
    """
    with np.errstate(all="ignore"):
        return within(meaningful(temperature), 1.458e-6 * temperature * np.sqrt(temperature) / (temperature + 110.4))


@si("Pa", altitude="m")
def standard_pressure(altitude: Floats) -> Floats:
    """Pressure of the standard atmosphere: a last resort where no barometer is to hand.

    Parameters
    ----------
    altitude : float or array
        Geopotential altitude above sea level; the geometric one differs by 0.02 % at 1000 m. [m]

    Returns
    -------
    pressure : shape of the input
        NaN below -5000 m and above 11 000 m, the top of the layer. [Pa]

    Raises
    ------
    Nothing.

    Notes
    -----
    p = 101325 (1 - 0.0065 h/288.15)^(g M/(R L)). Weather moves the true pressure by a few per cent.

    Source
    ------
    U.S. Standard Atmosphere, 1976, eq. 33a, the same as the ICAO standard atmosphere, Doc 7488 (from memory).

    Examples
    --------
    >>> round(float(standard_pressure(1500.0)))
    84556
    """
    exponent = 9.80665 * 28.9644e-3 / (8.31432 * 0.0065)
    with np.errstate(all="ignore"):
        pressure = 101325.0 * np.power(1.0 - 0.0065 / 288.15 * altitude, exponent)
    return within((altitude >= -5000.0) & (altitude <= 11000.0), pressure)


@si("K", power="W", mass_flow="kg/s")
def temperature_rise(power: Floats, mass_flow: Floats) -> Floats:
    """Largest rise of temperature over a fan that puts all its power into the air.

    Parameters
    ----------
    power : float or array
        Electrical power drawn. [W]
    mass_flow : float or array, broadcast with ``power``
        Mass flow of air over the fan. [kg/s]

    Returns
    -------
    rise : shape of the broadcast inputs
        An upper bound. NaN for no flow or a negative one, or for negative power. [K]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dT = P/(m c_p), c_p = 1006 J/(kg K). Whatever heat leaves by the casing or the motor outside the stream lowers it.

    Source
    ------
    First law for steady flow; c_p of dry air, common practice, no source.

    Examples
    --------
    >>> round(float(temperature_rise(60.0, 0.2)), 3)
    0.298
    """
    with np.errstate(all="ignore"):
        return within((mass_flow > 0.0) & (power >= 0.0), np.divide(power, mass_flow * 1006.0))
