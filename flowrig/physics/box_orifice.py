"""A plain sharp-edged hole in the wall of a large box: no approach velocity, no pipe round it."""

from __future__ import annotations

import numpy as np

from flowrig.physics.discharge import settled
from flowrig.physics.si import Floats, Truth, si, within

THIN_EDGE = 0.1  # thickness of the edge over diameter up to which the coefficient below holds
REATTACHED_EDGE = 0.5  # thickness over diameter from which the jet reattaches inside: near 0.8 instead, from memory

_KAPPA = 1.4  # ratio of specific heats of air
_LARGEST_DROP = 0.25  # drop over pressure up to which the expansibility was measured
_BOUNDLESS = 0.5961  # coefficient at boundless Reynolds number
_RISE = 0.000521 * 1e6**0.7
_LOWEST_REYNOLDS = 5000.0
_WIDEST = 0.5625  # area ratio up to which the equation of the plate was measured: beta = 0.75


def _at(reynolds: Floats) -> Floats:
    """Coefficient, held below the lowest Reynolds number."""
    coefficient: Floats = _BOUNDLESS + _RISE * np.maximum(reynolds, _LOWEST_REYNOLDS) ** -0.7
    return coefficient


def _thin(edge_ratio: Floats) -> Truth:
    return (edge_ratio >= 0.0) & (edge_ratio <= THIN_EDGE)


def _jet(
    drop: Floats, density: Floats, pressure: Floats, viscosity: Floats, diameter: Floats, edge_ratio: Floats
) -> tuple[Floats, Floats]:
    """Velocity averaged over the hole, without sign, and its Reynolds number."""
    size = np.abs(drop)
    ideal = box_orifice_expansibility(1.0 - size / pressure) * np.sqrt(2.0 * size / density)
    meaningful = (density > 0.0) & (pressure > 0.0) & (viscosity > 0.0) & (diameter > 0.0) & _thin(edge_ratio)
    scale = within(meaningful, density * diameter * ideal / viscosity)
    coefficient = settled(_at, scale, _at(scale))
    return ideal * coefficient, scale * coefficient


@si("1", reynolds="1", edge_ratio="1")
def box_orifice_coefficient(reynolds: Floats, edge_ratio: Floats) -> Floats:
    """Discharge coefficient of a thin, sharp-edged round hole in the wall of a large box.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the diameter of the hole and the mean velocity through it. [1]
    edge_ratio : float or array, broadcast with ``reynolds``
        Thickness of the cylindrical part of the edge over the diameter. [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN for a Reynolds number not above 0, and for an edge that is not thin: above `THIN_EDGE` (0.1) no source gives
        a coefficient, and above `REATTACHED_EDGE` (0.5) the jet reattaches inside the hole and this one would be a
        quarter too low. Such a hole needs a calibration, see `calibrated_hole_flow`. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = 0.5961 + 0.000521 (10^6/Re)^0.7: what is left of the corner-tap equation of the orifice plate as beta goes to 0
    with Re_D = beta Re. That is outside the range of the standard, which ends at beta = 0.1; no standard value for a
    plain hole in a box was found. Textbooks of engine testing take 0.60 to 0.62. The standard's lowest Re_D of 5000
    (from memory) is Re = 50 000 at beta = 0.1. Below Re = 5000 the power would climb without bound; it is held there
    (our choice, no source), so that a drop near zero gives a flow near zero. It asks for an upstream edge with a radius
    of at most 0.0004 diameters (from memory), which a saw or a hole cutter in plywood does not leave.

    Source
    ------
    ISO 5167-2:2003, 5.3.2.1, equation of Reader-Harris and Gallagher, limit of beta to 0; edge: 5.1.7 (clause numbers
    from memory).

    Examples
    --------
    >>> round(float(box_orifice_coefficient(100_000.0, 0.02)), 5)
    0.59871
    """
    with np.errstate(all="ignore"):
        return within((reynolds > 0.0) & _thin(edge_ratio), _at(reynolds))


