"""What the points of a calibration say against their curve: found where it is there, and rarely where it is not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.studies.calibrate import Calibrated, calibrate
from flowrig.studies.scrutiny import LEVEL, Trial
from tests.studies.paired_readings import box_points, box_record, cubic, instrument_record, written
from tests.studies.test_calibrate import load, use


def codes(done: Calibrated) -> set[str]:
    return {f.code for f in done.findings}


def trial(done: Calibrated, name: str) -> Trial:
    [found] = [t for t in done.scrutiny.trials if t.name == name]
    return found


def repeated(times: int, noise: float = 0.0, seed: int = 1, law: Any = None) -> dict[str, Any]:
    """Every point of the box so many times, its flow scattered (through the indication, 0.53 of it)."""
    points = box_points(law) if law else box_points()
    random = np.random.default_rng(seed)
    table = {name: list(column) * times for name, column in points.items()}
    shown = np.array(table["indication [Pa]"])
    table["indication [Pa]"] = list(shown * (1 + noise / 0.53 * random.normal(size=shown.size)))
    return table


def shifted(table: dict[str, Any], off: Any) -> dict[str, Any]:
    """The same where the flow at a drop is higher by a share: the drop falls."""
    return table | {"indication [Pa]": list(np.array(table["indication [Pa]"]) * (1 + np.asarray(off)) ** (-1 / 0.53))}


# ---------------------------------------------------------------- up and down


def test_hysteresis_is_found_and_half_of_it_is_a_limit() -> None:
    table = repeated(2, 0.0005)
    up = np.repeat([1.0, -1.0], 8)
    table = shifted(table, 0.004 * up) | {"direction": ["up"] * 4 * 2 + ["down"] * 8}
    # within a run points said to go down come from above, and one set of nozzles is one run
    table["run"] = [f"{k // 4}" for k in range(16)]
    order = [*range(8), 11, 10, 9, 8, 15, 14, 13, 12]
    table = {name: [column[k] for k in order] for name, column in table.items()}
    done = calibrate(box_record(table))
    found = trial(done, "hysteresis")
    assert found.significant
    assert "up and down differ" in codes(done)
    # 0.4 % either way: half the difference as the half-width of a limit
    assert load(done, "up and down differ") == pytest.approx(0.004 / math.sqrt(3), rel=0.1)
    text, file = written(done)
    [cause] = [c for c in file.causes if "up and down" in c.label]
    assert cause.shape == "rectangular"
    later = flowrig.reduce(use(text, drop="100 Pa", static="0 Pa")).flow.estimate
    assert cause in later.parts
    alike = calibrate(box_record(shifted(table, -0.004 * np.array(up)[order])))
    assert not trial(alike, "hysteresis").significant
    assert "up and down differ" not in codes(alike)
    assert not any("up and down" in c.label for c in written(alike)[1].causes)


def test_an_instrument_that_sticks() -> None:
    x = np.linspace(10.0, 200.0, 8)
    random = np.random.default_rng(3)
    points = {
        "indication [Pa]": [*x, *x[::-1]],
        "reference [Pa]": [*(x + 0.4 + 0.05 * random.normal(size=8)), *(x[::-1] - 0.4 + 0.05 * random.normal(size=8))],
        "direction": ["up"] * 8 + ["down"] * 8,
    }
    done = calibrate(instrument_record(points))
    assert trial(done, "hysteresis").significant
    [part] = [p for c, p in done.numbers["constant"].parts.items() if "up and down" in c.name]
    assert float(abs(part[0])) == pytest.approx(0.4 / math.sqrt(3), rel=0.1)


def test_what_a_remounting_does_is_not_taken_for_hysteresis() -> None:
    """Up in one mounting, down in another: their difference may be either, and is not judged."""
    table = shifted(repeated(2, 0.0005), np.repeat([0.004, -0.004], 8))
    table |= {
        "direction": ["up"] * 8 + [""] * 8,
        "mounting": ["a"] * 8 + ["b"] * 8,
        "run": [f"{k // 4}" for k in range(16)],
    }
    table["direction"][8:] = ["down"] * 8
    order = [*range(8), 11, 10, 9, 8, 15, 14, 13, 12]
    done = calibrate(box_record({name: [column[k] for k in order] for name, column in table.items()}))
    assert "hysteresis" not in [t.name for t in done.scrutiny.trials]


# ---------------------------------------------------------------- the curve


def test_a_curve_that_does_not_fit_is_told_and_one_that_does_is_not() -> None:
    table = repeated(3, 0.001, law=cubic)
    wrong, right = calibrate(box_record(table)), calibrate(box_record(table, formula="cubic"))
    assert trial(wrong, "lack of fit").significant
    assert "curve does not fit" in codes(wrong)
    assert not trial(right, "lack of fit").significant
    assert "curve does not fit" not in codes(right)


@pytest.mark.recomputed
def test_lack_of_fit_by_hand() -> None:
    """Two points at each of four places, a straight line: the mean squares written out."""
    x = np.array([50.0, 100.0, 150.0, 200.0])
    y = np.array([50.1, 49.9, 101.6, 101.2, 151.4, 151.0, 199.9, 200.3])
    points = {"indication [Pa]": list(np.repeat(x, 2)), "reference [Pa]": list(y)}
    data = instrument_record(points)
    data["instruments"]["field"]["resolution"] = "1e-9 Pa"
    found = trial(calibrate(data), "lack of fit")
    pure = np.sum((y.reshape(4, 2) - y.reshape(4, 2).mean(axis=1, keepdims=True)) ** 2)
    b = np.polyfit(np.repeat(x, 2), y, 1)
    rest = np.sum((y - np.polyval(b, np.repeat(x, 2))) ** 2) - pure
    assert found.words.startswith(f"F = {rest / 2 / (pure / 4):.3g} with 2 and 4")
    # the tail of F with 2 degrees of freedom above the line is (1 + 2 F/n)^(-n/2)
    assert found.p == pytest.approx((1 + 2 * (rest / 2) / (pure / 4) / 4) ** -2, rel=1e-3)


def test_runs_that_lie_apart() -> None:
    labels = {"run": ["monday"] * 8 + ["tuesday"] * 8}
    apart = calibrate(box_record(shifted(repeated(2, 0.001), np.repeat([0.004, -0.004], 8)) | labels))
    assert trial(apart, "runs").significant
    assert "runs differ" in codes(apart)
    together = calibrate(box_record(repeated(2, 0.001) | labels))
    assert not trial(together, "runs").significant
    assert "runs differ" not in codes(together)
    single = calibrate(box_record(repeated(2, 0.001) | {"run": ["monday"] * 16}))
    assert "runs" not in [t.name for t in single.scrutiny.trials]


def test_the_tests_call_once_in_twenty_where_nothing_is_wrong() -> None:
    """Calibrations of noise alone, a cubic through few points: 5 %, give or take three times what chance makes."""
    x = np.linspace(20.0, 200.0, 6)
    rising = [*x, *x[::-1]]
    random = np.random.default_rng(5)
    called: dict[str, int] = {}
    draws = 80
    for _ in range(draws):
        points = {
            "indication [Pa]": rising,
            "reference [Pa]": list(rising + random.normal(0.0, 1.0, 12)),
            "direction": ["up"] * 6 + ["down"] * 6,
            "run": [f"{k % 2}" for k in range(12)],
        }
        for found in calibrate(instrument_record(points, formula="cubic")).scrutiny.trials:
            called[found.name] = called.get(found.name, 0) + found.significant
    assert set(called) == {"hysteresis", "lack of fit", "runs"}
    for name, number in called.items():
        assert abs(number / draws - LEVEL) < 3 * math.sqrt(LEVEL * (1 - LEVEL) / draws), (name, number)


# ---------------------------------------------------------------- mountings

OFF = np.array([0.012, -0.008, 0.003, -0.011, 0.006, -0.002])  # of the flow, by mounting


def mounted(off: Any, **changed: Any) -> Calibrated:
    table = repeated(len(off))
    table = shifted(table, np.repeat(off, 8)) | {"mounting": [f"m{k // 8}" for k in range(8 * len(off))]}
    return calibrate(box_record(table, **changed))


@pytest.mark.recomputed
def test_the_scatter_of_mountings_is_found() -> None:
    done = mounted(OFF)
    s = float(np.std(np.log1p(OFF), ddof=1))
    assert done.scrutiny.remount_scatter == pytest.approx(s, rel=1e-3)
    assert done.scrutiny.mountings == 6
    assert done.found.dof == 6 * 8 - 2 - 5
    # the points are freed of it: nothing else is left
    assert done.found.excess == 0.0
    assert "not remounted" not in codes(done)
    # of the mean of six
    assert load(done, "mountings") == pytest.approx(s / math.sqrt(6), rel=1e-3)
    [cause] = [c for c in done.numbers["flow"].parts if c.name == "mountings"]
    assert cause.dof == 5
    _, file = written(done)
    assert file.heading.value("remount_scatter") == pytest.approx(s, rel=5e-3)
    assert file.heading.value("remounts") == 6
    [kept] = [c for c in file.causes if "mountings" in c.label]
    assert (kept.dof, kept.n) == (5.0, 2)


@pytest.mark.recomputed
def test_a_later_mounting_adds_its_own_error_to_that_of_the_calibrated_ones() -> None:
    """Of the mean of M mountings and of one more: s √(1 + 1/M); of their mean and one of them: s √(1 − 1/M)."""
    text, _ = written(mounted(OFF))
    s = float(np.std(np.log1p(OFF), ddof=1))

    def parts(said: str) -> float:
        flow = flowrig.reduce(use(text, drop="120 Pa", static="0 Pa", remount=said)).flow.estimate
        found = [np.sum(p**2) for c, p in flow.parts.items() if "mounting" in c.name]
        return math.sqrt(float(sum(found))) / float(flow.value)

    assert parts("remounted") == pytest.approx(s * math.sqrt(1 + 1 / 6), rel=5e-3)
    assert parts("as calibrated") == pytest.approx(s * math.sqrt(1 - 1 / 6), rel=5e-3)


@pytest.mark.parametrize(("mountings", "limit"), [(1, None), (2, None), (2, "3 %")])
def test_few_mountings_are_told_and_have_a_limit_later(mountings: int, limit: str | None) -> None:
    changed = {"remount_limit": limit} if limit else {}
    done = mounted([0.001, -0.001][:mountings], **changed)
    assert "not remounted" in codes(done)
    text, file = written(done)
    assert "remount_scatter" not in file.heading
    flow = flowrig.reduce(use(text, drop="120 Pa", static="0 Pa", remount="remounted")).flow.estimate
    [part] = [p for c, p in flow.parts.items() if "remounting" in c.name]
    expected = (0.03 if limit else 0.05) / math.sqrt(3)
    assert float(abs(part[0]) / flow.value) == pytest.approx(expected, rel=1e-6)


# ---------------------------------------------------------------- odd points, few points


def test_a_slipped_digit_is_named_with_its_row() -> None:
    table = repeated(2, 0.001)
    assert "odd point" not in codes(calibrate(box_record(table)))
    table["indication [Pa]"][5] *= 10
    done = calibrate(box_record(table))
    [odd] = [f for f in done.findings if f.code == "odd point"]
    assert odd.severity == "alarm"
    assert odd.message.startswith("calibration.points, row 7: -7")  # the heading is row 1
    assert odd.message.endswith(" % from the curve of the others")
    # by hand: ten times the drop calls for 10^0.53 of the flow; it has the 1/3.39 of it, 70 % less
    assert float(odd.message.split()[3]) == pytest.approx(100 * (10**-0.53 - 1), abs=1.0)


def test_few_points_are_told() -> None:
    x = np.linspace(20.0, 200.0, 6)
    points = {"indication [Pa]": list(x), "reference [Pa]": list(x)}
    assert "few points" in codes(calibrate(instrument_record(points)))
    assert "few points" not in codes(calibrate(instrument_record(points, formula="line through zero")))


def test_scatter_beyond_the_instruments_is_said_in_per_cent_of_the_flow() -> None:
    for formula in ("power law", "line through zero"):
        law = {"power law": None, "line through zero": lambda drop: 0.0012 * drop}[formula]
        table = repeated(6, 0.01, seed=2, law=law)
        done = calibrate(box_record(table, formula=formula))
        [said] = [f for f in done.findings if f.code == "scatter beyond known errors"]
        flow = done.pairs.truth.value
        # of a polynomial the scatter is one size in m3/h, told as a share of the mean flow
        share = 1.0 if law is None else np.sqrt(np.mean(flow**2)) / np.mean(flow) / 0.53
        assert float(said.message.split(" ")[0]) == pytest.approx(share, rel=0.25)
