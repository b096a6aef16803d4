"""The level of a unit alone, from readings at several places and in several bands, with and without it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from flowrig.physics.sound import energy_mean, energy_sum, level_upper_bound, level_without_background
from flowrig.physics.weighting import a_weighted_level, a_weighted_level_sloped, a_weighting, band_frequency
from flowrig.records.declare import Finding
from flowrig.records.estimates import reading_estimate
from flowrig.records.items import Array, Item
from flowrig.records.record import Record
from flowrig.records.sound_facts import ENGINEERING, SURVEY
from flowrig.records.sound_readings import WIDE, Cells, Sound
from flowrig.studies.odd import odd_readings
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Bools, Estimate
from flowrig.uncertainty.propagate import linear

PLACE, BAND = "point", "band"  # a meter's last digit is another error at each point
NEPER = 10.0 / math.log(10.0)  # decibels for a change of energy by e
GRADES = {ENGINEERING: (6.0, 1.3), SURVEY: (3.0, 3.0)}  # least difference, greatest correction [dB]
ONCE = 1.0  # dB, either way: what a background read once may have been off by; own judgement, no source
LITTLE = 1.0  # dB: bands near their background that add no more in all leave a level, not a bound; own judgement
ANY = 1e-6  # dB: a draw may come nearer to the background than the readings did


@dataclass
class Level:
    """A level of a unit alone.

    Attributes
    ----------
    estimate : Estimate
        [dB]; of a bound, what the unit does not exceed.
    bound : bool
        The background is too near for more than that.
    shown, background : float
        Means by energy, A-weighted. [dB]; the background NaN where it was not read.
    places, repeats : int
        Repeats at the place that has the fewest.
    range : float
        From the quietest to the loudest place; of one place, of its repeats. [dB]
    bands : array
        Nominal middle frequencies; empty for a level as shown.
    near : array
        Those of bands too near their background.
    once : bool
        The background was read once.
    findings : list of Finding
        Of its readings.
    """

    estimate: Estimate
    bound: bool
    shown: float
    background: float
    places: int
    repeats: int
    range: float
    bands: Array
    near: Array
    once: bool
    findings: list[Finding] = field(default_factory=list)

    @property
    def octaves(self) -> bool:
        return bool(self.bands.size) and per_octave(self.bands) == 1.0


def level_alone(sound: Sound, record: Record) -> Level:
    """Level of a unit, its background taken off as far as that may be.

    Parameters
    ----------
    sound : Sound
    record : Record

    Notes
    -----
    Levels are averaged by energy, over repeats and then over places, band by band; from each the background is taken
    off, and the bands are weighted and added. Where the background is nearer than the grade allows, the correction is
    capped and the result an upper bound; bands that are too near and add no more than a decibel in all are taken as
    half of what they may be, give or take all of it.

    The error of the mean is told by the scatter of the places, see `spread_of`. A meter's limit is one error of all
    its readings, those of the background too. By how much octaves are too coarse is told by a second look at the
    spectrum (`a_weighted_level_sloped`), whose distance is a limit. A background that was read once is uncertain by
    1 dB either way: own judgement.

    Source
    ------
    ISO 3744:2010 and ISO 3746:2010, mean over the places, correction for background and its cap (from memory).
    """
    section = sound.section
    least, cap = GRADES[str(section.value("grade"))]
    bands = sound.cells["level"].bands
    banded = bool(bands[0] != WIDE)
    weights = np.asarray(a_weighting(band_frequency(bands))) if banded else np.zeros(1)
    findings: list[Finding] = []
    inputs: dict[str, Estimate] = {}
    means: dict[str, Array] = {}
    of_places: dict[str, Array] = {}
    for name, cells in sound.cells.items():
        x = _shown(section[name], cells, record, findings)
        inputs[name], means[name] = x, np.ravel(_mean(x.value))
        of_places[name] = _levels(section[name], cells, weights)
        inputs[f"{name}_scatter"] = _scatter(section[name], cells, of_places[name], record)
    shown = means["level"]
    behind = means.get("background", np.full(len(bands), -np.inf))
    near = shown - behind < least - 1e-9
    alone = np.where(near, level_upper_bound(shown, behind, cap), level_without_background(shown, behind, ANY))
    bound = bool(np.any(near)) and _adds(alone + weights, near) > LITTLE
    inputs |= {
        "weights": Estimate(weights, (BAND,)),
        "near": Estimate(near, (BAND,)),
        "part": _part(bool(np.any(near)) and not bound, record),
        "coarse": _coarse(alone, bands, record) if banded else Estimate(0.0),
    }
    return Level(
        linear(_alone, inputs, (PLACE, BAND), {"level": ()}, cap=cap)["level"],
        bound,
        float(np.squeeze(energy_sum(shown + weights))),
        float(np.squeeze(energy_sum(behind + weights))) if "background" in means else math.nan,
        len(sound.cells["level"].places),
        min(len(own[0]) for own in sound.cells["level"].rows),
        float(np.ptp(of_places["level"])),
        bands if banded else np.zeros(0),
        bands[near] if banded else np.zeros(0),
        "background" in means and section["background"].value.size == len(bands),
        findings,
    )


def spread_of(levels: Array) -> tuple[float, float]:
    """Standard uncertainty of the mean by energy of some levels, in decibels, and its degrees of freedom.

    Parameters
    ----------
    levels : array, shape (n,)
        At places drawn from all there are, or in repeats. [dB]

    Notes
    -----
    The greater of two: the standard error of the mean energy over that energy; and that of the level, had the levels a
    normal distribution, √(s²/n + (ln 10/20)² 2 s⁴/(n-1)). Energies of few places are lopsided: a loud place that was
    missed leaves too little scatter. Together, with Student's t, they held the truth in 94 to 95 % of simulated means
    of 3 to 12 places that scatter by up to 3 dB, where the first alone did in 92 %.

    Source
    ------
    JCGM 100:2008 4.2.3; Zhou and Gao, Stat. Med. 16 (1997) 783, confidence intervals of a lognormal mean (both from
    memory). The greater of the two: own choice, held by a test of coverage.
    """
    n = len(levels)
    energy = np.power(10.0, (levels - np.max(levels)) / 10.0)
    by_energy = NEPER * float(np.std(energy, ddof=1) / np.mean(energy)) / math.sqrt(n)
    variance = float(np.var(levels, ddof=1))
    by_level = math.sqrt(variance / n + 2.0 * variance**2 / (2.0 * NEPER) ** 2 / (n - 1))
    return max(by_energy, by_level), n - 1.0


def per_octave(bands: Array) -> float:
    """1 for octaves, 3 where some of the bands are no octaves."""
    steps = np.round(10.0 * np.log10(np.asarray(band_frequency(bands)) / 1000.0))
    return 1.0 if np.all(steps % 3 == 0) else 3.0


def _shown(item: Item, cells: Cells, record: Record, findings: list[Finding]) -> Estimate:
    """Levels by place and band: means by energy over repeats, with what the meter may be off by."""
    for own in (rows for place in cells.rows for rows in place):
        findings += odd_readings(replace(item, value=item.value[own]), None)
    means = [[np.squeeze(energy_mean(item.value[own])) for own in place] for place in cells.rows]
    one = replace(item, value=np.array(means)[np.newaxis], run="")
    read = reading_estimate(one, record.instruments.get(item.instrument), record, (PLACE, BAND))
    findings += read.findings
    return read.estimate


def _levels(item: Item, cells: Cells, weights: Array) -> Array:
    """Weighted levels of the places; of one place those of its repeats."""
    each = [
        np.squeeze(energy_sum(np.stack([item.value[own] for own in place], axis=-1) + weights), axis=-1)
        for place in cells.rows
    ]
    return np.array([np.squeeze(energy_mean(own)) for own in each]) if len(each) > 1 else np.asarray(each[0])


def _scatter(item: Item, cells: Cells, levels: Array, record: Record) -> Estimate:
    """What the mean over the places may be off by, as their levels scatter; of one place, its repeats."""
    where = f"{record.id}:{item.path}"
    if len(levels) > 1:
        u, dof = spread_of(levels)
        label = f"scatter of {item.field.name} {'over the places' if len(cells.places) > 1 else 'over repeats'}"
        return Estimate(0.0, (), {Cause(f"{where}:scatter", dof=dof, scope="reading", label=label): [u]} if u else {})
    if item.field.name == "level":
        return Estimate(0.0)
    cause = Cause(f"{where}:once", shape="rectangular", scope="reading", label="background, read once")
    return Estimate(0.0, (), {cause: [ONCE / math.sqrt(3)]})


def _adds(alone: Array, near: Bools) -> float:
    """By how much bands near their background can raise the level that the others make. [dB]"""
    if np.all(near):
        return math.inf
    return float(np.squeeze(energy_sum(alone)) - np.squeeze(energy_sum(alone[~near])))


def _part(some: bool, record: Record) -> Estimate:
    """How much of what they may be bands near their background are."""
    if not some:
        return Estimate(1.0)
    label = "bands near their background"
    cause = Cause(f"{record.id}:sound:near bands", shape="rectangular", scope="reading", label=label)
    return Estimate(0.5, (), {cause: [0.5 / math.sqrt(3)]})


def _coarse(alone: Array, bands: Array, record: Record) -> Estimate:
    apart = a_weighted_level_sloped(alone, bands, per_octave(bands)) - a_weighted_level(alone, bands)
    cause = Cause(f"{record.id}:sound:bands", shape="rectangular", scope="setup", label="weighting within a band")
    return Estimate(0.0, (), {cause: [abs(float(np.squeeze(apart))) / math.sqrt(3)]})


def _mean(levels: Array) -> Array:
    """By energy over the places, the last axis but one."""
    return np.swapaxes(np.asarray(energy_mean(np.swapaxes(levels, -1, -2))), -1, -2)


def _alone(
    *,
    level: Array,
    level_scatter: Array,
    weights: Array,
    near: Array,
    part: Array,
    coarse: Array,
    cap: float,
    background: Array | None = None,
    background_scatter: Array | float = 0.0,
) -> dict[str, Array]:
    alone = _mean(level) + level_scatter
    if background is not None:
        behind = _mean(background) + background_scatter
        alone = np.where(near > 0, level_upper_bound(alone, behind, cap), level_without_background(alone, behind, ANY))
    with np.errstate(all="ignore"):
        energy = np.power(10.0, (alone + weights) / 10.0) * np.where(near > 0, part, 1.0)
        return {"level": 10.0 * np.log10(np.sum(energy, axis=-1, keepdims=True)) + coarse}
