"""Clean-air rates: what a room has of a cleaner, and what a target takes. Units of concentrations as in `room`."""

from __future__ import annotations

import numpy as np

from flowrig.physics.si import Floats, not_below_0, si, within


@si("m^3/s", volume="m^3", loss_on="1/s", loss_off="1/s")
def clean_air_from_decay(volume: Floats, loss_on: Floats, loss_off: Floats) -> Floats:
    """Clean-air rate of a cleaner from how fast a room clears with it and without it.

    Parameters
    ----------
    volume : float or array
        Volume of the air in the room: net of what stands in it. [m^3]
    loss_on : float or array, broadcast with the others
        Rate of loss with the cleaner at work. [1/s]
    loss_off : float or array, broadcast with the others
        Rate of loss without it, its fan running and its filters out, so that the air mixes alike. [1/s]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        As measured, below 0 too. NaN for a volume not above 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    CADR = V (k_on - k_off).

    Source
    ------
    ANSI/AHAM AC-1 and IEC 63086-2-1, method of decay constants.

    Examples
    --------
    >>> round(float(clean_air_from_decay(1008.0, 0.14988189, 0.0046906441)), 4)
    146.3528
    """
    with np.errstate(all="ignore"):
        room = np.asarray(volume, dtype=float)
        return within(room > 0.0, room * (loss_on - np.asarray(loss_off)))


@si("m^3/s", flow="m^3/s", efficiency="1", short_circuit="1")
def short_circuit_clean_air(flow: Floats, efficiency: Floats, short_circuit: Floats) -> Floats:
    """Clean-air rate that a room has of a cleaner which draws some of its own outlet air back in.

    Parameters
    ----------
    flow : float or array
        Flow Q through the cleaner. [m^3/s]
    efficiency : float or array, broadcast with the others
        Share of particles that it holds back in one pass, eta. [1]
    short_circuit : float or array, broadcast with the others
        Share s of the outlet air that goes straight back to the inlet. [1]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        Over flow times efficiency it is the effectiveness of the room. NaN for a share outside 0 to 1, for a flow
        below 0, and where nothing that is drawn back gets any cleaner (s = 1, eta = 0). The efficiency is else taken as
        it is: one that was measured scatters past 0 and 1. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    Q eta (1 - s)/(1 - s (1 - eta)): the inlet has C_in = (1 - s) C + s (1 - eta) C_in. A worse filter loses less by it,
    as what it draws back is still dirty.

    Source
    ------
    Conservation of particles between outlet, inlet and room.

    Examples
    --------
    >>> round(float(short_circuit_clean_air(1.0, 0.8, 0.2)), 6)
    0.666667
    """
    with np.errstate(all="ignore"):
        share, caught = np.asarray(short_circuit, dtype=float), np.asarray(efficiency, dtype=float)
        recirculated = share * (1.0 - caught)
        clean = flow * caught * (1.0 - share) / (1.0 - recirculated)
        valid = (share >= 0.0) & (share <= 1.0) & (recirculated < 1.0) & np.greater_equal(flow, 0.0)
        return within(valid, clean)


@si("1", flow="m^3/s", efficiency="1", clean_air="m^3/s")
def short_circuit_share(flow: Floats, efficiency: Floats, clean_air: Floats) -> Floats:
    """Share of the outlet air that a cleaner draws back in, from what clean-air rate a room has of it.

    Parameters
    ----------
    flow : float or array
        Flow Q through the cleaner. [m^3/s]
    efficiency : float or array, broadcast with the others
        Share of particles that it holds back in one pass, eta. [1]
    clean_air : float or array, broadcast with the others
        Clean-air rate measured in the room. [m^3/s]

    Returns
    -------
    share : shape of the broadcast inputs
        Below 0 where the room has more of it than flow times efficiency, above 1 for a clean-air rate below 0: what is
        measured scatters past both. NaN for a flow or an efficiency not above 0, and for a clean-air rate of Q eta/(1 -
        eta) and above, which no share gives. [1]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    With e = CADR/(Q eta): s = (1 - e)/(1 - e (1 - eta)), `short_circuit_clean_air` solved for the share. That all of a
    shortfall is air drawn back in is an assumption: air that mixes badly looks the same.

    Source
    ------
    Algebra.

    Examples
    --------
    >>> round(float(short_circuit_share(1.0, 0.8, 2.0 / 3.0)), 6)
    0.2
    """
    with np.errstate(all="ignore"):
        caught = np.asarray(efficiency, dtype=float)
        effectiveness = clean_air / (flow * caught)
        below = 1.0 - effectiveness * (1.0 - caught)
        return within(np.greater(flow, 0.0) & (caught > 0.0) & (below > 0.0), (1.0 - effectiveness) / below)


