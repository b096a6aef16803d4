"""Orifice plate with a square edge between the flanges of a round pipe, as in ISO 5167-2:2003."""

from __future__ import annotations

import numpy as np

from flowrig.physics.discharge import settled
from flowrig.physics.pipe import between, throat_speed
from flowrig.physics.si import Floats, Truth, si, within

# The limits answer with truth, not with a quantity, so they are no kernel and carry no units.
__all__ = [
    "orifice_coefficient",
    "orifice_coefficient_uncertainty",
    "orifice_expansibility",
    "orifice_expansibility_uncertainty",
    "orifice_flange_position",
    "orifice_flow",
]

_KAPPA = 1.4  # ratio of specific heats of air
_CHOKED = 1.0 - (2.0 / (_KAPPA + 1.0)) ** (_KAPPA / (_KAPPA - 1.0))  # drop over pressure from which a jet is sonic
_LOWEST = 5000.0  # pipe Reynolds number below which no plate is within the standard
_INCH = 0.0254
_SMALL_PIPE = 2.8  # inches

# Where the tappings are, in pipe diameters: before the plate from its upstream face, after it from its downstream face.
Positions = tuple[Floats, Floats]
CORNER: Positions = (0.0, 0.0)
D_AND_HALF_D: Positions = (1.0, 0.47)  # half a diameter from the upstream face

_Parts = tuple[Floats, Floats, Floats, Floats, Floats]


def _parts(beta: Floats, diameter: Floats, positions: Positions) -> _Parts:
    """What of the equation does not depend on the Reynolds number.

    With x = 1e6/Re the equation is C = parts[0] + parts[1] x^0.7 + x^0.3 (parts[2] + parts[3] x^0.8) + parts[4] x^0.8.
    """
    upstream, downstream = positions
    fourth = np.square(np.square(beta))
    slow = np.power(0.019 * beta, 0.8)
    steep = np.power(beta, 3.5)
    before = (0.043 + 0.080 * np.exp(-10.0 * upstream) - 0.123 * np.exp(-7.0 * upstream)) * fourth / (1.0 - fourth)
    reach = np.divide(2.0 * downstream, 1.0 - beta)
    after = -0.031 * (reach - 0.8 * np.power(reach, 1.1)) * np.power(beta, 1.3)
    edge = 0.011 * (0.75 - beta) * np.maximum(_SMALL_PIPE - np.divide(diameter, beta) / _INCH, 0.0)
    steady = 0.5961 + 0.0261 * np.square(beta) - 0.216 * np.square(fourth) + before + after + edge
    return steady, 0.000521 * np.power(beta, 0.7), 0.0188 * steep, 0.0063 * slow * steep, -0.11 * slow * before


def _at(parts: _Parts, reynolds: Floats) -> Floats:
    """The coefficient at a pipe Reynolds number, held below the lowest that the standard has."""
    inverse = 1e6 / np.maximum(reynolds, _LOWEST)
    slow = np.power(inverse, 0.8)
    steady, seventh, third, product, eighth = parts
    value: Floats = (
        steady + seventh * np.power(inverse, 0.7) + np.power(inverse, 0.3) * (third + product * slow) + eighth * slow
    )
    return value


def _possible(beta: Floats, positions: Positions = CORNER) -> Truth:
    upstream, downstream = positions
    return np.greater_equal(beta, 0.0) & np.less(beta, 1.0) & (upstream >= 0.0) & (downstream >= 0.0)


def _expansibility(drop_ratio: Floats, beta: Floats) -> Floats:
    """From drop over pressure: near no drop, one less pressure over pressure has no digits left."""
    fourth = np.square(np.square(beta))
    fallen = -np.expm1(np.log1p(-np.abs(drop_ratio)) / _KAPPA)
    value = 1.0 - (0.351 + 0.256 * fourth + 0.93 * np.square(fourth)) * fallen
    return within((np.abs(drop_ratio) < _CHOKED) & _possible(beta), value)


