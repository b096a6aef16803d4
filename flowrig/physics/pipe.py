"""What meters between the flanges of a round pipe share: Reynolds number, limits of use, speed in a throat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.physics.si import Floats, Truth, si, within

# The limits answer with truth, not with a quantity, so they are no kernel and carry no units.
__all__ = ["pipe_reynolds"]

_ROUNDING = 1e-9  # a pipe of 50 mm, worked out as bore over ratio of diameters, may come out a digit short of it


@dataclass(frozen=True)
class Range:
    """What a standard allows of one device, lowest and highest: metres, and numbers without a unit."""

    pipe_diameter: tuple[float, float]
    beta: tuple[float, float]
    reynolds: tuple[float, float]
    diameter: float = 0.0  # least throat
    wide_from: float = 0.0  # beta from which `reynolds` holds; below it the lowest is `slowest_narrow`
    slowest_narrow: float = 0.0


@si("1", flow="m^3/s", density="kg/m^3", viscosity="Pa*s", diameter="m")
def pipe_reynolds(flow: Floats, density: Floats, viscosity: Floats, diameter: Floats) -> Floats:
    """Reynolds number of a round pipe.

    Parameters
    ----------
    flow : float or array
        Volumetric flow. [m^3/s]
    density : float or array, broadcast with ``flow``
        Density where the flow has that volume. [kg/m^3]
    viscosity : float or array, broadcast with ``flow``
        Dynamic viscosity. [Pa*s]
    diameter : float or array, broadcast with ``flow``
        Diameter of the pipe, not of a bore in it. [m]

    Returns
    -------
    reynolds : shape of the broadcast inputs
        Never negative; the flow carries the sign. NaN for a density, viscosity or diameter not above 0. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    Definition: 4 rho q/(pi D mu).

    Examples
    --------
    >>> round(float(pipe_reynolds(0.0629, 1.19, 1.82e-5, 0.1023)))
    51187
    """
    with np.errstate(all="ignore"):
        reynolds = np.divide(4.0 * density * np.abs(flow), np.pi * np.multiply(diameter, viscosity))
        return within((density > 0.0) & (viscosity > 0.0) & (diameter > 0.0), reynolds)


def between(value: Floats, low: Floats, high: Floats) -> Truth:
    """Whether a value keeps both of its limits, a rounding error past either being no breach.

    Parameters
    ----------
    value, low, high : float or array, broadcast together
        None negative.

    Returns
    -------
    kept : bool or array
        False where an input is missing.

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    None; our own convention.

    Examples
    --------
    >>> between(0.1 + 0.2, 0.1, 0.3)
    np.True_
    """
    return np.greater_equal(value, low * (1.0 - _ROUNDING)) & np.less_equal(value, high * (1.0 + _ROUNDING))


def limits_kept(limits: Range, reynolds: Floats, beta: Floats, diameter: Floats) -> dict[str, Truth]:
    """Which limits of use of its standard a nozzle or venturi tube keeps.

    Parameters
    ----------
    limits : Range
        `ISA_1932_LIMITS`, `LONG_RADIUS_LIMITS`, `VENTURI_NOZZLE_LIMITS`, or the ``limits`` of a classical venturi tube.
    reynolds : float or array
        Reynolds number of the pipe, see `pipe_reynolds`. [1]
    beta : float or array, broadcast with ``reynolds``
        Diameter of the throat over that of the pipe. [1]
    diameter : float or array, broadcast with ``reynolds``
        Diameter of the throat. [m]

    Returns
    -------
    kept : dict of str to bool or array
        True where kept, false where not or where an input is missing, for ``diameter``, ``pipe_diameter``, ``beta`` and
        ``reynolds``.

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Roughness, straight lengths and a least pressure ratio are limits too, which are not looked at here.

    Source
    ------
    ISO 5167-3 and ISO 5167-4:2003, from memory.

    Examples
    --------
    >>> as_cast = Range((0.1, 0.8), (0.3, 0.75), (2e5, 2e6))
    >>> limits_kept(as_cast, 1e5, 0.5, 0.1)["reynolds"]
    np.False_
    """
    with np.errstate(all="ignore"):
        stand = {
            "diameter": diameter,
            "pipe_diameter": np.divide(diameter, beta),
            "beta": beta,
            "reynolds": reynolds,
        }
        return {name: between(stand[name], *ends) for name, ends in limit_ends(limits, beta).items()}


def limit_ends(limits: Range, beta: Floats) -> dict[str, tuple[Floats, Floats]]:
    """Between what the same limits want each of the four to lie: lowest and highest, infinite where open."""
    slowest, fastest = limits.reynolds
    lowest = np.where(np.less(beta, limits.wide_from), limits.slowest_narrow, slowest)
    return {
        "diameter": (limits.diameter, np.inf),
        "pipe_diameter": limits.pipe_diameter,
        "beta": limits.beta,
        "reynolds": (lowest, fastest),
    }


def throat_speed(drop: Floats, density: Floats, expansibility: Floats, beta: Floats) -> Floats:
    """Speed in the throat or bore but for the coefficient, with the sign of ``drop``."""
    approach = np.sqrt(1.0 - np.square(np.square(beta)))
    speed = expansibility * np.sqrt(np.divide(2.0 * np.abs(drop), density)) / approach
    return within(np.greater(density, 0.0), np.copysign(speed, drop))
