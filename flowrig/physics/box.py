"""A box calibrated as a meter, used in air that is not the calibration's."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, si, within


@si(
    "Pa",
    drop="Pa",
    density="kg/m^3",
    viscosity="Pa*s",
    calibrated_density="kg/m^3",
    calibrated_viscosity="Pa*s",
)
def box_equivalent_drop(
    drop: Floats, density: Floats, viscosity: Floats, calibrated_density: Floats, calibrated_viscosity: Floats
) -> Floats:
    """Drop at which the air of the calibration would have passed through the box in the same pattern.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the box. [Pa]
    density : float or array, broadcast with the others
        Density of the air in the box. [kg/m^3]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity of the air in the box. [Pa*s]
    calibrated_density : float or array, broadcast with the others
        Density of the air that the calibration holds for. [kg/m^3]
    calibrated_viscosity : float or array, broadcast with the others
        Dynamic viscosity of that air. [Pa*s]

    Returns
    -------
    equivalent_drop : shape of the broadcast inputs
        Signed as ``drop``. NaN for a density or a viscosity not above 0. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Two incompressible flows through one shape are alike where dp rho/mu^2 is the same (it is Euler number times the
    square of the Reynolds number, free of the velocity); then q rho/mu, the Reynolds number, is the same too.

    Source
    ------
    Similarity of incompressible flow; any textbook of fluid mechanics.

    Examples
    --------
    >>> round(float(box_equivalent_drop(60.0, 1.2, 1.82e-5, 1.0, 1.82e-5)), 6)
    72.0
    """
    with np.errstate(all="ignore"):
        viscous = np.square(np.divide(calibrated_viscosity, viscosity))
        dense = np.divide(density, calibrated_density)
        meaningful = (density > 0.0) & (viscosity > 0.0) & (calibrated_density > 0.0) & (calibrated_viscosity > 0.0)
        return within(meaningful, drop * dense * viscous)


@si(
    "m^3/s",
    flow="m^3/s",
    density="kg/m^3",
    viscosity="Pa*s",
    other_density="kg/m^3",
    other_viscosity="Pa*s",
)
def similar_flow(
    flow: Floats, density: Floats, viscosity: Floats, other_density: Floats, other_viscosity: Floats
) -> Floats:
    """Volumetric flow of other air through the same opening in the same pattern: at the same Reynolds number.

    Parameters
    ----------
    flow : float or array
        Flow of the air that is known. [m^3/s]
    density : float or array, broadcast with the others
        Density of that air. [kg/m^3]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity of that air. [Pa*s]
    other_density : float or array, broadcast with the others
        Density of the air that is asked for. [kg/m^3]
    other_viscosity : float or array, broadcast with the others
        Dynamic viscosity of the air that is asked for. [Pa*s]

    Returns
    -------
    flow : shape of the broadcast inputs
        Signed as ``flow``. NaN for a density or a viscosity not above 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q rho/mu is the same in both; the drop that goes with it is `box_equivalent_drop`'s.

    Source
    ------
    Similarity of incompressible flow; any textbook of fluid mechanics.

    Examples
    --------
    >>> round(float(similar_flow(0.1, 1.2, 1.8e-5, 1.0, 1.8e-5)), 6)
    0.12
    """
    with np.errstate(all="ignore"):
        slower = np.divide(other_viscosity, viscosity) * np.divide(density, other_density)
        meaningful = (density > 0.0) & (viscosity > 0.0) & (other_density > 0.0) & (other_viscosity > 0.0)
        return within(meaningful, flow * slower)


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    viscosity="Pa*s",
    calibrated_flow="m^3/s",
    calibrated_drop="Pa",
    exponent="1",
    calibrated_density="kg/m^3",
    calibrated_viscosity="Pa*s",
)
def box_flow(
    drop: Floats,
    density: Floats,
    viscosity: Floats,
    calibrated_flow: Floats,
    calibrated_drop: Floats,
    exponent: Floats,
    calibrated_density: Floats,
    calibrated_viscosity: Floats,
) -> Floats:
    """Volumetric flow through a box by the power law of its calibration, brought to the air in it.

    Parameters
    ----------
    drop : float or array
        Static pressure drop over the box. [Pa]
    density : float or array, broadcast with the others
        Density of the air in the box. [kg/m^3]
    viscosity : float or array, broadcast with the others
        Dynamic viscosity of the air in the box. [Pa*s]
    calibrated_flow : float or array, broadcast with the others
        Flow at the calibrated drop in the air of the calibration; at 1 Pa it is the coefficient C of q = C dp^n as a
        number. [m^3/s]
    calibrated_drop : float or array, broadcast with the others
        Drop at which that is the flow. [Pa]
    exponent : float or array, broadcast with the others
        Exponent n of the power law: 0.5 for a hole, 1 for a felt. [1]
    calibrated_density : float or array, broadcast with the others
        Density of the air that the calibration holds for. [kg/m^3]
    calibrated_viscosity : float or array, broadcast with the others
        Dynamic viscosity of that air. [Pa*s]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow of the air in the box, signed as ``drop``. NaN for a density, a viscosity, an exponent or a
        calibrated drop not above 0, and for a calibrated flow below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q rho/mu may depend on dp rho/mu^2 alone (see `box_equivalent_drop`). Of a power law K (dp rho/mu^2)^n that leaves
    q = C dp^n with C = K mu^(1 - 2 n) rho^(n - 1), so that

        q = q_c (dp/dp_c)^n (mu/mu_c)^(1 - 2 n) (rho/rho_c)^(n - 1).

    For n = 0.5 it is the root of the density alone, for n = 1 the viscosity alone. Leak-test standards print the
    inverse, C mu^(2 n - 1) rho^(1 - n): that brings a C found in some air back to standard air, where it stays the
    same. The mass flow goes as mu^(1 - 2 n) rho^n.

    Source
    ------
    Similarity of incompressible flow. The inverse factor: ASTM E779, correction of C to standard conditions (from
    memory).

    Examples
    --------
    >>> round(float(box_flow(50.0, 1.2, 1.82e-5, 0.1, 25.0, 0.5, 1.2, 1.82e-5)), 6)
    0.141421
    >>> round(float(box_flow(25.0, 0.3, 1.82e-5, 0.1, 25.0, 0.5, 1.2, 1.82e-5)), 6)
    0.2
    """
    with np.errstate(all="ignore"):
        alike = box_equivalent_drop(drop, density, viscosity, calibrated_density, calibrated_viscosity)
        size = np.power(np.abs(alike) / np.asarray(calibrated_drop, dtype=float), exponent)
        meaningful = (exponent > 0.0) & (calibrated_drop > 0.0) & (calibrated_flow >= 0.0)
        flow = np.copysign(calibrated_flow * size, drop)
        there = similar_flow(flow, calibrated_density, calibrated_viscosity, density, viscosity)
        return within(meaningful, there)
