"""What leaks between a unit and its meter, and the flow of the unit by mass balance."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within


@si("m^3/s", drop="Pa", reference_flow="m^3/s", exponent="1", reference_drop="Pa")
def leakage_flow(drop: Floats, reference_flow: Floats, exponent: Floats, reference_drop: Floats = 1.0) -> Floats:
    """Flow through the leaks of a chamber by the power law of its leak test.

    Parameters
    ----------
    drop : float or array
        Gauge pressure of the chamber, below 0 under suction. [Pa]
    reference_flow : float or array, broadcast with the others
        Leakage at the reference drop; at 1 Pa it is the coefficient C of q = C dp^n as a number. [m^3/s]
    exponent : float or array, broadcast with the others
        Exponent n of the power law: 0.5 for holes, 1 for a felt or a long narrow gap. [1]
    reference_drop : float or array, broadcast with the others
        Drop at which the leakage is the reference flow. [Pa]

    Returns
    -------
    leak : shape of the broadcast inputs
        Signed as ``drop``: above 0 where air leaks out of the chamber, exactly 0 without a drop. NaN for an exponent or
        a reference drop not above 0, and for a reference flow below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C dp^n, C = q_ref/dp_ref^n. Leak tests give exponents from 0.5 to 1 (from memory); one outside, by scatter, is
    taken as it is. The errors of C and n are strongly correlated: carry them together.

    Source
    ------
    ISO 9972 and ASTM E779, power law of air leakage (from memory).

    Examples
    --------
    >>> round(float(leakage_flow(-50.0, 0.01, 0.65, 25.0)), 6)
    -0.015692
    """
    with np.errstate(all="ignore"):
        size = np.power(np.abs(drop) / np.asarray(reference_drop, dtype=float), exponent)
        valid = (exponent > 0.0) & (reference_drop > 0.0) & (reference_flow >= 0.0)
        return within(valid, np.copysign(reference_flow * size, drop))


@si(
    "m^3/s",
    meter_flow="m^3/s",
    leak="m^3/s",
    meter_side="1",
    meter_density="kg/m^3",
    chamber_density="kg/m^3",
    room_density="kg/m^3",
    unit_density="kg/m^3",
)
def unit_flow(
    meter_flow: Floats,
    leak: Floats,
    meter_side: Floats,
    meter_density: Floats,
    chamber_density: Floats,
    room_density: Floats,
    unit_density: Floats,
) -> Floats:
    """Flow through a unit from that through its meter and the leakage of the chamber between them.

    Parameters
    ----------
    meter_flow : float or array
        Flow through the meter, positive in the sense in which air goes from one to the other. [m^3/s]
    leak : float or array, broadcast with the others
        Leakage of what lies between meter and unit, above 0 out of it and below 0 into it, as `leakage_flow` gives it,
        at the density of the air that leaks. Leave out (0) what the calibration of the meter covered. [m^3/s]
    meter_side : float or array, broadcast with the others
        1 for a meter downstream of the unit, -1 for one upstream. [1]
    meter_density : float or array, broadcast with the others
        Density at which the flow of the meter is stated. [kg/m^3]
    chamber_density : float or array, broadcast with the others
        Density in the chamber: of the air that leaks out. [kg/m^3]
    room_density : float or array, broadcast with the others
        Density outside the chamber: of the air that leaks in. [kg/m^3]
    unit_density : float or array, broadcast with the others
        Density at which the flow of the unit is wanted. [kg/m^3]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the density of the unit. NaN for a side that is neither 1 nor -1 and for a density not above 0.
        [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    rho_unit q_unit = rho_meter q_meter + side rho_leak q_leak. Meter downstream: air that leaks out passed the unit and
    misses the meter, and is added; air that leaks in is subtracted. Meter upstream: the other way round.

    Source
    ------
    Conservation of mass in steady flow.

    Examples
    --------
    >>> round(float(unit_flow(0.20, 0.01, 1.0, 1.2, 1.2, 1.2, 1.2)), 4)
    0.21
    >>> round(float(unit_flow(0.20, 0.01, -1.0, 1.2, 1.2, 1.2, 1.2)), 4)
    0.19
    """
    with np.errstate(all="ignore"):
        leaking = leak * np.where(np.greater(leak, 0.0), chamber_density, room_density)
        total = meter_flow * np.asarray(meter_density, dtype=float) + meter_side * leaking
        dense = (meter_density > 0.0) & (chamber_density > 0.0) & (room_density > 0.0) & (unit_density > 0.0)
        return within(dense & (np.abs(meter_side) == 1.0), total / unit_density)


@si("m^3/s", rate="Pa/s", volume="m^3", pressure="Pa", compression="1")
def decay_flow(rate: Floats, volume: Floats, pressure: Floats, compression: Floats = 1.2) -> Floats:
    """Flow through the leaks of a sealed chamber whose pressure falls by itself.

    Parameters
    ----------
    rate : float or array
        How fast the pressure changes, of either sign. [Pa/s]
    volume : float or array, broadcast with the others
        Volume of the chamber, free of what stands in it. [m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure in it. [Pa]
    compression : float or array, broadcast with the others
        Exponent m of the change of state: 1 where the walls keep the air at their temperature (slow), 1.4 where they do
        not (fast). [1]

    Returns
    -------
    leak : shape of the broadcast inputs
        Volume flow at the density in the chamber, never below 0. NaN for a volume or a pressure not above 0, and for a
        compression outside 1 to 1.4. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Q = V/(m p) |dp/dt|, from p/rho^m constant and the mass that is left. Air that warms by 0.1 K in a closed box raises
    the pressure by p/3000, 34 Pa: the temperature decides what such a test is worth.

    Source
    ------
    Conservation of mass and the polytropic change of state of an ideal gas; any textbook of thermodynamics.

    Examples
    --------
    >>> round(float(decay_flow(-20.0, 1.5, 101325.0, 1.2)), 9)
    0.000246731
    """
    with np.errstate(all="ignore"):
        valid = (np.asarray(volume) > 0.0) & (np.asarray(pressure) > 0.0)
        valid = valid & (np.asarray(compression) >= 1.0) & (np.asarray(compression) <= 1.4)
        return within(valid, np.abs(rate) * volume / (np.asarray(compression, dtype=float) * pressure))
