"""Venturi tubes and venturi nozzles in a round pipe, as in ISO 5167-3 and ISO 5167-4:2003."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.physics.nozzle import nozzle_expansibility
from flowrig.physics.pipe import Range, between, throat_speed
from flowrig.physics.si import Floats, si, within

__all__ = [
    "venturi_expansibility_uncertainty",
    "venturi_flow",
    "venturi_nozzle_coefficient",
    "venturi_nozzle_coefficient_uncertainty",
]


@dataclass(frozen=True)
class ClassicalVenturi:
    """A tube whose discharge coefficient the standard gives as a number, with its relative uncertainty (95 %)."""

    coefficient: float
    coefficient_uncertainty: float
    limits: Range


# Source: ISO 5167-3. Limits and the uncertainty from memory.
VENTURI_NOZZLE_LIMITS = Range((0.065, 0.5), (0.316, 0.775), (1.5e5, 2e6), diameter=0.05)
# Source: ISO 5167-4:2003. Coefficients read in an open-source library; uncertainties and limits from memory.
AS_CAST_VENTURI = ClassicalVenturi(0.984, 0.007, Range((0.1, 0.8), (0.3, 0.75), (2e5, 2e6)))
MACHINED_VENTURI = ClassicalVenturi(0.995, 0.010, Range((0.05, 0.25), (0.4, 0.75), (2e5, 1e6)))
WELDED_VENTURI = ClassicalVenturi(0.985, 0.015, Range((0.2, 1.2), (0.4, 0.7), (2e5, 2e6)))


@si("1", beta="1")
def venturi_nozzle_coefficient(beta: Floats) -> Floats:
    """Discharge coefficient of a venturi nozzle.

    Parameters
    ----------
    beta : float or array
        Diameter of the throat over that of the pipe. [1]

    Returns
    -------
    coefficient : shape of the input
        NaN for a beta outside 0 to 1. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    C = 0.9858 - 0.196 beta^4.5, at any Reynolds number within `VENTURI_NOZZLE_LIMITS`.

    Source
    ------
    ISO 5167-3 (edition and clause not to hand; equation read in the documentation of an open-source library).

    Examples
    --------
    >>> round(float(venturi_nozzle_coefficient(0.5)), 6)
    0.977138
    """
    with np.errstate(all="ignore"):
        return within(np.greater_equal(beta, 0.0) & np.less(beta, 1.0), 0.9858 - 0.196 * np.power(beta, 4.5))


@si("m^3/s", drop="Pa", density="kg/m^3", pressure="Pa", diameter="m", beta="1", coefficient="1")
def venturi_flow(
    drop: Floats, density: Floats, pressure: Floats, diameter: Floats, beta: Floats, coefficient: Floats
) -> Floats:
    """Volumetric flow through a throat whose coefficient does not depend on the flow: venturi tube or venturi nozzle.

    Parameters
    ----------
    drop : float or array
        Static pressure upstream less that in the throat. [Pa]
    density : float or array, broadcast with the others
        Density at the upstream tapping. [kg/m^3]
    pressure : float or array, broadcast with the others
        Absolute pressure at the upstream tapping. [Pa]
    diameter : float or array, broadcast with the others
        Diameter of the throat. [m]
    beta : float or array, broadcast with the others
        Diameter of the throat over that of the pipe. [1]
    coefficient : float or array, broadcast with the others
        Of `AS_CAST_VENTURI`, `MACHINED_VENTURI` or `WELDED_VENTURI`, from `venturi_nozzle_coefficient`, or calibrated.
        [1]

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
    q = C eps (pi d^2/4) sqrt(2 dp/rho)/sqrt(1 - beta^4), eps from `nozzle_expansibility`; the mass flow is ``density``
    times it. Limits of use: `limits_kept`. A reversed drop has the right sign, its size is a guess.

    Source
    ------
    ISO 5167-1:2003, 5.1, ISO 5167-3 and ISO 5167-4:2003 (clause from memory).

    Examples
    --------
    >>> round(float(venturi_flow(620.0, 1.19, 101800.0, 0.12, 0.6, AS_CAST_VENTURI.coefficient)), 5)
    0.38355
    """
    with np.errstate(all="ignore"):
        expansibility = nozzle_expansibility(1.0 - np.abs(np.divide(drop, pressure)), beta)
        speed = throat_speed(drop, density, expansibility, beta)
        valid = np.greater(pressure, 0.0) & np.greater(diameter, 0.0) & np.greater(coefficient, 0.0)
        return within(valid, coefficient * (0.25 * np.pi) * np.square(diameter) * speed)


@si("1", beta="1")
def venturi_nozzle_coefficient_uncertainty(beta: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) that the standard gives the coefficient of a venturi nozzle.

    Parameters
    ----------
    beta : float or array
        Diameter of the throat over that of the pipe, taken as free of error. [1]

    Returns
    -------
    uncertainty : shape of the input
        A fraction, not a percentage. NaN for a beta outside 0 to 0.775. [1]

    Raises
    ------
    Nothing.

    Notes
    -----
    (1.2 + 1.5 beta^4) %. No figure of the standard outside `VENTURI_NOZZLE_LIMITS`.

    Source
    ------
    ISO 5167-3, from memory.

    Examples
    --------
    >>> round(float(venturi_nozzle_coefficient_uncertainty(0.5)), 6)
    0.012937
    """
    with np.errstate(all="ignore"):
        return within(between(beta, 0.0, 0.775), 0.01 * (1.2 + 1.5 * np.square(np.square(beta))))


@si("1", pressure_ratio="1", beta="1")
def venturi_expansibility_uncertainty(pressure_ratio: Floats, beta: Floats) -> Floats:
    """Relative expanded uncertainty (95 %) of the expansibility factor, venturi nozzles and venturi tubes.

    Parameters
    ----------
    pressure_ratio : float or array
        Absolute pressure in the throat over that upstream, taken as free of error. [1]
    beta : float or array, broadcast with ``pressure_ratio``
        Diameter of the throat over that of the pipe, taken as free of error. [1]

    Returns
    -------
    uncertainty : shape of the broadcast inputs
        A fraction, not a percentage. NaN where `nozzle_expansibility` is. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    (4 + 100 beta^8) dp/p %. A ratio above 1 as in `nozzle_expansibility`.

    Source
    ------
    ISO 5167-3 and ISO 5167-4:2003, from memory.

    Examples
    --------
    >>> round(float(venturi_expansibility_uncertainty(0.95, 0.5)), 6)
    0.002195
    """
    with np.errstate(all="ignore"):
        drop_ratio = np.abs(np.subtract(1.0, pressure_ratio))
        share = 0.01 * (4.0 + 100.0 * np.square(np.square(np.square(beta))))
        return within(np.isfinite(nozzle_expansibility(pressure_ratio, beta)), share * drop_ratio)
