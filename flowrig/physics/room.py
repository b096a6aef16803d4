"""A well-mixed room: how dirty its air is, and how fast it clears.

The balance is linear, so that a concentration may be a mass or a number of particles in a volume of air. Units write x
for what is counted, kg or 1; it has to be the same throughout a call.
"""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, not_below_0, si, within


@si(
    "x/(m^3*s)",
    outdoor="x/m^3",
    penetration="1",
    infiltration="1/s",
    source="x/s",
    volume="m^3",
    outdoor_air="m^3/s",
    outdoor_air_efficiency="1",
)
def room_gain(
    outdoor: Floats,
    penetration: Floats,
    infiltration: Floats,
    source: Floats,
    volume: Floats,
    outdoor_air: Floats = 0.0,
    outdoor_air_efficiency: Floats = 0.0,
) -> Floats:
    """What enters the air of a room, for each volume of the room.

    Parameters
    ----------
    outdoor : float or array
        Concentration outdoors. [x/m^3]
    penetration : float or array, broadcast with the others
        Share P of what is in infiltrating air that comes through the cracks, 1 through an open window. [1]
    infiltration : float or array, broadcast with the others
        Air changes lambda by outdoor air that nobody blows in. [1/s]
    source : float or array, broadcast with the others
        What is set free indoors. [x/s]
    volume : float or array, broadcast with the others
        Volume of the air in the room. [m^3]
    outdoor_air : float or array, broadcast with the others
        Flow of outdoor air that a fan blows in. [m^3/s]
    outdoor_air_efficiency : float or array, broadcast with the others
        Efficiency of the filter in that flow, 0 without one. [1]

    Returns
    -------
    gain : shape of the broadcast inputs
        NaN for a volume not above 0, and for a concentration, an air change, a source or a flow below 0. The two shares
        are taken as they are: one that was measured scatters past 0 and 1. [x/(m^3*s)]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    S = P lambda C_out + (1 - eta_o) (q_o/V) C_out + E/V, of dC/dt = S - K C.

    Source
    ------
    Conservation of particles in one well-mixed zone; any textbook of indoor air.

    Examples
    --------
    >>> round(float(room_gain(35.0, 0.8, 0.5, 2000.0, 50.0)), 6)
    54.0
    """
    with np.errstate(all="ignore"):
        room = np.asarray(volume, dtype=float)
        blown = (1.0 - np.asarray(outdoor_air_efficiency)) * outdoor_air / room
        gain = outdoor * (penetration * np.asarray(infiltration, dtype=float) + blown) + source / room
        return within((room > 0.0) & not_below_0(outdoor, infiltration, source, outdoor_air), gain)


@si("1/s", infiltration="1/s", deposition="1/s", clean_air="m^3/s", volume="m^3", outdoor_air="m^3/s")
def room_loss(
    infiltration: Floats, deposition: Floats, clean_air: Floats, volume: Floats, outdoor_air: Floats = 0.0
) -> Floats:
    """Rate at which a room loses what is in its air, by air that leaves, by deposition and by cleaning.

    Parameters
    ----------
    infiltration : float or array
        Air changes lambda by outdoor air that nobody blows in. [1/s]
    deposition : float or array, broadcast with the others
        Rate k_d at which particles settle on surfaces. [1/s]
    clean_air : float or array, broadcast with the others
        Clean-air rate of all cleaners in the room. [m^3/s]
    volume : float or array, broadcast with the others
        Volume of the air in the room. [m^3]
    outdoor_air : float or array, broadcast with the others
        Flow of outdoor air that a fan blows in: as much room air leaves. [m^3/s]

    Returns
    -------
    loss : shape of the broadcast inputs
        NaN for a volume not above 0, and for a rate or a flow of outdoor air below 0. A clean-air rate is taken as it
        is: one that was measured may be below 0. [1/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    K = lambda + k_d + (CADR + q_o)/V.

    Source
    ------
    Conservation of particles in one well-mixed zone; any textbook of indoor air.

    Examples
    --------
    >>> round(float(room_loss(0.5, 0.4, 250.0, 50.0)), 6)
    5.9
    """
    with np.errstate(all="ignore"):
        room = np.asarray(volume, dtype=float)
        loss = infiltration + np.asarray(deposition) + (clean_air + np.asarray(outdoor_air)) / room
        return within((room > 0.0) & not_below_0(infiltration, deposition, outdoor_air), loss)


@si("x/m^3", gain="x/(m^3*s)", loss="1/s")
def steady_concentration(gain: Floats, loss: Floats) -> Floats:
    """Concentration at which as much leaves the air of a room as enters it.

    Parameters
    ----------
    gain : float or array
        What enters, as `room_gain` gives it. [x/(m^3*s)]
    loss : float or array, broadcast with ``gain``
        Rate of loss, as `room_loss` gives it. [1/s]

    Returns
    -------
    concentration : shape of the broadcast inputs
        Infinite where something enters and nothing leaves: it rises for ever. NaN where neither happens, as such a room
        keeps what it holds, and for a gain or a loss below 0. [x/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C_s = S/K. With ``gain`` for an outdoor concentration of 1 it is the share of outdoor particles found indoors.

    Source
    ------
    dC/dt = S - K C at rest.

    Examples
    --------
    >>> round(float(steady_concentration(14.0, 5.9)), 6)
    2.372881
    """
    with np.errstate(all="ignore"):
        return within(not_below_0(gain, loss), np.divide(gain, loss))