@si("m^3/s", target="x/m^3", gain="x/(m^3*s)", loss="1/s", volume="m^3")
def clean_air_for_concentration(target: Floats, gain: Floats, loss: Floats, volume: Floats) -> Floats:
    """Clean-air rate that has to be added to hold a room at a concentration, as in smoke.

    Parameters
    ----------
    target : float or array
        Steady concentration wanted. [x/m^3]
    gain : float or array, broadcast with the others
        What enters, as `room_gain` gives it. [x/(m^3*s)]
    loss : float or array, broadcast with the others
        Rate of loss without what is to be added, as `room_loss` gives it. [1/s]
    volume : float or array, broadcast with the others
        Volume of the air in the room. [m^3]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        0 where the target is met without. Any target above 0 is reached by a rate large enough, if the room stays well
        mixed: whether it can be had there is not asked here. Infinite for a target of 0 while something enters: no rate
        reaches it. NaN where nothing enters and nothing leaves, as nothing is ever steady but what was there, for a
        volume not above 0, and for a target, a gain or a loss below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    CADR = V (S/C_t - K), at least 0. Without mechanical outdoor air V [(P lambda C_out + E/V)/C_t - lambda - k_d].

    Source
    ------
    dC/dt = S - K C at rest.

    Examples
    --------
    >>> from flowrig.physics.room import room_gain, room_loss
    >>> gain, loss = room_gain(250.0, 0.8, 0.5, 0.0, 200.0), room_loss(0.5, 0.3, 0.0, 200.0)
    >>> round(float(clean_air_for_concentration(9.0, gain, loss, 200.0)), 2)
    2062.22
    """
    with np.errstate(all="ignore"):
        wanted = np.where(np.equal(gain, 0.0), 0.0, np.divide(gain, target))
        needed = np.maximum(volume * (wanted - loss), 0.0)
        valid = np.greater(volume, 0.0) & np.greater(gain + np.asarray(loss), 0.0)
        return within(valid & not_below_0(target, gain, loss), needed)


@si("m^3/s", air_changes="1/s", volume="m^3", outdoor_air="m^3/s")
def clean_air_for_air_changes(air_changes: Floats, volume: Floats, outdoor_air: Floats = 0.0) -> Floats:
    """Clean-air rate that has to be added for a number of air changes.

    Parameters
    ----------
    air_changes : float or array
        Changes of clean air wanted. [1/s]
    volume : float or array, broadcast with the others
        Volume of the room. [m^3]
    outdoor_air : float or array, broadcast with the others
        Flow of outdoor air that a fan blows in: it counts towards such a target. Infiltration and deposition do not.
        [m^3/s]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        0 where the outdoor air is enough. NaN for a volume not above 0, and for air changes or a flow below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    CADR = V n - q_o, at least 0. No target of this kind says how dirty the air will be: in smoke outdoor air is what
    makes it so.

    Source
    ------
    CDC ventilation guidance of May 2023: 5 air changes an hour of clean air in occupied rooms.

    Examples
    --------
    >>> float(clean_air_for_air_changes(5.0, 50.0, 30.0))
    220.0
    """
    with np.errstate(all="ignore"):
        needed = np.maximum(air_changes * np.asarray(volume, dtype=float) - outdoor_air, 0.0)
        return within(np.greater(volume, 0.0) & not_below_0(air_changes, outdoor_air), needed)


@si("m^3/s", persons="1", per_person="m^3/s", outdoor_air="m^3/s")
def clean_air_for_persons(persons: Floats, per_person: Floats, outdoor_air: Floats = 0.0) -> Floats:
    """Clean-air rate that has to be added for a flow of clean air to each person.

    Parameters
    ----------
    persons : float or array
        Number of persons in the room. [1]
    per_person : float or array, broadcast with the others
        Clean air wanted for each: guidance on infection, not on smoke. [m^3/s]
    outdoor_air : float or array, broadcast with the others
        Flow of outdoor air that a fan blows in: it counts towards such a target. Infiltration and deposition do not.
        [m^3/s]

    Returns
    -------
    clean_air : shape of the broadcast inputs
        0 where the outdoor air is enough. NaN for an input below 0. [m^3/s]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    CADR = N q - q_o, at least 0.

    Source
    ------
    Form of ASHRAE 241-2023, Table 5-1 (from memory), and of the guidance of the California Department of Public Health.

    Examples
    --------
    >>> float(clean_air_for_persons(6.0, 30.0, 20.0))
    160.0
    """
    with np.errstate(all="ignore"):
        needed = np.maximum(persons * np.asarray(per_person, dtype=float) - outdoor_air, 0.0)
        return within(not_below_0(persons, per_person, outdoor_air), needed)
