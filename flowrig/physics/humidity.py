"""Moisture: vapour pressure, and the mole fraction of water vapour from whatever was measured."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, Truth, si, within

KELVIN = 273.15
# Wider than any source promises (each docstring gives the range); further out a unit or a sensor is wrong.
_COLDEST, _HOTTEST = 223.15, 373.15
# An error bar near saturation or dryness reaches past it. The equations are smooth there and are continued so far that
# its draws keep a value (dropping them would bias the answer); further out it is a wrong reading.
HUMIDITY_MARGIN = 0.25
BULB_MARGIN = 3.0  # K
FRACTION_MARGIN = 0.02
MOLAR_MASS_AIR = 28.96546e-3  # dry, at 400 ppm of CO2; CIPM-2007
MOLAR_MASS_WATER = 18.01528e-3  # CIPM-2007


def meaningful(temperature: Floats) -> Truth:
    """Where the temperature [K] is one that these equations may be asked about."""
    return (temperature >= _COLDEST) & (temperature <= _HOTTEST)


@si("Pa", temperature="K")
def saturation_vapour_pressure(temperature: Floats) -> Floats:
    """Saturation vapour pressure over liquid water, without the enhancement by the air above it.

    Parameters
    ----------
    temperature : float or array
        Temperature of the water surface. [K]

    Returns
    -------
    pressure : shape of the input
        NaN below 223.15 K and above 373.15 K. [Pa]

    Raises
    ------
    Nothing.

    Notes
    -----
    p = 1 Pa exp(A T^2 + B T + C + D / T). Made for 15-27 °C; against the IAPWS-95 formulation within 0.008 % from 0 to
    60 °C, 0.034 % low at 100 °C. Below 0 °C it means supercooled water.

    Source
    ------
    Picard, Davis, Glaser, Fujii, Metrologia 45 (2008) 149-155 (CIPM-2007), appendix A1.1.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure(293.15)), 2)
    2339.16
    """
    with np.errstate(all="ignore"):
        exponent = (1.2378847e-5 * temperature - 1.9121316e-2) * temperature + 33.93711047
        exponent = exponent - np.divide(6.3431645e3, temperature)
        return within(meaningful(temperature), np.exp(exponent))


@si("Pa", temperature="K")
def ice_vapour_pressure(temperature: Floats) -> Floats:
    """Saturation vapour pressure over ice, without the enhancement by the air above it.

    Parameters
    ----------
    temperature : float or array
        Temperature of the ice surface. [K]

    Returns
    -------
    pressure : shape of the input
        NaN below 223.15 K and above the triple point, 273.16 K. [Pa]

    Raises
    ------
    Nothing.

    Notes
    -----
    ln(p/p_t) = (T_t/T) sum a_i (T/T_t)^b_i, i = 1..3. The source holds down to 50 K.

    Source
    ------
    IAPWS R14-08(2011), eq. 6 (constants from memory; they give the release's check value and the ASHRAE table).

    Examples
    --------
    >>> round(float(ice_vapour_pressure(253.15)), 2)
    103.24
    """
    with np.errstate(all="ignore"):
        ratio = np.asarray(temperature) / 273.16
        terms = (
            -21.2144006 * ratio**0.333333333e-2 + 27.3203819 * ratio**0.120666667e1 - 6.10598130 * ratio**0.170333333e1
        )
        return within((temperature >= _COLDEST) & (ratio <= 1.0), 611.657 * np.exp(terms / ratio))


@si("1", pressure="Pa", temperature="K")
def enhancement_factor(pressure: Floats, temperature: Floats) -> Floats:
    """How much more vapour saturates moist air than saturates the empty space above water.

    Parameters
    ----------
    pressure : float or array
        Absolute pressure. [Pa]
    temperature : float or array, broadcast with ``pressure``
        Temperature. [K]

    Returns
    -------
    factor : shape of the broadcast inputs
        About 1.004 near the ground. NaN for no pressure, or outside 223.15-373.15 K. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    f = alpha + beta p + gamma t^2, t in °C. Range of the source: 60-110 kPa, 15-27 °C (from memory).

    Source
    ------
    Picard et al., Metrologia 45 (2008) 149-155 (CIPM-2007), appendix A1.2.

    Examples
    --------
    >>> round(float(enhancement_factor(101325.0, 293.15)), 6)
    1.004026
    """
    celsius = temperature - KELVIN
    factor = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius * celsius
    return within(meaningful(temperature) & (pressure > 0.0), factor)


@si("1", relative_humidity="1", temperature="K", pressure="Pa")
def vapour_fraction_from_humidity(relative_humidity: Floats, temperature: Floats, pressure: Floats) -> Floats:
    """Mole fraction of water vapour from relative humidity.

    Parameters
    ----------
    relative_humidity : float or array
        Relative humidity as a fraction, over liquid water. [1]
    temperature : float or array, broadcast with the others
        Temperature of the air. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure. [Pa]

    Returns
    -------
    fraction : shape of the broadcast inputs
        NaN for a humidity more than 0.25 below 0 or above 1, or where water would boil. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    x_v = h f(p, t) p_sv(t) / p.

    Source
    ------
    Picard et al., Metrologia 45 (2008) 149-155 (CIPM-2007), appendix A1.

    Examples
    --------
    >>> round(float(vapour_fraction_from_humidity(0.5, 293.15, 101325.0)), 7)
    0.0115893
    """
    with np.errstate(all="ignore"):
        saturated = enhancement_factor(pressure, temperature) * saturation_vapour_pressure(temperature) / pressure
    valid = (np.abs(relative_humidity - 0.5) <= 0.5 + HUMIDITY_MARGIN) & (saturated < 1.0)
    return within(valid, relative_humidity * saturated)


@si("1", dew_point="K", temperature="K", pressure="Pa")
def vapour_fraction_from_dew_point(dew_point: Floats, temperature: Floats, pressure: Floats) -> Floats:
    """Mole fraction of water vapour from the dew point.

    Parameters
    ----------
    dew_point : float or array
        Dew point over liquid water, also below 0 °C; not a frost point. [K]
    temperature : float or array, broadcast with the others
        Temperature of the air. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure at which the dew point was taken. [Pa]

    Returns
    -------
    fraction : shape of the broadcast inputs
        NaN for a dew point more than 3 K above the temperature. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    x_v = f(p, t_d) p_sv(t_d) / p.

    Source
    ------
    Picard et al., Metrologia 45 (2008) 149-155 (CIPM-2007), appendix A1.

    Examples
    --------
    >>> round(float(vapour_fraction_from_dew_point(283.15, 293.15, 101325.0)), 6)
    0.012167
    """
    saturated = vapour_fraction_from_humidity(1.0, dew_point, pressure)
    return within((dew_point <= temperature + BULB_MARGIN) & meaningful(temperature), saturated)


@si("1", wet_bulb="K", temperature="K", pressure="Pa")
def vapour_fraction_from_wet_bulb(wet_bulb: Floats, temperature: Floats, pressure: Floats) -> Floats:
    """Mole fraction of water vapour from the wet-bulb temperature.

    Parameters
    ----------
    wet_bulb : float or array
        Thermodynamic wet-bulb temperature; that of a sling or aspirated psychrometer is taken for it. [K]
    temperature : float or array, broadcast with the others
        Dry-bulb temperature. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure. [Pa]

    Returns
    -------
    fraction : shape of the broadcast inputs
        NaN for a wet bulb more than 3 K above the dry bulb, or so far below it that clearly less than no vapour
        would be left. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    W = [(2501 - 2.326 t*) W_s* - 1.006 (t - t*)] / (2501 + 1.86 t - 4.186 t*) over water; below 0 °C on the wet bulb
    W = [(2830 - 0.24 t*) W_s* - 1.006 (t - t*)] / (2830 + 1.86 t - 2.1 t*) over ice. W_s* = e x_s/(1 - x_s) with
    x_s = f p_s/p, p_s the CIPM-2007 pressure over water or the IAPWS pressure over ice, f from CIPM-2007, and
    e = 18.01528/28.96546. A wick still liquid below 0 °C is misread by this equation, and the two branches do not meet
    at 0 °C.

    Source
    ------
    ASHRAE Handbook, Fundamentals, 2017, chapter 1, eqs 33 and 35; vapour pressures as named in Notes.

    Examples
    --------
    >>> round(float(vapour_fraction_from_wet_bulb(288.15, 293.15, 101325.0)), 6)
    0.013669
    """
    dry, wet = temperature - KELVIN, wet_bulb - KELVIN
    frozen = wet < 0.0
    surface = np.where(frozen, ice_vapour_pressure(wet_bulb), saturation_vapour_pressure(wet_bulb))
    latent = np.where(frozen, 2830.0 - 0.24 * wet, 2501.0 - 2.326 * wet)
    divisor = np.where(frozen, 2830.0 + 1.86 * dry - 2.1 * wet, 2501.0 + 1.86 * dry - 4.186 * wet)
    epsilon = MOLAR_MASS_WATER / MOLAR_MASS_AIR
    with np.errstate(all="ignore"):
        saturated = enhancement_factor(pressure, wet_bulb) * surface / pressure
        ratio = (latent * epsilon * saturated / (1.0 - saturated) - 1.006 * (dry - wet)) / divisor
        bulbs = (wet_bulb <= temperature + BULB_MARGIN) & meaningful(temperature)
        valid = bulbs & (saturated < 1.0) & (ratio >= -FRACTION_MARGIN)
        return within(valid, ratio / (epsilon + ratio))


@si("1", vapour_fraction="1", temperature="K", pressure="Pa")
def relative_humidity(vapour_fraction: Floats, temperature: Floats, pressure: Floats) -> Floats:
    """Relative humidity over liquid water from the mole fraction of vapour.

    Parameters
    ----------
    vapour_fraction : float or array
        Mole fraction of water vapour. [1]
    temperature : float or array, broadcast with the others
        Temperature of the air. [K]
    pressure : float or array, broadcast with the others
        Absolute pressure. [Pa]

    Returns
    -------
    humidity : shape of the broadcast inputs
        A fraction. Above 1 where such air would shed water: kept, since that is worth a flag. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    h = x_v p / (f p_sv).

    Source
    ------
    Picard et al., Metrologia 45 (2008) 149-155 (CIPM-2007), appendix A1.

    Examples
    --------
    >>> round(float(relative_humidity(0.0115893401, 293.15, 101325.0)), 6)
    0.5
    """
    saturated = vapour_fraction_from_humidity(1.0, temperature, pressure)
    return within((vapour_fraction >= -FRACTION_MARGIN) & (vapour_fraction <= 1.0), vapour_fraction / saturated)
