"""Nozzles between the flanges of a round pipe, as in ISO 5167-3:2003: ISA 1932 and long-radius."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flowrig.physics.discharge import settled
from flowrig.physics.nozzle import nozzle_expansibility
from flowrig.physics.pipe import Range, between, throat_speed
from flowrig.physics.si import Floats, Truth, si, within

__all__ = [
    "isa_1932_coefficient",
    "isa_1932_coefficient_uncertainty",
    "isa_1932_flow",
    "long_radius_coefficient",
    "long_radius_flow",
    "pipe_nozzle_expansibility_uncertainty",
]

# Source: ISO 5167-3. Limits and the uncertainty from memory.
ISA_1932_LIMITS = Range((0.05, 0.5), (0.3, 0.8), (2e4, 1e7), wide_from=0.44, slowest_narrow=7e4)
LONG_RADIUS_LIMITS = Range((0.05, 0.63), (0.2, 0.8), (1e4, 1e7))
LONG_RADIUS_COEFFICIENT_UNCERTAINTY = 0.02  # relative, 95 %

_SLOWEST_ISA, _SLOWEST_LONG = 2e4, 1e4  # lowest pipe Reynolds number that the standard has for either nozzle


def _possible(beta: Floats) -> Truth:
    return np.greater_equal(beta, 0.0) & np.less(beta, 1.0)


def _isa(reynolds: Floats, beta: Floats) -> Floats:
    slow = np.power(1e6 / np.maximum(reynolds, _SLOWEST_ISA), 1.15)
    value: Floats = (
        0.9900 - 0.2262 * np.power(beta, 4.1) - (0.00175 * np.square(beta) - 0.0033 * np.power(beta, 4.15)) * slow
    )
    return value


def _long(reynolds: Floats, beta: Floats) -> Floats:
    value: Floats = 0.9965 - 0.00653 * np.sqrt(beta) * np.sqrt(1e6 / np.maximum(reynolds, _SLOWEST_LONG))
    return value


def _flow(
    equation: Callable[[Floats, Floats], Floats],
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    beta: Floats,
    coefficient_factor: Floats,
) -> Floats:
    """Flow with the coefficient at the pipe Reynolds number of that flow."""
    expansibility = nozzle_expansibility(1.0 - np.abs(np.divide(drop, pressure)), beta)
    speed = throat_speed(drop, density, expansibility, beta)
    scale = np.divide(density * np.abs(speed) * diameter * beta, viscosity)  # Reynolds number at a coefficient of 1
    coefficient = settled(lambda reynolds: equation(reynolds, beta), scale, 1.0)
    flow = coefficient_factor * coefficient * (0.25 * np.pi) * np.square(diameter) * speed
    return within(np.greater(pressure, 0.0) & np.greater(viscosity, 0.0) & np.greater(diameter, 0.0), flow)


@si("1", reynolds="1", beta="1")
def isa_1932_coefficient(reynolds: Floats, beta: Floats) -> Floats:
    """Discharge coefficient of an ISA 1932 nozzle in a pipe.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the diameter and the mean velocity of the pipe. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the throat over that of the pipe. [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN for a Reynolds number not above 0 and for a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = 0.9900 - 0.2262 beta^4.1 - (0.00175 beta^2 - 0.0033 beta^4.15)(1e6/Re)^1.15, corner tappings. Held below
    Re = 20 000, the lowest of its limits (our choice, no source).

    Source
    ------
    ISO 5167-3 (edition and clause not to hand; equation read in the documentation of an open-source library).

    Examples
    --------
    >>> round(float(isa_1932_coefficient(100_000.0, 0.5)), 6)
    0.973255
    """
    with np.errstate(all="ignore"):
        return within(np.greater(reynolds, 0.0) & _possible(beta), _isa(reynolds, beta))


@si("1", reynolds="1", beta="1")
def long_radius_coefficient(reynolds: Floats, beta: Floats) -> Floats:
    """Discharge coefficient of a long-radius nozzle in a pipe.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the diameter and the mean velocity of the pipe. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the throat over that of the pipe. [1]

    Returns
    -------
    coefficient : shape of the broadcast inputs
        NaN for a Reynolds number not above 0 and for a beta outside 0 to 1. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = 0.9965 - 0.00653 sqrt(beta) sqrt(1e6/Re), tappings at D and D/2. Held below Re = 10 000, the lowest of its
    limits (our choice, no source).

    Source
    ------
    ISO 5167-3 (edition and clause not to hand; equation read in the documentation of an open-source library).

    Examples
    --------
    >>> round(float(long_radius_coefficient(100_000.0, 0.5)), 6)
    0.981898
    """
    with np.errstate(all="ignore"):
        return within(np.greater(reynolds, 0.0) & _possible(beta), _long(reynolds, beta))


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    pressure="Pa",
    viscosity="Pa*s",
    diameter="m",
    beta="1",
    coefficient_factor="1",
)
def isa_1932_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    beta: Floats,
    coefficient_factor: Floats = 1.0,
) -> Floats:
    """Volumetric flow through an ISA 1932 nozzle in a pipe.

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
        Diameter of the throat. [m]
    beta : float or array, broadcast with the others
        Diameter of the throat over that of the pipe. [1]
    coefficient_factor : float or array, broadcast with the others
        Multiplies the discharge coefficient: error of the model, or a calibrated factor. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the upstream tapping, signed as ``drop``, exactly 0 without one. NaN where an input has no
        meaning or the throat would be sonic. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C eps (pi d^2/4) sqrt(2 dp/rho)/sqrt(1 - beta^4), eps from `nozzle_expansibility`, C from
    `isa_1932_coefficient` at the pipe Reynolds number of this flow; the mass flow is ``density`` times it.
    ``coefficient_factor`` is left out of the Reynolds number. Eight passes leave the flow within 1e-12 of the limit for
    beta up to 0.8 (measured). Limits of use: `limits_kept`. A reversed drop has the right sign, its size is a guess.

    Source
    ------
    ISO 5167-3 (edition not to hand) with ISO 5167-1:2003, 5.1 (clause from memory).

    Examples
    --------
    >>> round(float(isa_1932_flow(620.0, 1.19, 101800.0, 1.82e-5, 0.0614, 0.6)), 6)
    0.097746
    """
    with np.errstate(all="ignore"):
        return _flow(_isa, drop, density, pressure, viscosity, diameter, beta, coefficient_factor)


@si(
    "m^3/s",
    drop="Pa",
    density="kg/m^3",
    pressure="Pa",
    viscosity="Pa*s",
    diameter="m",
    beta="1",
    coefficient_factor="1",
)
def long_radius_flow(
    drop: Floats,
    density: Floats,
    pressure: Floats,
    viscosity: Floats,
    diameter: Floats,
    beta: Floats,
    coefficient_factor: Floats = 1.0,
) -> Floats:
    """Volumetric flow through a long-radius nozzle in a pipe.

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
        Diameter of the throat. [m]
    beta : float or array, broadcast with the others
        Diameter of the throat over that of the pipe. [1]
    coefficient_factor : float or array, broadcast with the others
        Multiplies the discharge coefficient: error of the model, or a calibrated factor. [1]

    Returns
    -------
    flow : shape of the broadcast inputs
        Actual flow at the upstream tapping, signed as ``drop``, exactly 0 without one. NaN where an input has no
        meaning or the throat would be sonic. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    As `isa_1932_flow`, with `long_radius_coefficient`.

    Source
    ------
    ISO 5167-3 (edition not to hand) with ISO 5167-1:2003, 5.1 (clause from memory).

    Examples
    --------
    >>> round(float(long_radius_flow(620.0, 1.19, 101800.0, 1.82e-5, 0.0614, 0.6)), 6)
    0.099879
    """
    with np.errstate(all="ignore"):
        return _flow(_long, drop, density, pressure, viscosity, diameter, beta, coefficient_factor)


@si("1", beta="1")
def isa_1932_coefficient_uncertainty(beta: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) that the standard gives the coefficient of an ISA 1932 nozzle.

    Parameters
    ----------
    beta : float or array
        Diameter of the throat over that of the pipe, taken as free of error. [1]

    Returns
    -------
    uncertainty : shape of the input
        A fraction, not a percentage. NaN for a beta outside 0 to 0.8. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    0.8 % up to beta = 0.6, (2 beta - 0.4) % above. No figure of the standard outside `ISA_1932_LIMITS`.

    Source
    ------
    ISO 5167-3, from memory.

    Examples
    --------
    >>> round(float(isa_1932_coefficient_uncertainty(0.7)), 6)
    0.01
    """
    with np.errstate(all="ignore"):
        return within(between(beta, 0.0, 0.8), 0.01 * np.where(np.less_equal(beta, 0.6), 0.8, 2.0 * beta - 0.4))


@si("1", pressure_ratio="1")
def pipe_nozzle_expansibility_uncertainty(pressure_ratio: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) of the expansibility factor, ISA 1932 and long-radius nozzles.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure in the throat over that upstream, taken as free of error. [1]

    Returns
    -------
    uncertainty : shape of the input
        A fraction, not a percentage. NaN where the throat would be sonic (ratio below 0.528). [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    2 dp/p %. A ratio above 1 as in `nozzle_expansibility`.

    Source
    ------
    ISO 5167-3, from memory.

    Examples
    --------
    >>> round(float(pipe_nozzle_expansibility_uncertainty(0.95)), 6)
    0.001
    """
    with np.errstate(all="ignore"):
        drop_ratio = np.abs(np.subtract(1.0, pressure_ratio))
        return within(np.isfinite(nozzle_expansibility(pressure_ratio)), 0.02 * drop_ratio)
