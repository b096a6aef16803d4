"""What a calibration and its checks come to place by place, with error bars, to be drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.records.calibration import CalibrationFile
from flowrig.records.formulas import Formula
from flowrig.records.items import Array
from flowrig.studies.calibrate import Calibrated, curve_at
from flowrig.studies.picture import Band
from flowrig.studies.verify import Check
from flowrig.uncertainty.batch import batch_interval
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import coverage_factor

PLACES = 60  # of a curve
PLACE = "place"  # their axis: not that of the points


@dataclass
class CurveBand:
    """A calibrated curve over its range. SI.

    Attributes
    ----------
    argument : array, shape (n,)
        From the lowest end of the range to the highest.
    curve : Band
    off_low, off_high : array, shape (n,)
        Ends of the band off the curve itself: as a share of it for a flow, else in the unit of the result.
    """

    argument: Array
    curve: Band
    off_low: Array
    off_high: Array


@dataclass
class Points:
    """Points of a calibration with their bars. SI.

    Attributes
    ----------
    result : Band
        What the reference said, with all that is wrong of it.
    off : array, shape (n,)
        Of the curve, as the formula states it.
    half : array, shape (n,)
        Half-width of what is a point's own in that: independent from the next, scatter beyond known errors included.
    """

    result: Band
    off: Array
    half: Array


def curve_band(
    formula: Formula, numbers: Mapping[str, Estimate], lowest: float, highest: float, coverage: float = 0.95
) -> CurveBand:
    """A curve with its band from one argument to another, each place by itself.

    Parameters
    ----------
    formula : Formula
    numbers : mapping of str to Estimate
        Of the formula.
    lowest, highest : float
        Places are spread by equal ratios where both are above 0 and a flow is told, else evenly.
    coverage : float
    """
    even = not (formula.relative and lowest > 0.0)
    x = np.linspace(lowest, highest, PLACES) if even else np.geomspace(lowest, highest, PLACES)
    x[-1] = highest
    band = _band(curve_at(formula, numbers, x, PLACE), coverage)
    low, high = (formula_off(formula, end, band.value) for end in (band.low, band.high))
    return CurveBand(x, band, low, high)


def formula_off(formula: Formula, result: Array, curve: Array) -> Array:
    """How far a result lies off a curve, as the formula states residuals."""
    return np.asarray(np.divide(result, curve) - 1.0 if formula.relative else np.subtract(result, curve))


def points_with_bars(done: Calibrated, coverage: float = 0.95) -> Points:
    """The points of a calibration, what the reference said of each, and how far each lies off the curve."""
    pairs, found = done.pairs, done.found
    size = found.weights * float(coverage_factor(coverage, found.dof))
    if done.formula.relative and done.formula.powers:  # fitted as a flow, told as a share of it
        size = size / np.abs(done.formula.curve(_values(done), pairs.shown.value))
    return Points(_band(pairs.truth, coverage), done.residuals, np.asarray(size))


@dataclass
class Differences:
    """Points of a check off the calibration.

    Attributes
    ----------
    off : array, shape (n,)
        As a share of a flow, or in the unit of an instrument.
    half, half_unshared : array, shape (n,)
        How far each may lie off before its ratio E_n is 1: what both share cancelled, and not.
    """

    off: Array
    half: Array
    half_unshared: Array


def differences(calibration: CalibrationFile, check: Check) -> Differences:
    """How far every point of a check lies off, and how far it may: at the level that the check was judged by."""
    scale = np.abs(check.expected.value) if calibration.formula.relative else np.ones(len(check.held))
    half, unshared = [], []
    for held, size in zip(check.held, scale, strict=True):
        half.append(float(held.difference.u) * float(coverage_factor(check.level, held.difference.dof)) / size)
        wide = held.u_unshared * float(coverage_factor(check.level))
        if held.e_n_unshared and np.isfinite(held.e_n_unshared):
            wide = abs(float(held.difference.value) / held.e_n_unshared)
        unshared.append(wide / size)
    return Differences(check.off.value, np.array(half), np.array(unshared))


def _band(estimate: Estimate, coverage: float) -> Band:
    """From its parts alone, as a single place is told: draws do not fit the curve anew."""
    bar, _ = batch_interval(Estimate(estimate.value, estimate.axes, estimate.parts), coverage)
    return Band(estimate, np.asarray(bar.low), np.asarray(bar.high))


def _values(done: Calibrated) -> dict[str, float]:
    return {name: float(x.value) for name, x in done.numbers.items()}