@si("1", beta="1", diameter="m")
def orifice_flange_position(beta: Floats, diameter: Floats) -> Floats:
    """Distance of a flange tapping from its face of the plate, over the pipe diameter.

    Parameters
    ----------
    beta : float or array
        Diameter of the bore over that of the pipe. [1]
    diameter : float or array, broadcast with ``beta``
        Diameter of the bore. [m]

    Returns
    -------
    position : shape of the broadcast inputs
        The same before and after the plate. NaN for a bore not above 0 and a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    ISO 5167-2:2003, 5.2.2 (clause from memory): 25.4 mm.

    Examples
    --------
    >>> round(float(orifice_flange_position(0.5, 0.127)), 3)
    0.1
    """
    with np.errstate(all="ignore"):
        return within((diameter > 0.0) & _possible(beta), _INCH * np.divide(beta, diameter))


@si("1", reynolds="1", beta="1", diameter="m", positions="1")
def orifice_coefficient(reynolds: Floats, beta: Floats, diameter: Floats, positions: Positions) -> Floats:
    """Discharge coefficient of an orifice plate.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the diameter and the mean velocity of the pipe. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the bore over that of the pipe. [1]
    diameter : float or array, broadcast with ``reynolds``
        Diameter of the bore. [m]
    positions : tuple of two floats or arrays, broadcast with the others
        Distances of the tappings over the pipe diameter: `CORNER`, `D_AND_HALF_D`, or `orifice_flange_position` twice.
        [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN for a Reynolds number or bore not above 0, a beta outside 0 to 1 or a distance below 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = 0.5961 + 0.0261 beta^2 - 0.216 beta^8 + 0.000521 (1e6 beta/Re)^0.7
    + (0.0188 + 0.0063 A) beta^3.5 (1e6/Re)^0.3
    + (0.043 + 0.080 exp(-10 L1) - 0.123 exp(-7 L1))(1 - 0.11 A) beta^4/(1 - beta^4)
    - 0.031 (M - 0.8 M^1.1) beta^1.3 + 0.011 (0.75 - beta) max(2.8 - D/25.4 mm, 0), A = (19 000 beta/Re)^0.8,
    M = 2 L2'/(1 - beta), with L1 and L2' the two ``positions``. Made for the three named pairs; others are a guess.
    Below Re = 5000, where no plate is within `orifice_limits`, C is held (our choice, no source): the equation
    climbs without bound there, and the passes of `orifice_flow` would not settle on it.

    Source
    ------
    ISO 5167-2:2003, 5.3.2.1 (clause from memory): Reader-Harris/Gallagher equation. Its constants were read in the
    documentation of an open-source library, not in the standard, whose Annex A is not to hand.

    Examples
    --------
    >>> round(float(orifice_coefficient(50_000.0, 0.6, 0.06, CORNER)), 5)
    0.61335
    """
    with np.errstate(all="ignore"):
        value = _at(_parts(beta, diameter, positions), reynolds)
        return within((reynolds > 0.0) & (diameter > 0.0) & _possible(beta, positions), value)


