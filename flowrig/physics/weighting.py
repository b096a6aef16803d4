"""A-weighting: what an ear makes of sound in bands."""

from __future__ import annotations

import math

import numpy as np

from flowrig.physics.si import Floats, si, within
from flowrig.physics.sound import energy_sum

_REFERENCE, _LOW, _HIGH, _A = 1000.0, 10.0**1.5, 10.0**3.9, 10.0**2.45  # Hz
_MEAN = (_REFERENCE**2 + (_LOW * _HIGH / _REFERENCE) ** 2 - math.sqrt(0.5) * (_LOW**2 + _HIGH**2)) / (
    1.0 - math.sqrt(0.5)
)
_ROOT = math.sqrt(_MEAN**2 - 4.0 * (_LOW * _HIGH) ** 2)
_POLES = (
    math.sqrt((-_MEAN - _ROOT) / 2.0),  # 20.60 Hz
    (3.0 - math.sqrt(5.0)) / 2.0 * _A,  # 107.7 Hz
    (3.0 + math.sqrt(5.0)) / 2.0 * _A,  # 737.9 Hz
    math.sqrt((-_MEAN + _ROOT) / 2.0),  # 12194 Hz
)
_PLACES = 24  # within a band: the weighted sum is then good to 0.002 dB over an octave
_NOMINAL = 0.0125  # a nominal frequency lies within 1 % of its exact one, and 11 % from the next


@si("Hz", nominal="Hz")
def band_frequency(nominal: Floats) -> Floats:
    """Exact middle frequency of an octave or third-octave band from its nominal one.

    Parameters
    ----------
    nominal : float or array
        Frequency by which the band is called, such as 63 or 31.5. [Hz]

    Returns
    -------
    frequency : shape of the input
        NaN where no band has such a name: more than 1.25 % from every exact frequency. [Hz]

    Raises
    ------
    Nothing.

    Notes
    -----
    1000 * 10^(n/10) with a whole number n, a multiple of 3 for octaves.

    Source
    ------
    IEC 61260-1:2014, system to the base of ten (from memory).

    Examples
    --------
    >>> round(float(band_frequency(63.0)), 3)
    63.096
    """
    with np.errstate(all="ignore"):
        called = np.asarray(nominal, dtype=float)
        exact = _REFERENCE * np.power(10.0, np.round(10.0 * np.log10(called / _REFERENCE)) / 10.0)
        return within(np.abs(called / exact - 1.0) <= _NOMINAL, exact)


@si("dB", frequency="Hz")
def a_weighting(frequency: Floats) -> Floats:
    """A-weighting at a frequency: what is added to a level.

    Parameters
    ----------
    frequency : float or array
        The frequency itself; of a band the exact one, as `band_frequency` gives it. [Hz]

    Returns
    -------
    weighting : shape of the input
        Exactly 0 at 1000 Hz. NaN for a frequency not above 0. [dB]

    Raises
    ------
    Nothing.

    Notes
    -----
    20 lg[f4^2 f^4/((f^2 + f1^2) sqrt(f^2 + f2^2) sqrt(f^2 + f3^2) (f^2 + f4^2))] less the same at 1000 Hz, with the
    four poles computed from the standard's corner frequencies. Its table has this to a tenth of a decibel.

    Source
    ------
    IEC 61672-1:2013, Annex E (poles from memory).

    Examples
    --------
    >>> round(float(a_weighting(100.0)), 3)
    -19.143
    """
    with np.errstate(all="ignore"):
        heard = np.asarray(frequency, dtype=float)
        return within(heard > 0.0, _response(heard) - _response(np.asarray(_REFERENCE)))