@si("x/m^3", time="s", initial="x/m^3", gain="x/(m^3*s)", loss="1/s")
def concentration_at(time: Floats, initial: Floats, gain: Floats, loss: Floats) -> Floats:
    """Concentration in a room some time after a known one, gain and loss being constant.

    Parameters
    ----------
    time : float or array
        Time since the initial concentration. [s]
    initial : float or array, broadcast with the others
        Concentration at time 0. [x/m^3]
    gain : float or array, broadcast with the others
        What enters, as `room_gain` gives it. [x/(m^3*s)]
    loss : float or array, broadcast with the others
        Rate of loss, as `room_loss` gives it. [1/s]

    Returns
    -------
    concentration : shape of the broadcast inputs
        NaN for an input below 0. [x/m^3]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    C = C_0 e^(-K t) + S (1 - e^(-K t))/K; without a loss C_0 + S t.

    Source
    ------
    Solution of dC/dt = S - K C.

    Examples
    --------
    >>> round(float(concentration_at(0.25, 100.0, 14.0, 5.9)), 6)
    24.707889
    """
    with np.errstate(all="ignore"):
        cleared = np.asarray(time, dtype=float) * loss
        filling = time * np.where(cleared == 0.0, 1.0, -np.expm1(-cleared) / cleared)
        level = initial * np.exp(-cleared) + gain * filling
        return within(not_below_0(time, initial, gain, loss), level)


@si("s", target="x/m^3", initial="x/m^3", gain="x/(m^3*s)", loss="1/s")
def time_to_concentration(target: Floats, initial: Floats, gain: Floats, loss: Floats) -> Floats:
    """Time until a room has come down to a concentration, gain and loss being constant.

    Parameters
    ----------
    target : float or array
        Concentration wanted. [x/m^3]
    initial : float or array, broadcast with the others
        Concentration at time 0. [x/m^3]
    gain : float or array, broadcast with the others
        What enters, as `room_gain` gives it. [x/(m^3*s)]
    loss : float or array, broadcast with the others
        Rate of loss, as `room_loss` gives it. [1/s]

    Returns
    -------
    time : shape of the broadcast inputs
        0 where the room is at the target or below it at the start, though it may rise past it later. Infinite where it
        is never reached: the steady concentration lies at the target or above it. NaN for an input below 0. [s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    t = ln((C_0 - C_s)/(C_t - C_s))/K with C_s = S/K.

    Source
    ------
    Solution of dC/dt = S - K C.

    Examples
    --------
    >>> round(60.0 * float(time_to_concentration(10.0, 100.0, 14.0, 5.9)), 6)
    25.926561
    """
    with np.errstate(all="ignore"):
        steady = np.divide(gain, loss)
        time = np.log1p((initial - np.asarray(target)) / (target - steady)) / loss
        time = np.where(target - steady > 0.0, time, np.inf)
        time = np.where(np.less_equal(initial, target), 0.0, time)
        return within(not_below_0(target, initial, gain, loss), time)


@si("s", share="1", loss="1/s")
def removal_time(share: Floats, loss: Floats) -> Floats:
    """Time in which a share of what is in the air of a room is removed, while nothing enters.

    Parameters
    ----------
    share : float or array
        Share removed, such as 0.9, 0.99 or 0.999. [1]
    loss : float or array, broadcast with ``share``
        Rate of loss: air changes, as `room_loss` gives them. [1/s]

    Returns
    -------
    time : shape of the broadcast inputs
        Infinite for a share of 1, and for any share above 0 without a loss. NaN for a share outside 0 to 1 and for a
        loss below 0. [s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    t = -ln(1 - share)/K. A room that mixes badly takes longer.

    Source
    ------
    CDC, Guidelines for Environmental Infection Control in Health-Care Facilities (2003), Appendix B, Table B.1.

    Examples
    --------
    >>> round(60.0 * float(removal_time(0.99, 6.0)), 3)
    46.052
    """
    with np.errstate(all="ignore"):
        part, rate = np.asarray(share, dtype=float), np.asarray(loss, dtype=float)
        time = np.where(part == 0.0, 0.0, -np.log1p(-part) / np.abs(rate))
        return within((part >= 0.0) & (part <= 1.0) & (rate >= 0.0), time)


@si("1/s", half_life="s")
def loss_from_half_life(half_life: Floats) -> Floats:
    """Rate of loss of a room in which the concentration halves in a given time.

    Parameters
    ----------
    half_life : float or array
        Time in which the concentration comes down to half, while nothing enters. [s]

    Returns
    -------
    loss : shape of the input
        NaN for a time not above 0. [1/s]

    Raises
    ------
    Nothing.

    Notes
    -----
    K = ln 2/t_half. A formula in steps of whole minutes, 1 - 2^(-1 min/t_half) a minute, is low by 1.9 % at a half-life
    of 18.4 min and by 3.5 % at 9.6 min.

    Source
    ------
    Definition of the half-life.

    Examples
    --------
    >>> round(60.0 * float(loss_from_half_life(9.6 * 60.0)), 6)
    0.072203
    """
    with np.errstate(all="ignore"):
        return within(np.greater(half_life, 0.0), np.divide(np.log(2.0), half_life))