@si("1", pressure_ratio="1", beta="1")
def orifice_expansibility(pressure_ratio: Floats, beta: Floats) -> Floats:
    """Expansibility factor of an orifice plate in air, any of the three tappings.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure at the downstream tapping over that at the upstream tapping. [1]
    beta : float or array, broadcast with ``pressure_ratio``
        Diameter of the bore over that of the pipe. [1]

    Returns
    -------
    expansibility : shape of the broadcast inputs
        NaN where the jet would be sonic (ratio below 0.528) and for a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    eps = 1 - (0.351 + 0.256 beta^4 + 0.93 beta^8) [1 - r^(1/k)], k = 1.4. Fitted for r >= 0.80 (read); the limit of use
    is 0.75 (from memory). The form of 1991 is another one, 0.04 % lower at r = 0.99. A ratio above 1 is read as the
    same drop the right way round (2 - r).

    Source
    ------
    ISO 5167-2:2003, 5.3.2.2 (clause from memory; equation read in the documentation of an open-source library).

    Examples
    --------
    >>> round(float(orifice_expansibility(0.99, 0.6)), 6)
    0.99714
    """
    with np.errstate(all="ignore"):
        return _expansibility(np.subtract(1.0, pressure_ratio), beta)


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    pressure="Pa",
    viscosity="Pa*s",
    diameter="m",
    beta="1",
    positions="1",
    coefficient_factor="1",
)
def orifice_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    beta: Floats,
    positions: Positions,
    coefficient_factor: Floats = 1.0,
) -> Floats:
    """Volumetric flow through an orifice plate.

    Parameters
    ----------
    drop : float or array
        Difference of the static pressures at the two tappings. [Pa]
    density : float or array, broadcast with the others
        Density at the upstream tapping. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure at the upstream tapping. [Pa]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with the others
        Diameter of the bore. [m]
    beta : float or array, broadcast with the others
        Diameter of the bore over that of the pipe. [1]
    positions : tuple of two floats or arrays, broadcast with the others
        Distances of the tappings over the pipe diameter: `CORNER`, `D_AND_HALF_D`, or `orifice_flange_position` twice.
        [1]
    coefficient_factor : float or array, broadcast with the others
        Multiplies the discharge coefficient: error of the model, or a calibrated factor. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the upstream tapping, signed as ``drop``, exactly 0 without one. NaN where an input has no
        meaning or the jet would be sonic. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C eps (pi d^2/4) sqrt(2 dp/rho)/sqrt(1 - beta^4), eps from `orifice_expansibility`, C from
    `orifice_coefficient` at the pipe Reynolds number of this flow; the mass flow is ``density`` times it.
    ``coefficient_factor`` is left out of the Reynolds number. Eight passes leave the flow within 1e-10 of the limit
    for beta up to 0.75 (measured). Limits of use: `orifice_limits`. A reversed drop meets the bevelled side first: its
    sign is right, its size is a guess.

    Source
    ------
    ISO 5167-2:2003 with ISO 5167-1:2003, 5.1 (clause from memory).

    Examples
    --------
    >>> round(float(orifice_flow(620.0, 1.19, 101800.0, 1.82e-5, 0.0614, 0.6, CORNER)), 6)
    0.062717
    """
    with np.errstate(all="ignore"):
        speed = throat_speed(drop, density, _expansibility(np.divide(drop, pressure), beta), beta)
        scale = np.divide(
            density * np.abs(speed) * diameter * beta, viscosity
        )  # pipe Reynolds number at a coefficient of 1
        parts = _parts(beta, diameter, positions)
        coefficient = settled(lambda reynolds: _at(parts, reynolds), scale, 0.6)
        flow = coefficient_factor * (0.25 * np.pi) * np.square(diameter) * coefficient * speed
        sound = (pressure > 0.0) & (viscosity > 0.0) & (diameter > 0.0)
        return within(sound & _possible(beta, positions), flow)