@si("dB", level="dB", nominal="Hz")
def a_weighted_level(level: Floats, nominal: Floats) -> Floats:
    """A-weighted level from levels in octave or third-octave bands.

    Parameters
    ----------
    level : array, bands on the last axis
        Level in each band, without weighting; minus infinity for a silent one. [dB]
    nominal : array, broadcast with ``level``
        Nominal middle frequency of each. [Hz]

    Returns
    -------
    level : shape of the broadcast inputs with the last axis at length 1
        NaN where a level is missing, or a frequency is not that of a band. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Notes
    -----
    10 lg sum(10^((L + A)/10)) with the weighting at the exact middle. What lies in bands that were not measured is left
    out; a tone at the edge of an octave below 250 Hz is weighted wrong by several decibels.

    Source
    ------
    Definition of the level and IEC 61672-1:2013.

    Examples
    --------
    >>> import numpy as np
    >>> a_weighted_level(np.array([50.0, 50.0]), np.array([500.0, 1000.0])).round(4)
    array([51.6881])
    """
    return energy_sum(level + a_weighting(band_frequency(nominal)))


@si("dB", level="dB", nominal="Hz", per_octave="1")
def a_weighted_level_sloped(level: Floats, nominal: Floats, per_octave: Floats) -> Floats:
    """A-weighted level from levels in bands whose sound is not spread evenly: a second view of `a_weighted_level`.

    Parameters
    ----------
    level : array, bands on the last axis
        Level in each band, without weighting, in the order of rising frequency. [dB]
    nominal : array, shape (bands,)
        Nominal middle frequency of each. [Hz]
    per_octave : float
        1 for octaves, 3 for third-octaves. [1]

    Returns
    -------
    level : shape of ``level`` with the last axis at length 1
        NaN where a level is missing, or a frequency is not that of a band. [dB]

    Raises
    ------
    ValueError
        Only if the shapes do not fit.

    Notes
    -----
    Within a band the sound slopes, in decibels over the logarithm of the frequency, on straight lines to the middles of
    its neighbours; each band keeps its level. The weighting is taken at each frequency and not at the middle alone. The
    difference to `a_weighted_level` tells how far bands are too coarse: some tenths of a decibel for octaves, some
    hundredths for third-octaves. A tone may lie anywhere in its band, which neither tells.

    Source
    ------
    Definition of the level and IEC 61672-1:2013; the slope within a band: own judgement, no source.

    Examples
    --------
    >>> import numpy as np
    >>> bands = np.array([63.0, 125.0, 250.0, 500.0, 1000.0])
    >>> a_weighted_level_sloped(np.array([63.0, 58.0, 53.0, 48.0, 43.0]), bands, 1.0).round(2)
    array([49.67])
    """
    with np.errstate(all="ignore"):
        middle = np.log10(band_frequency(nominal))
        levels = np.asarray(level, dtype=float)
        step = np.diff(levels, axis=-1) / np.diff(middle)
        step = np.where(np.isfinite(step), step, 0.0)  # beside a silent band nothing is known of a slope
        flat = np.zeros((*levels.shape[:-1], 1))
        below, above = np.concatenate([flat, step], axis=-1), np.concatenate([step, flat], axis=-1)
        width = 0.3 / per_octave  # an octave is 0.3 of a decade in the system to the base of ten
        offset = ((np.arange(_PLACES) + 0.5) / _PLACES - 0.5) * width
        slope = np.where(offset < 0.0, below[..., np.newaxis], above[..., np.newaxis])
        share = energy_sum(slope * offset)
        weighted = energy_sum(slope * offset + a_weighting(np.power(10.0, middle[:, np.newaxis] + offset)))
        return energy_sum(levels + np.subtract(weighted, share)[..., 0])


def _response(frequency: Floats) -> Floats:
    square = np.square(frequency)
    first, second, third, fourth = (pole**2 for pole in _POLES)
    # each quotient by itself, so that no power of a frequency overflows before the others bring it down
    quotient = (square / (square + first)) * (fourth / (square + fourth))
    quotient = quotient * np.sqrt(square / (square + second)) * np.sqrt(square / (square + third))
    response: Floats = 20.0 * np.log10(quotient)
    return response
