"""The short study: rigs enough to see an error bar that forgets a cause, in a minute. The long one is the package."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.coverage import study
from tests.coverage.catalogue import RIGS
from tests.coverage.profiles import mean_over_circle, mean_over_rectangle
from tests.coverage.rigs import correlated, following

# How many of each kind: what is drawn by Monte Carlo takes ten times as long.
SHORT = {
    "nozzle, 25 Pa": 150,
    "nozzle, 100 Pa": 150,
    "nozzle, 250 Pa": 150,
    "bank of 150 and 100 mm, 180 Pa": 150,
    "nozzle, 25 Pa, manometer within 1 Pa": 40,
    "12 scattered repeats": 150,
    "4 scattered repeats": 20,
    "zero drifts, read": 150,
    "difference of two runs, 100 and 90 Pa": 60,
    "vane, 2 m/s, limits filled": 20,
    "pitot, 3 m/s, limits filled": 20,
    "thermal, 2 m/s, limits filled": 20,
    "log of 600 s, memory of 5 s": 150,
    "log of 600 s, memory of 60 s": 12,
    "flow unsteady by 20 % of drop, not said": 100,
    "zero drifts by up to 0.5 Pa at 25 Pa, not read": 150,
    "vane, 2 m/s, jet behind a bend": 20,
    "pitot, 10 m/s, swirl of 10°, not said": 20,
    "nozzle, leak of 5 % out, meter downstream": 150,
    "nozzle, leak of 5 % in, meter upstream": 150,
    "two box orifices made with care, 60 Pa": 100,
    "box orifice, calibrated, 85 Pa": 100,
    "plate, corner, 250 Pa": 150,
    "plate, corner, 250 Pa, reduced length": 100,
    "long-radius nozzle, 500 Pa": 100,
    "venturi, machined, 15 kPa": 100,
    "box, calibrated in air a sixth thinner": 150,
    "box, manometer of the calibration": 100,
    "box, remounted, limit filled": 20,
    "box, difference of two drops": 60,
    "two nozzles, one manometer: difference": 20,
    "vane at a filter, compared": 60,
    "hood, two resistances, straight curve": 60,
    "hood, by the unit's curve": 40,
    "two nozzles at 25 and 75 Pa: combined": 20,
    "nozzle and pitot, limits filled: combined": 6,
    "bell-mouth, coefficient within 2 %, 85 Pa": 20,
    "bell-mouth, coefficient of a certificate, 85 Pa": 100,
    "bell-mouth, expansion in the coefficient, 600 Pa": 60,
    "box orifice made with care beside a calibrated one, 85 Pa": 150,
    "box orifice in a box of 400 mm, 85 Pa": 60,
    "fitted box, 15 points, another manometer, 20 Pa": 40,
    "fitted box, 5 points, same manometer": 40,
    "room, clean air for a level of smoke": 12,
    "fitted box, reference within a bare limit of 3 %": 12,
    "fitted box, remounted, and said to stand as calibrated": 12,
    "fitted box, remounted, 6 mountings calibrated": 20,
    "fitted box, left in the last of 6 mountings calibrated": 20,
    "fitted line of a manometer, then an inlet": 30,
    "fitted leakage of a chamber, put back": 20,
    "decay, fast cleaner, its floor fitted": 30,
    "decay, slow cleaner, floors counted": 30,
    "fan and filter measured, flow": 25,
    "fan and filter measured, clean air": 8,
    "fan and filter stated, limits filled, flow": 6,
    "fan measured, crossing near free air": 20,
    "sound, 12 places that scatter by 2 dB": 40,
    "sound, 4 places that scatter by 1.5 dB": 15,
    "sound, 10 repeats at one place, background 7 dB below": 60,
    "clean-air rate, 5000 counts before, counters apart": 40,
    "clean-air rate, 60 counts before, 3 behind": 8,
    "clean-air rate, 400 counts before, hardly one behind": 6,
    "clean-air rate, five wide channels, dust range": 12,
    "efficiency at 10 counts downstream": 40,
    "drifting and unsteady room alternating": 40,
    "two swapped counters with different efficiencies and size cuts": 40,
    "two counters not swapped": 30,
}
BY_NAME = {rig.name: rig for rig in RIGS}


@cache
def counted(name: str, number: int) -> study.Counted:
    rig = BY_NAME[name]
    return study.counted(rig, (study.one(rig, i, seed=1) for i in range(number)))


@pytest.mark.coverage
@pytest.mark.parametrize(("name", "number"), SHORT.items(), ids=SHORT)
def test_the_interval_holds_the_truth_as_often_as_it_says(name: str, number: int) -> None:
    result = counted(name, number)
    assert result.covered, study.table([result])
    if result.rig.expected in ("normal", "rectangular"):
        assert result.narrow, study.table([result])


@pytest.mark.coverage
def test_an_interval_that_forgets_a_third_of_its_width_is_found() -> None:
    result = counted("nozzle, 100 Pa", 200)
    middle = (result.low + result.high) / 2
    shrunk = replace(result, low=middle + (result.low - middle) / 1.5, high=middle + (result.high - middle) / 1.5)
    assert not shrunk.covered
    grown = replace(result, low=middle + (result.low - middle) * 1.5, high=middle + (result.high - middle) * 1.5)
    assert not grown.narrow
    moved = replace(result, low=result.low + 0.01, high=result.high + 0.01)
    assert not moved.covered
    assert moved.above > 3 * moved.below
    lost = replace(result, low=np.full(result.n, np.nan), high=np.full(result.n, np.nan))
    assert lost.coverage == 0.0


def test_a_rig_is_the_same_whoever_draws_it() -> None:
    rig = BY_NAME["log of 600 s, no memory"]
    [alone] = study.run([(rig, 4)], seed=3, processes=1)
    here = study.counted(rig, (study.one(rig, i, seed=3) for i in range(4)))
    np.testing.assert_array_equal(alone.low, here.low)
    assert len(set(here.low)) == 4
    assert study.one(rig, 0, seed=4)[0] != here.low[0]


@pytest.mark.parametrize(("across", "down"), [(1 / 5, 1 / 10), (1 / 7, 1 / 7)])
def test_the_mean_of_a_power_law_over_a_rectangle_is_exact(across: float, down: float) -> None:
    mean = mean_over_rectangle(lambda x, y: (1 - np.abs(2 * x - 1)) ** across * (1 - np.abs(2 * y - 1)) ** down)
    assert mean == pytest.approx(1 / (1 + across) / (1 + down), rel=1e-9)


@pytest.mark.parametrize("power", [1 / 5, 1 / 7, 1 / 10])
def test_the_mean_of_a_power_law_over_a_circle_is_exact(power: float) -> None:
    mean = mean_over_circle(lambda x, y: (1 - np.hypot(x, y)) ** power * (1 + 0.1 * x))
    assert mean == pytest.approx(2 / ((1 + power) * (2 + power)), rel=1e-9)


def test_a_series_follows_itself_as_long_as_it_should() -> None:
    time = 15.0
    series = correlated(np.random.default_rng(1), 200_000, following(time))
    # by batch means, 20 times as long as the memory: variance of the mean is τ/n
    batches = series.reshape(-1, 400).mean(axis=1)
    assert np.var(series) == pytest.approx(1.0, rel=0.05)
    assert 400 * np.var(batches) == pytest.approx(time, rel=0.2)
