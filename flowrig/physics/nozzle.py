"""Nozzles in the wall of a chamber, as in the fan and air-conditioner test standards."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within

_KAPPA = 1.4  # ratio of specific heats of air
_CHOKED = 1.0 - (2.0 / (_KAPPA + 1.0)) ** (_KAPPA / (_KAPPA - 1.0))  # drop over pressure from which the throat is sonic
_PLATEAU = 0.9986  # coefficient at boundless Reynolds number
_PASSES = 4
_SAME_RATIO = 0.005  # a length of 0.6 diameters measured with a ruler is still that of the equation


def _boundary_layer(length_ratio: Floats) -> tuple[Floats, Floats]:
    """The two constants of C = 0.9986 - first/sqrt(Re) + second/Re."""
    long, short = np.abs(length_ratio - 0.6) < _SAME_RATIO, np.abs(length_ratio - 0.5) < _SAME_RATIO
    return within(long | short, np.where(long, 7.006, 6.688)), within(long | short, np.where(long, 134.6, 131.5))


def _polynomial(root: Floats, first: Floats, second: Floats) -> Floats:
    """Coefficient from root = 1/sqrt(Re)."""
    coefficient = second * root
    coefficient -= first
    coefficient *= root
    coefficient += _PLATEAU
    return coefficient


def _expansibility_squared(ratio: Floats, beta_fourth: Floats) -> Floats:
    """Square of the isentropic expansibility, from drop over pressure rather than pressure over pressure.

    Written with log1p and expm1: near no drop at all the textbook form is a difference of equal numbers.
    """
    small = np.maximum(within((ratio >= 0.0) & (ratio < _CHOKED), ratio), 1e-30)
    logarithm = np.log1p(-small)
    rise = np.expm1((_KAPPA - 1.0) / _KAPPA * logarithm)
    rise *= -_KAPPA / (_KAPPA - 1.0)
    rise /= small
    thinned = np.exp(2.0 / _KAPPA * logarithm)
    squared: Floats = rise * thinned * ((1.0 - beta_fourth) / (1.0 - beta_fourth * thinned))
    return squared


def _throat(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    length_ratio: Floats,
    beta_fourth: Floats,
) -> tuple[Floats, Floats]:
    """Speed in the throat but for the coefficient, and the coefficient at the Reynolds number of the true speed."""
    size = np.abs(drop)
    speed = np.sqrt(2.0 * size / density * _expansibility_squared(size / pressure, beta_fourth))
    first, second = _boundary_layer(length_ratio)
    turning = first / (2.0 * second)
    # With root = 1/sqrt(Re) the equation is C = P(root) and root = bare/sqrt(C), `bare` being root at C = 1. Both grow
    # together up to the turning point of P, so holding `bare` there holds C there.
    bare = np.sqrt(viscosity / (density * diameter * speed))
    bare = np.minimum(bare, turning * np.sqrt(_polynomial(turning, first, second)))
    root = bare
    for _ in range(_PASSES):
        root = bare / np.sqrt(_polynomial(root, first, second))
    return speed, _polynomial(root, first, second)


@si("1", reynolds="1", length_ratio="1")
def nozzle_coefficient(reynolds: Floats, length_ratio: Floats) -> Floats:
    """Discharge coefficient of a chamber nozzle with an elliptical inlet.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the diameter and the velocity of the throat. [1]
    length_ratio : float or array, broadcast with ``reynolds``
        Length of the cylindrical throat over its diameter, 0.5 or 0.6. [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN for a Reynolds number not above 0, or a length ratio that no equation covers (0.005 off either). [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = 0.9986 - 7.006/sqrt(Re) + 134.6/Re at 0.6; C = 0.9986 - 6.688/sqrt(Re) + 131.5/Re at 0.5. Made for Re > 12 000
    (from memory). Below its lowest point, near Re = 1500, the printed equation would climb without bound; it is held
    there (our choice, no source), so that a drop near zero gives a flow near zero.

    Source
    ------
    ISO 5801, ANSI/AMCA 210, ISO 5151:2010 B.1 (0.6 read in a public reprint; 0.5 from memory).

    Examples
    --------
    >>> round(float(nozzle_coefficient(200_000.0, 0.6)), 5)
    0.98361
    """
    first, second = _boundary_layer(length_ratio)
    with np.errstate(all="ignore"):
        root = np.minimum(1.0 / np.sqrt(reynolds), first / (2.0 * second))
    return within(reynolds > 0.0, _polynomial(root, first, second))


@si("1", pressure_ratio="1", beta="1")
def nozzle_expansibility(pressure_ratio: Floats, beta: Floats = 0.0) -> Floats:
    """Expansibility factor of a nozzle, isentropic.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure after the nozzle over that before it. [1]
    beta : float or array, broadcast with ``pressure_ratio``
        Equivalent diameter ratio of throat to approach. [1]

    Returns
    -------
    expansibility : shape of the broadcast inputs
        NaN where the throat would be sonic (ratio below 0.528) and for a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Y^2 = k/(k-1) r^(2/k) [1 - r^((k-1)/k)]/(1 - r) (1 - beta^4)/(1 - beta^4 r^(2/k)), k = 1.4. A ratio above 1 is a
    reversed drop: it is read as the same drop the right way round (2 - r), so that noise round zero gives flows that
    differ in sign only and average to nothing.

    Source
    ------
    ISO 5167-3 and ISO 5801, isentropic expansibility (equation numbers not to hand).

    Examples
    --------
    >>> round(float(nozzle_expansibility(0.99)), 6)
    0.994628
    """
    beta_fourth = np.square(np.square(beta))
    with np.errstate(all="ignore"):
        squared = _expansibility_squared(np.abs(1.0 - pressure_ratio), beta_fourth)
    return within((beta >= 0.0) & (beta < 1.0), np.sqrt(squared))


@si("1", pressure_ratio="1", beta="1")
def nozzle_expansibility_linear(pressure_ratio: Floats, beta: Floats = 0.0) -> Floats:
    """Expansibility factor of a nozzle, the straight line of the fan test standard.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure after the nozzle over that before it. [1]
    beta : float or array, broadcast with ``pressure_ratio``
        Equivalent diameter ratio of throat to approach. [1]

    Returns
    -------
    expansibility : shape of the broadcast inputs
        NaN where the throat would be sonic (ratio below 0.528) and for a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Y = 1 - (0.548 + 0.71 beta^4)(1 - r); a ratio above 1 as in `nozzle_expansibility`. At beta = 0 within 2.6e-4 of
    that one down to r = 0.95, 2.8e-4 at 0.90.

    Source
    ------
    ANSI/AMCA 210 and ISO 5151:2010 B.4 (0.452 + 0.548 r read in a public reprint; 0.71 beta^4 from memory).

    Examples
    --------
    >>> round(float(nozzle_expansibility_linear(0.99)), 5)
    0.99452
    """
    drop_ratio = np.abs(1.0 - pressure_ratio)
    valid = (drop_ratio < _CHOKED) & (beta >= 0.0) & (beta < 1.0)
    return within(valid, 1.0 - (0.548 + 0.71 * np.square(np.square(beta))) * drop_ratio)


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    pressure="Pa",
    viscosity="Pa*s",
    diameter="m",
    length_ratio="1",
    coefficient_factor="1",
    beta="1",
)
def nozzle_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    length_ratio: Floats,
    coefficient_factor: Floats = 1.0,
    beta: Floats = 0.0,
) -> Floats:
    """Volumetric flow through one chamber nozzle; a bank is the sum over its nozzles.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the nozzle. [Pa]
    density : float or array, broadcast with the others
        Density at the nozzle inlet. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure at the nozzle inlet. [Pa]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with the others
        Throat diameter. [m]
    length_ratio : float or array, broadcast with the others
        Length of the throat over its diameter, 0.5 or 0.6. [1]
    coefficient_factor : float or array, broadcast with the others
        Multiplies the discharge coefficient: error of the model, or a calibrated factor. [1]
    beta : float or array, broadcast with the others
        Equivalent diameter ratio of the bank, see `bank_beta`; 0 for a chamber large beside it. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at inlet conditions, signed as ``drop``, exactly 0 without one. NaN where an input has no meaning,
        where the throat would be sonic, or for a length ratio that no equation covers. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C Y (pi d^2/4) sqrt(2 dp/rho)/sqrt(1 - beta^4), with Y from `nozzle_expansibility` and C from
    `nozzle_coefficient` at Re = rho d v/mu, v = C Y sqrt(2 dp/rho). ``coefficient_factor`` and the approach velocity
    are left out of Re. Four passes leave C within 7e-10 of the limit at any Re, 3e-10 above Re = 12 000 (measured).
    Range of use: Re > 12 000, throat above 14 m/s (from memory). A reversed drop runs through a nozzle of another
    shape: its sign is right, its size is a guess.

    Source
    ------
    ISO 5801 and ANSI/AMCA 210, chamber nozzles; ISO 5151:2010 annex B (clauses not to hand).

    Examples
    --------
    >>> round(float(nozzle_flow(250.0, 1.2047, 101825.0, 1.819e-5, 0.15, 0.6)), 5)
    0.35363
    """
    beta_fourth = np.square(np.square(beta))
    with np.errstate(all="ignore"):
        speed, coefficient = _throat(drop, density, pressure, viscosity, diameter, length_ratio, beta_fourth)
        throat = coefficient_factor * (0.25 * np.pi) * diameter * diameter / np.sqrt(1.0 - beta_fourth)
        coefficient *= speed
        flow: Floats = np.copysign(coefficient, drop) * throat
    return flow


@si("1", drop="Pa", density="kg/m^3", pressure="Pa", viscosity="Pa*s", diameter="m", length_ratio="1")
def nozzle_reynolds(
    drop: Floats, density: Floats, pressure: Floats, viscosity: Floats, diameter: Floats, length_ratio: Floats
) -> Floats:
    """Reynolds number of the throat at which `nozzle_flow` takes the coefficient.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the nozzle. [Pa]
    density : float or array, broadcast with the others
        Density at the nozzle inlet. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure at the nozzle inlet. [Pa]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with the others
        Throat diameter. [m]
    length_ratio : float or array, broadcast with the others
        Length of the throat over its diameter, 0.5 or 0.6. [1]

    Returns
    -------
    reynolds : shape of the broadcast inputs
        Never negative; the flow carries the sign. NaN as in `nozzle_flow`. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Re = rho d v/mu with v = C Y sqrt(2 dp/rho), C at that same Re; approach velocity left out.

    Source
    ------
    As `nozzle_flow`.

    Examples
    --------
    >>> round(float(nozzle_reynolds(250.0, 1.2047, 101825.0, 1.819e-5, 0.15, 0.6)), -2)
    198800.0
    """
    with np.errstate(all="ignore"):
        speed, coefficient = _throat(drop, density, pressure, viscosity, diameter, length_ratio, 0.0)
        reynolds: Floats = density * diameter * speed * coefficient / viscosity
    return reynolds


@si("m/s", flow="m^3/s", diameter="m")
def nozzle_throat_velocity(flow: Floats, diameter: Floats) -> Floats:
    """Mean velocity in the throat, for the window of velocities that a standard allows.

    Parameters
    ----------
    flow : float or array
        Volumetric flow through the nozzle at inlet conditions. [m^3/s]
    diameter : float or array, broadcast with ``flow``
        Throat diameter. [m]

    Returns
    -------
    velocity : shape of the broadcast inputs
        Signed as ``flow``. NaN for a diameter not above 0. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    v = 4 q/(pi d^2). Windows differ: above 14 m/s, or 15-35 m/s (from memory).

    Source
    ------
    Definition; windows ANSI/AMCA 210 and ISO 5151, from memory.

    Examples
    --------
    >>> round(float(nozzle_throat_velocity(0.35362, 0.15)), 2)
    20.01
    """
    with np.errstate(all="ignore"):
        return within(diameter > 0.0, flow / (0.25 * np.pi * np.square(diameter)))


@si("1", diameter="m", chamber_area="m^2", coefficient="1")
def bank_beta(diameter: Floats, chamber_area: Floats, coefficient: Floats) -> Floats:
    """Equivalent diameter ratio of a bank of nozzles, by which the approach velocity in the chamber is allowed for.

    Parameters
    ----------
    diameter : array, nozzles on the last axis
        Throat diameters of the nozzles in use. [m]
    chamber_area : float or array, broadcast with ``diameter``
        Cross-section of the chamber before the bank. [m^2]
    coefficient : float or array, broadcast with ``diameter``
        Discharge coefficient of each nozzle. [1]

    Returns
    -------
    beta : shape of the broadcast inputs with the last axis at length 1
        NaN where the bank would be no smaller than the chamber. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    beta^4 = (sum(C A)/A_chamber)^2. Energy between chamber and throat: v^2 - v_chamber^2 = 2 dp/rho with
    v_chamber = v sum(C A)/A_chamber. Without it the flow is low by half of beta^4: 0.5 % at beta^4 = 0.01.

    Source
    ------
    Bernoulli's equation and continuity; a factor of 1.0 on the velocity head in a chamber, ANSI/AMCA 210, from memory.

    Examples
    --------
    >>> import numpy as np
    >>> bank_beta(np.array([0.1, 0.1, 0.1]), 1.0, 0.98).round(4)
    array([0.152])
    """
    with np.errstate(all="ignore"):
        effective = coefficient * (0.25 * np.pi) * np.square(diameter) / chamber_area
        filled = np.sum(np.atleast_1d(effective), axis=-1, keepdims=True)
        return within((filled >= 0.0) & (filled < 1.0), np.sqrt(filled))