@si("1", reynolds="1", beta="1", diameter="m")
def orifice_coefficient_uncertainty(reynolds: Floats, beta: Floats, diameter: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) that the standard gives its discharge coefficient.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number of the pipe. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the bore over that of the pipe, taken as free of error. [1]
    diameter : float or array, broadcast with ``reynolds``
        Diameter of the bore. [m]

    Returns
    -------
    uncertainty : shape of the broadcast inputs
        A fraction, not a percentage. NaN for a beta outside 0 to 0.75, a Reynolds number or bore not above 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    (0.7 - beta) % below beta = 0.2, 0.5 % up to 0.6, (1.667 beta - 0.5) % above; a pipe of D < 71.12 mm adds
    0.9 (0.75 - beta)(2.8 - D/25.4) %, and beta > 0.5 with Re < 10 000 adds 0.5 %, all added arithmetically. It holds
    within `orifice_limits` only: below beta = 0.1 the first line is carried on, and below the lowest Reynolds number
    the value stays, without either being a figure of the standard. A shortfall of straight pipe is not in it.

    Source
    ------
    ISO 5167-2:2003, 5.3.3.1: the line above 0.6 and both additions read; the lines up to 0.6 from memory.

    Examples
    --------
    >>> round(float(orifice_coefficient_uncertainty(50_000.0, 0.7, 0.07)), 6)
    0.006669
    """
    with np.errstate(all="ignore"):
        base = np.where(beta < 0.2, 0.7 - beta, np.where(beta <= 0.6, 0.5, 1.667 * beta - 0.5))
        small = 0.9 * (0.75 - beta) * np.maximum(_SMALL_PIPE - np.divide(diameter, beta) / _INCH, 0.0)
        slow = np.where((beta > 0.5) & (reynolds < 1e4), 0.5, 0.0)
        valid = between(beta, 0.0, 0.75) & (reynolds > 0.0) & (diameter > 0.0)
        return within(valid, 0.01 * (base + small + slow))


@si("1", pressure_ratio="1")
def orifice_expansibility_uncertainty(pressure_ratio: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) that the standard gives its expansibility factor, in air.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure at the downstream tapping over that at the upstream tapping, taken as free of error. [1]

    Returns
    -------
    uncertainty : shape of the input
        A fraction, not a percentage. NaN where the jet would be sonic (ratio below 0.528). [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    3.5 dp/(k p) %, k = 1.4. A ratio above 1 is read as in `orifice_expansibility`.

    Source
    ------
    ISO 5167-2:2003, 5.3.3.2 (read).

    Examples
    --------
    >>> round(float(orifice_expansibility_uncertainty(0.99)), 6)
    0.00025
    """
    with np.errstate(all="ignore"):
        drop_ratio = np.abs(np.subtract(1.0, pressure_ratio))
        return within(drop_ratio < _CHOKED, 0.035 / _KAPPA * drop_ratio)


def orifice_limits(
    reynolds: Floats, beta: Floats, diameter: Floats, pressure_ratio: Floats, *, flange: bool
) -> dict[str, Truth]:
    """Which limits of use of the standard an orifice plate keeps.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number of the pipe. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the bore over that of the pipe. [1]
    diameter : float or array, broadcast with ``reynolds``
        Diameter of the bore. [m]
    pressure_ratio : float or array, broadcast with ``reynolds``
        Absolute pressure at the downstream tapping over that at the upstream tapping. [1]
    flange : bool
        Flange tappings, whose lowest Reynolds number is another one than that of the other two.

    Returns
    -------
    kept : dict of str to bool or array
        True where kept, false where not or where an input is missing, for ``diameter`` (bore >= 12.5 mm),
        ``pipe_diameter`` (50 mm to 1 m), ``beta`` (0.10 to 0.75), ``reynolds`` (corner, D and D/2: 5000, above
        beta = 0.56 also 16 000 beta^2; flange: 5000 and 170 beta^2 D/mm) and ``pressure_ratio`` (0.75 to 1).

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Roughness, flatness, edge, straight lengths and tapping sizes have limits too, which no equation here needs.

    Source
    ------
    ISO 5167-2:2003, 5.3.1 (clause from memory; limits read in the documentation of an open-source library, the ratio
    0.75 from memory).

    Examples
    --------
    >>> orifice_limits(4000.0, 0.6, 0.06, 0.99, flange=False)["reynolds"]
    np.False_
    """
    with np.errstate(all="ignore"):
        stand = {
            "diameter": diameter,
            "pipe_diameter": np.divide(diameter, beta),
            "beta": beta,
            "reynolds": reynolds,
            "pressure_ratio": pressure_ratio,
        }
        ends = orifice_limit_ends(beta, diameter, flange=flange)
        return {name: between(stand[name], *ends[name]) for name in stand}


def orifice_limit_ends(beta: Floats, diameter: Floats, *, flange: bool) -> dict[str, tuple[Floats, Floats]]:
    """Between what `orifice_limits` wants each of the five to lie: lowest and highest, infinite where open."""
    with np.errstate(all="ignore"):
        pipe = np.divide(diameter, beta)
        other = 170.0 * np.square(beta) * pipe * 1e3 if flange else np.where(beta > 0.56, 16e3 * np.square(beta), 0.0)
    return {
        "diameter": (0.0125, np.inf),
        "pipe_diameter": (0.05, 1.0),
        "beta": (0.1, 0.75),
        "reynolds": (np.maximum(_LOWEST, other), np.inf),
        "pressure_ratio": (0.75, 1.0),
    }