@si("1", pressure_ratio="1")
def box_orifice_expansibility(pressure_ratio: Floats) -> Floats:
    """Expansibility factor of a thin, sharp-edged hole in the wall of a large box.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure after the hole over that before it. [1]

    Returns
    -------
    expansibility : shape of the input
        NaN for a ratio below 0.75, where the equation was not measured. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    Y = 1 - 0.351 (1 - r^(1/k)), k = 1.4: the equation of the orifice plate as beta goes to 0. A ratio above 1 is a
    reversed drop: it is read as the same drop the right way round (2 - r), so that noise round zero gives flows that
    differ in sign only and average to nothing.

    Source
    ------
    ISO 5167-2:2003, 5.3.2.2, limit of beta to 0 (clause number and the limit of 0.75 from memory).

    Examples
    --------
    >>> round(float(box_orifice_expansibility(0.99)), 6)
    0.997489
    """
    with np.errstate(all="ignore"):
        small = np.abs(1.0 - pressure_ratio)
        return within(small <= _LARGEST_DROP, 1.0 + 0.351 * np.expm1(np.log1p(-small) / _KAPPA))


@si("1", area_ratio="1")
def box_orifice_approach(area_ratio: Floats) -> Floats:
    """How much more a sharp-edged hole passes at the end of a box that is not large.

    Parameters
    ----------
    area_ratio : float or array
        Area of the hole, or of all holes, over the cross-section of the box before it. [1]

    Returns
    -------
    factor : shape of the input
        Multiplies the flow of a hole in a boundless wall. NaN for a ratio below 0 or above 0.5625. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    With m = area ratio = beta^2: (1 + (0.0261 m - 0.216 m^4)/0.5961)/sqrt(1 - m^2), which is what the equation of the
    orifice plate makes of the ratio at a boundless Reynolds number: a hole in the end of a box is a plate in a pipe as
    wide as the box. The first term, walls that hold the jet from contracting, is the larger one up to m = 0.08: 0.22 %
    of 0.34 % at 0.05. A hole off the middle, or several, are not a plate in a pipe; the size of it still serves.

    Source
    ------
    ISO 5167-2:2003, 5.3.2.1, terms in beta of the equation of Reader-Harris and Gallagher, and 1/sqrt(1 - beta^4)
    (clause number from memory).

    Examples
    --------
    >>> round(float(box_orifice_approach(0.05)), 5)
    1.00344
    """
    with np.errstate(all="ignore"):
        squared = np.square(area_ratio)
        wider = 1.0 + (0.0261 * area_ratio - 0.216 * np.square(squared)) / _BOUNDLESS
        return within((area_ratio >= 0.0) & (area_ratio <= _WIDEST), wider / np.sqrt(1.0 - squared))


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    pressure="Pa",
    viscosity="Pa*s",
    diameter="m",
    edge_ratio="1",
    coefficient_factor="1",
)
def box_orifice_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    edge_ratio: Floats,
    coefficient_factor: Floats = 1.0,
) -> Floats:
    """Volumetric flow through one thin, sharp-edged hole in the wall of a large box; several are the sum of theirs.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the hole. [Pa]
    density : float or array, broadcast with the others
        Density before the hole. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure before the hole. [Pa]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with the others
        Diameter of the hole. [m]
    edge_ratio : float or array, broadcast with the others
        Thickness of the cylindrical part of the edge over the diameter. [1]
    coefficient_factor : float or array, broadcast with the others
        Multiplies the discharge coefficient: error of the model, or a calibrated factor. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the conditions before the hole, signed as ``drop``, exactly 0 without one. NaN where an input has
        no meaning, for an edge that is not thin (see `box_orifice_coefficient`) and for a drop above a quarter of the
        pressure. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C Y (pi d^2/4) sqrt(2 dp/rho), with Y from `box_orifice_expansibility` and C from `box_orifice_coefficient` at
    Re = rho d v/mu, v = C Y sqrt(2 dp/rho). ``coefficient_factor`` is left out of Re. Eight passes leave C within
    1e-13 of the limit (measured). Made for a box so large that the air in it stands still: walls near the hole and
    holes near each other raise C by an amount that no source here gives. For a thin edge made with care expect 3 to
    5 %, for a hole cut in plywood 10 to 30 % (95 %; common practice, no source).

    Source
    ------
    As `box_orifice_coefficient`, and Bernoulli's equation.

    Examples
    --------
    >>> round(float(box_orifice_flow(250.0, 1.2047, 101825.0, 1.819e-5, 0.15, 0.02)), 5)
    0.21529
    """
    with np.errstate(all="ignore"):
        velocity, _ = _jet(drop, density, pressure, viscosity, diameter, edge_ratio)
        meaningful = (viscosity > 0.0) & (diameter > 0.0) & _thin(edge_ratio)
        area = coefficient_factor * (0.25 * np.pi) * np.square(diameter)
        return within(meaningful, np.copysign(velocity, drop) * area)


