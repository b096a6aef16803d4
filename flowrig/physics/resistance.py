"""What a filter costs in pressure, and what passes beside it."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, Truth, si, within


@si(
    "Pa",
    velocity="m/s",
    linear="Pa*s/m",
    quadratic="Pa*s^2/m^2",
    viscosity_ratio="1",
    density_ratio="1",
)
def filter_drop(
    velocity: Floats, linear: Floats, quadratic: Floats, viscosity_ratio: Floats = 1.0, density_ratio: Floats = 1.0
) -> Floats:
    """Pressure drop of a filter at a face velocity.

    Parameters
    ----------
    velocity : float or array
        Face velocity: flow over the area that the medium is spread on. [m/s]
    linear : float or array, broadcast with the others
        Coefficient a of the drop's linear part: of the medium itself. [Pa*s/m]
    quadratic : float or array, broadcast with the others
        Coefficient b of its quadratic part: of pleats and frame. [Pa*s^2/m^2]
    viscosity_ratio : float or array, broadcast with the others
        Viscosity of the air over that of the air in which the coefficients were found. [1]
    density_ratio : float or array, broadcast with the others
        The same of the densities. [1]

    Returns
    -------
    drop : shape of the broadcast inputs
        Signed as ``velocity``. NaN for a coefficient below 0, and for a ratio not above 0. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dp = a v mu/mu_0 + b v |v| rho/rho_0: the part that goes as the velocity is viscous, the other is of inertia.

    Source
    ------
    Form of Forchheimer; any textbook of flow through porous media.

    Examples
    --------
    >>> round(float(filter_drop(0.5, 38.0, 14.0)), 6)
    22.5
    """
    with np.errstate(all="ignore"):
        drop = linear * np.asarray(velocity, dtype=float) * viscosity_ratio
        drop = drop + quadratic * np.asarray(velocity, dtype=float) * np.abs(velocity) * density_ratio
        return within(_meaningful(linear, quadratic, viscosity_ratio, density_ratio), drop)


@si(
    "m/s",
    drop="Pa",
    linear="Pa*s/m",
    quadratic="Pa*s^2/m^2",
    viscosity_ratio="1",
    density_ratio="1",
)
def filter_velocity(
    drop: Floats, linear: Floats, quadratic: Floats, viscosity_ratio: Floats = 1.0, density_ratio: Floats = 1.0
) -> Floats:
    """Face velocity at which a filter has a pressure drop: the inverse of `filter_drop`.

    Parameters
    ----------
    drop : float or array
        Pressure drop over the filter. [Pa]
    linear : float or array, broadcast with the others
        Coefficient a of the drop's linear part. [Pa*s/m]
    quadratic : float or array, broadcast with the others
        Coefficient b of its quadratic part. [Pa*s^2/m^2]
    viscosity_ratio : float or array, broadcast with the others
        Viscosity of the air over that of the air in which the coefficients were found. [1]
    density_ratio : float or array, broadcast with the others
        The same of the densities. [1]

    Returns
    -------
    velocity : shape of the broadcast inputs
        Signed as ``drop``. NaN for a coefficient below 0 or two that are 0, and for a ratio not above 0. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    v = 2 dp/(a + sqrt(a^2 + 4 b dp)), the root of the quadratic that keeps its digits where b is small.

    Source
    ------
    Algebra.

    Examples
    --------
    >>> round(float(filter_velocity(22.5, 38.0, 14.0)), 6)
    0.5
    """
    with np.errstate(all="ignore"):
        a, b = linear * np.asarray(viscosity_ratio, dtype=float), quadratic * np.asarray(density_ratio, dtype=float)
        velocity = 2.0 * np.asarray(drop, dtype=float) / (a + np.sqrt(np.square(a) + 4.0 * b * np.abs(drop)))
        velocity = np.where((np.asarray(drop) == 0.0) & (a + b > 0.0), 0.0, velocity)
        valid = _meaningful(linear, quadratic, viscosity_ratio, density_ratio) & (a + b > 0.0)
        return within(valid, velocity)


@si("m/s", drop="Pa", factor="Pa*s^n/m^n", exponent="1")
def power_law_velocity(drop: Floats, factor: Floats, exponent: Floats) -> Floats:
    """Face velocity at which a filter that follows a power law has a pressure drop.

    Parameters
    ----------
    drop : float or array
        Pressure drop over the filter. [Pa]
    factor : float or array, broadcast with the others
        Drop at 1 m/s. [Pa*s^n/m^n]
    exponent : float or array, broadcast with the others
        Of the velocity, 1 to 2. [1]

    Returns
    -------
    velocity : shape of the broadcast inputs
        Signed as ``drop``. NaN for a factor not above 0 and an exponent not above 0. [m/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dp = c v^n.

    Source
    ------
    Common form for fibrous filters; n = 1.18 on average: Li et al., Sep. Purif. Technol. 284 (2022) 120209.

    Examples
    --------
    >>> round(float(power_law_velocity(20.0, 40.0, 1.5)), 6)
    0.629961
    """
    with np.errstate(all="ignore"):
        size = np.power(np.abs(drop) / np.asarray(factor, dtype=float), 1.0 / np.asarray(exponent, dtype=float))
        return within((np.asarray(factor) > 0.0) & (np.asarray(exponent) > 0.0), np.copysign(size, drop))


@si("Pa*s^n/m^n", factor="Pa*s^n/m^n", exponent="1", viscosity_ratio="1", density_ratio="1")
def power_law_in_air(factor: Floats, exponent: Floats, viscosity_ratio: Floats, density_ratio: Floats) -> Floats:
    """Factor of a filter's power law in other air than that in which it was found.

    Parameters
    ----------
    factor : float or array
        Drop at 1 m/s. [Pa*s^n/m^n]
    exponent : float or array, broadcast with the others
        Of the velocity. [1]
    viscosity_ratio : float or array, broadcast with the others
        Viscosity of the other air over that of the first. [1]
    density_ratio : float or array, broadcast with the others
        The same of the densities. [1]

    Returns
    -------
    factor : shape of the broadcast inputs
        NaN for a ratio not above 0. [Pa*s^n/m^n]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    c ~ mu^(2-n) rho^(n-1): dp rho/mu^2 is a function of v rho/mu alone, as it is of dp = a v + b v^2 with a ~ mu and
    b ~ rho.

    Source
    ------
    Similarity by Reynolds number.

    Examples
    --------
    >>> round(float(power_law_in_air(40.0, 1.5, 1.1, 0.8)), 4)
    37.5233
    """
    with np.errstate(all="ignore"):
        thick, dense = np.asarray(viscosity_ratio, dtype=float), np.asarray(density_ratio, dtype=float)
        n = np.asarray(exponent, dtype=float)
        scaled = factor * np.power(thick, 2.0 - n) * np.power(dense, n - 1.0)
        return within((thick > 0.0) & (dense > 0.0), scaled)


@si("Pa", flow="m^3/s", coefficient="1/m^4", density="kg/m^3")
def loss_drop(flow: Floats, coefficient: Floats, density: Floats) -> Floats:
    """Pressure lost in grilles, bends and shrouds, which goes as the square of the flow.

    Parameters
    ----------
    flow : float or array
        [m^3/s]
    coefficient : float or array, broadcast with the others
        Sum of zeta/A^2, each loss coefficient over the square of the area that it refers to. [1/m^4]
    density : float or array, broadcast with the others
        Of the air. [kg/m^3]

    Returns
    -------
    drop : shape of the broadcast inputs
        Signed as ``flow``. NaN for a density not above 0. [Pa]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    dp = zeta (rho/2) (q/A)^2.

    Source
    ------
    Definition of the loss coefficient; any handbook of duct design.

    Examples
    --------
    >>> round(float(loss_drop(0.4, 25.0, 1.2)), 6)
    2.4
    """
    with np.errstate(all="ignore"):
        passed = np.asarray(flow, dtype=float)
        return within(np.asarray(density) > 0.0, coefficient * np.asarray(density) / 2.0 * passed * np.abs(passed))


@si("m^3/s", drop="Pa", area="m^2", coefficient="1", density="kg/m^3")
def gap_flow(drop: Floats, area: Floats, coefficient: Floats, density: Floats) -> Floats:
    """Flow through a gap beside a filter, as through a hole.

    Parameters
    ----------
    drop : float or array
        Pressure drop over the filter, and so over the gap. [Pa]
    area : float or array, broadcast with the others
        Area of the gap. [m^2]
    coefficient : float or array, broadcast with the others
        Discharge coefficient, 0.6 to 0.65 of a sharp-edged gap. [1]
    density : float or array, broadcast with the others
        Density of the air. [kg/m^3]

    Returns
    -------
    flow : shape of the broadcast inputs
        Signed as ``drop``. NaN for an area or a coefficient below 0, and for a density not above 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    q = C A sqrt(2 dp/rho).

    Source
    ------
    Equation of Bernoulli with a discharge coefficient; any textbook of fluid mechanics.

    Examples
    --------
    >>> round(float(gap_flow(20.0, 0.001, 0.62, 1.2)), 6)
    0.00358
    """
    with np.errstate(all="ignore"):
        size = coefficient * np.asarray(area, dtype=float) * np.sqrt(2.0 * np.abs(drop) / density)
        valid = (np.asarray(area) >= 0.0) & (np.asarray(coefficient) >= 0.0) & (np.asarray(density) > 0.0)
        return within(valid, np.copysign(size, drop))


@si("1", media_efficiency="1", gap_flow="m^3/s", total_flow="m^3/s")
def efficiency_with_gap(media_efficiency: Floats, gap_flow: Floats, total_flow: Floats) -> Floats:
    """Efficiency of a filter in its frame, where some of the flow passes beside the medium.

    Parameters
    ----------
    media_efficiency : float or array
        Share of particles that the medium holds back. [1]
    gap_flow : float or array, broadcast with the others
        Flow through the gap. [m^3/s]
    total_flow : float or array, broadcast with the others
        Flow through medium and gap together. [m^3/s]

    Returns
    -------
    efficiency : shape of the broadcast inputs
        NaN where the flow through the gap is below 0 or more than the total. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    E = E_media (1 - q_gap/q): what passes the gap is not filtered at all. A gap raises the flow and lowers the
    efficiency at once.

    Source
    ------
    Conservation of particles.

    Examples
    --------
    >>> round(float(efficiency_with_gap(0.9, 0.01, 0.2)), 6)
    0.855
    """
    with np.errstate(all="ignore"):
        beside = np.divide(gap_flow, total_flow)
        return within((beside >= 0.0) & (beside <= 1.0), media_efficiency * (1.0 - beside))


def _meaningful(linear: Floats, quadratic: Floats, viscosity_ratio: Floats, density_ratio: Floats) -> Truth:
    coefficients = (np.asarray(linear) >= 0.0) & (np.asarray(quadratic) >= 0.0)
    return coefficients & (np.asarray(viscosity_ratio) > 0.0) & (np.asarray(density_ratio) > 0.0)