@si("1", drop="Pa", density="kg/m^3", pressure="Pa", viscosity="Pa*s", diameter="m", edge_ratio="1")
def box_orifice_reynolds(
    drop: Floats, density: Floats, pressure: Floats, viscosity: Floats, diameter: Floats, edge_ratio: Floats
) -> Floats:
    """Reynolds number of the hole at which `box_orifice_flow` takes the coefficient.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the hole. [Pa]
    density : float or array, broadcast with the others
        Density before the hole. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure before the hole. [Pa]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with the others
        Diameter of the hole. [m]
    edge_ratio : float or array, broadcast with the others
        Thickness of the cylindrical part of the edge over the diameter. [1]

    Returns
    -------
    reynolds : shape of the broadcast inputs
        Never negative; the flow carries the sign. NaN as in `box_orifice_flow`. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Re = rho d v/mu with v = C Y sqrt(2 dp/rho), C at that same Re.

    Source
    ------
    As `box_orifice_flow`.

    Examples
    --------
    >>> round(float(box_orifice_reynolds(250.0, 1.2047, 101825.0, 1.819e-5, 0.15, 0.02)), -2)
    121000.0
    """
    with np.errstate(all="ignore"):
        _, reynolds = _jet(drop, density, pressure, viscosity, diameter, edge_ratio)
    return reynolds


@si("m^3/s", drop="Pa", density="kg/m^3", diameter="m", coefficient="1")
def calibrated_hole_flow(drop: Floats, density: Floats, diameter: Floats, coefficient: Floats) -> Floats:
    """Volumetric flow through a round hole whose coefficient is known, whatever its edge.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the hole. [Pa]
    density : float or array, broadcast with the others
        Density before the hole. [kg/m^3]
    diameter : float or array, broadcast with the others
        Diameter of the hole. [m]
    coefficient : float or array, broadcast with the others
        Discharge coefficient from a calibration of this hole, expansion of the air included. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the conditions before the hole, signed as ``drop``. NaN for a density or a diameter not above 0
        and a coefficient below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C (pi d^2/4) sqrt(2 dp/rho). A calibration holds for the drops at which it was made.

    Source
    ------
    Bernoulli's equation; as the air-box formula of the textbooks of engine testing (Ganesan, Internal Combustion
    Engines, Ex. 17.14).

    Examples
    --------
    >>> round(float(calibrated_hole_flow(250.0, 1.2, 0.15, 0.8)), 5)
    0.28857
    """
    with np.errstate(all="ignore"):
        velocity = np.copysign(np.sqrt(2.0 * np.abs(drop) / density), drop)
        meaningful = (density > 0.0) & (diameter > 0.0) & (coefficient >= 0.0)
        return within(meaningful, coefficient * (0.25 * np.pi) * np.square(diameter) * velocity)
