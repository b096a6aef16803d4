"""Figures of a calibration, of its later checks and of a plan: they show what was found, and a person can read them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

import flowrig
from flowrig.cli import main
from flowrig.report.figures import style
from flowrig.report.figures.all import pictures_of
from flowrig.report.figures.picture import Picture
from flowrig.studies.calibrate import Calibrated, calibrate
from flowrig.studies.calibration_picture import curve_band, differences, points_with_bars
from flowrig.studies.outlook import Plan, half_width
from flowrig.studies.verify import Verified, claimed, verify
from flowrig.uncertainty.interval import interval
from tests.report.readable import bars, by_name, caption, check_bytes, check_picture, marks, panel
from tests.studies.paired_readings import box_points, box_record, instrument_record, written
from tests.studies.plans import planned, record_of

ROOT = Path(__file__).parents[2]
LONG = f"{'W' * 20} of <script> & $5 to $6, of a district with a very long name, before the smoke comes"


def noisy_box(**changed: Any) -> dict[str, Any]:
    """Four mountings, up and down in turn, with scatter."""
    once, rng = box_points(), np.random.default_rng(5)
    n = len(once["section"])
    points = {name: list(column) * 4 for name, column in once.items()}
    points["indication [Pa]"] = [
        x * (1 + 0.006 * z) for x, z in zip(points["indication [Pa]"], rng.standard_normal(4 * n), strict=True)
    ]
    points["mounting"] = [str(k) for k in range(1, 5) for _ in range(n)]
    points["run"] = points["mounting"]
    points["direction"] = (["up"] * n + ["down"] * n) * 2
    for k in (1, 3):  # in the order in which they were approached
        for name in once:
            part = slice(k * n, (k + 1) * n)
            points[name][part] = points[name][part][::-1]
    for k in range(4):
        part = slice(k * n, (k + 1) * n)
        order = np.argsort(points["indication [Pa]"][part])[:: -1 if k % 2 else 1]
        for name in once:
            points[name][part] = [points[name][part][i] for i in order]
    return box_record(points, **changed) | {"title": LONG}


def line_points() -> dict[str, Any]:
    truth = np.array([-20.0, -5.0, 0.0, 10.0, 25.0, 50.0, 80.0, 120.0])
    read = np.round(1.01 * truth + 0.3 + np.array([0.2, -0.1, 0.0, 0.1, -0.2, 0.1, 0.3, -0.2]), 1)
    return {"indication [Pa]": list(read), "reference [Pa]": list(truth)}


@pytest.fixture(scope="module")
def calibrations() -> dict[str, Calibrated]:
    return {
        "box": calibrate(noisy_box()),
        "plain": calibrate(box_record(), 0.9),
        "manometer": calibrate(instrument_record(line_points())),
    }


@pytest.fixture(scope="module")
def calibrated(calibrations: dict[str, Calibrated]) -> dict[str, Picture]:
    return {name: by_name(pictures_of(done))["calibration"] for name, done in calibrations.items()}


def test_calibrations_can_be_read(calibrated: Mapping[str, Picture]) -> None:
    for picture in calibrated.values():
        check_picture(picture)
    assert "hold 90 %" in caption(calibrated["plain"].figure)
    assert "All figures are invented" in caption(calibrated["box"].figure)


def test_bytes_are_the_same_each_time(
    calibrations: dict[str, Calibrated], calibrated: Mapping[str, Picture], verified: dict[str, Verified],
    checks: dict[str, Mapping[str, Picture]],
) -> None:  # fmt: skip
    check_bytes([calibrated["plain"]], pictures_of(calibrations["plain"]))
    check_bytes(checks["one"].values(), pictures_of(verified["one"]))


def test_points_and_residuals_are_those_of_the_study(
    calibrations: dict[str, Calibrated], calibrated: Mapping[str, Picture]
) -> None:
    done, figure = calibrations["box"], calibrated["box"].figure
    top, bottom = figure.axes
    drop, flow = done.pairs.shown.value, 3600 * done.pairs.truth.value
    assert [x for x, *_ in bars(top)] == pytest.approx(sorted(drop))
    assert sorted((low + high) / 2 for _, low, high in bars(top)) == pytest.approx(sorted(flow), rel=1e-3)
    off = sorted((low + high) / 2 for _, low, high in bars(bottom))
    assert off == pytest.approx(sorted(100 * done.residuals), abs=1e-9)
    # by hand: Student's factor of its degrees of freedom times what a point scatters by, in per cent
    half = 100 * stats.t.ppf(0.975, done.found.dof) * done.found.weights
    assert sorted((high - low) / 2 for _, low, high in bars(bottom)) == pytest.approx(sorted(half), rel=1e-6)
    assert top.get_xscale() == top.get_yscale() == "log"


def test_every_mounting_has_its_mark_and_those_from_above_are_hollow(calibrated: Mapping[str, Picture]) -> None:
    figure = calibrated["box"].figure
    words = [t.get_text() for t in figure.legends[0].get_texts()]
    assert [w for w in words if w.startswith("mounting")] == [f"mounting {k}" for k in range(1, 5)]
    assert "approached from above" in words
    looks = {(c.lines[0].get_marker(), c.lines[0].get_markerfacecolor()) for c in figure.axes[0].containers}
    assert len({marker for marker, _ in looks}) == 4
    assert sum(face == "white" for _, face in looks) == 2


def test_the_curve_ends_where_its_range_does(
    calibrations: dict[str, Calibrated], calibrated: Mapping[str, Picture]
) -> None:
    for name, done in calibrations.items():
        top = calibrated[name].figure.axes[0]
        x = [at for at, _ in marks(top, "curve")]
        assert x[0] == pytest.approx(np.min(done.pairs.shown.value))
        assert x[-1] == pytest.approx(np.max(done.pairs.shown.value))
        left, right = top.get_xlim()
        assert left < x[0]
        assert x[-1] < right


def test_the_band_is_the_interval_of_the_curve(calibrations: dict[str, Calibrated]) -> None:
    for done in calibrations.values():
        shown = done.pairs.shown.value
        found = curve_band(done.formula, done.numbers, float(np.min(shown)), float(np.max(shown)), done.coverage)
        for k in (0, 30, 59):
            bar = interval(done.at(found.argument[[k]]).single(0), done.coverage)
            wide = float(bar.high - bar.low)
            assert float(found.curve.low[k]) == pytest.approx(float(bar.low), abs=0.03 * wide)
            assert float(found.curve.high[k]) == pytest.approx(float(bar.high), abs=0.03 * wide)
        if done.formula.relative:
            assert found.off_high == pytest.approx(found.curve.high / found.curve.value - 1)


def test_residuals_of_an_instrument_are_in_its_unit(
    calibrations: dict[str, Calibrated], calibrated: Mapping[str, Picture]
) -> None:
    axes = panel(calibrated["manometer"].figure, "off the curve [Pa]")
    done = calibrations["manometer"]
    assert sorted((low + high) / 2 for _, low, high in bars(axes)) == pytest.approx(sorted(done.residuals))
    assert points_with_bars(done).half == pytest.approx(stats.t.ppf(0.975, done.found.dof) * done.found.weights)
    assert axes.get_xscale() == "linear"


# ---------------------------------------------------------------- later checks


def later(off: float, day: date, **changed: Any) -> dict[str, Any]:
    points = box_points(names=["large"])
    points["indication [Pa]"] = list(np.array(points["indication [Pa]"]) * (1 + off) ** (-1 / 0.53))
    del points["section"]
    task = {"formula": None, "due": None, "remount": "as calibrated"}
    return box_record(points, **task | changed) | {"date": day}


@pytest.fixture(scope="module")
def verified() -> dict[str, Verified]:
    file = tomllib.loads(written(calibrate(box_record()))[0])
    days = [date(2026, 9 + k // 3, 1 + 9 * (k % 3)) for k in range(9)]
    many = [later(-0.03 if k == 7 else 0.0, day) for k, day in enumerate(days)]
    records = {"one": [later(0.002, date(2026, 12, 1))], "two": [later(0.0, days[0]), later(0.04, date(2028, 1, 5))]}
    return {name: verify(file, some) for name, some in (records | {"many": many}).items()}


@pytest.fixture(scope="module")
def checks(verified: dict[str, Verified]) -> dict[str, Mapping[str, Picture]]:
    return {name: by_name(pictures_of(v)) for name, v in verified.items()}


def test_checks_can_be_read(checks: dict[str, Mapping[str, Picture]]) -> None:
    for pictures in checks.values():
        for picture in pictures.values():
            check_picture(picture)


def test_the_chart_shows_each_mean_on_its_day(
    verified: dict[str, Verified], checks: dict[str, Mapping[str, Picture]]
) -> None:
    for name, v in verified.items():
        [axes] = checks[name]["checks"].figure.axes
        own = 100 * claimed(v.calibration)
        ends = [(float((v.calibration.heading.value("date") - date(1970, 1, 1)).days), -own, own)]
        for c in v.checks:
            low, high = (100 * float(x) for x in (c.drift_interval.low, c.drift_interval.high))
            ends.append((float((c.date - date(1970, 1, 1)).days), low, high))
        assert bars(axes) == [pytest.approx(e, abs=1e-9) for e in sorted(ends)]
        boxes = [p.get_height() for p in axes.patches if p.get_width() < 50 and p.get_height() < 10]
        assert [b for b in boxes if b in [pytest.approx(200 * c.noticeable) for c in v.checks]]


def test_verdicts_are_said(checks: dict[str, Mapping[str, Picture]]) -> None:
    [axes] = checks["two"]["checks"].figure.axes
    assert sorted(t.get_text() for t in axes.texts) == ["calibrated", "due", "fails", "holds"]
    [axes] = checks["many"]["checks"].figure.axes  # nine words would cover each other: those that do not hold
    assert sorted(t.get_text() for t in axes.texts) == ["calibrated", "due", "fails"]
    assert "cannot tell" in [t.get_text() for t in checks["one"]["checks"].figure.axes[0].texts]
    words = [t.get_text() for t in checks["many"]["checks"].figure.legends[0].get_texts()]
    assert "check: holds (8)" in words
    assert "check: fails (1)" in words
    assert "1 fails" in checks["many"]["checks"].alt
    assert "The last 6 of 9 checks are drawn." in caption(checks["many"]["checks-on-curve"].figure)


def test_a_point_differs_where_it_lies_further_off_than_both_bars(verified: dict[str, Verified]) -> None:
    for v in verified.values():
        for c in v.checks:
            found = differences(v.calibration, c)
            beyond = (np.abs(found.off) > found.half) & (np.abs(found.off) > found.half_unshared)
            assert list(beyond) == [h.verdict == "disagree" for h in c.held]
            for k, held in enumerate(c.held):
                if held.e_n:
                    assert abs(found.off[k]) / found.half[k] == pytest.approx(abs(held.e_n), rel=1e-6)
                    assert abs(found.off[k]) / found.half_unshared[k] == pytest.approx(abs(held.e_n_unshared), rel=1e-6)


def test_points_that_differ_are_ringed(verified: dict[str, Verified], checks: dict[str, Mapping[str, Picture]]) -> None:
    figure = checks["two"]["checks-on-curve"].figure
    rings = [c for c in figure.axes[1].collections if type(c).__name__ == "PathCollection"]
    number = {v: sum(h.verdict == v for c in verified["two"].checks for h in c.held) for v in ("agree", "disagree")}
    assert number == {"agree": 4, "disagree": 4}
    assert sum(len(c.get_offsets()) for c in rings) == 4
    assert "point differs" in [t.get_text() for t in figure.legends[0].get_texts()]


# ---------------------------------------------------------------- a plan


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {
        "target": flowrig.plan(planned(readings=3, scatter="2 %"), target="0.3 %"),
        "none": flowrig.plan(record_of("hood") | {"title": LONG}),
    }


@pytest.fixture(scope="module")
def planned_figures(plans: dict[str, Plan]) -> dict[str, Picture]:
    return {name: pictures_of(plan)[0] for name, plan in plans.items()}


def test_plans_can_be_read(planned_figures: dict[str, Picture]) -> None:
    for picture in planned_figures.values():
        check_picture(picture)


def test_every_change_that_counts_stands_at_its_half_width(
    plans: dict[str, Plan], planned_figures: dict[str, Picture]
) -> None:
    for name, plan in plans.items():
        [outlook], (top, bottom) = plan.outlooks, planned_figures[name].figure.axes
        told = [
            x for x in outlook.lines if np.isfinite(x.half) and x.verdict not in ("does not pay", "could be left out")
        ]
        drawn = [x for x, _ in marks(bottom, "after")]
        assert 0 < len(drawn) <= 16
        halves = [100 * line.half for line in told]
        assert all(min(abs(x - y) for y in halves) < 1e-9 for x in drawn)
        if len(told) <= 16:
            assert sorted(drawn) == pytest.approx(sorted(x for x in halves if x <= bottom.get_xlim()[1]))
        [(now, _)] = marks(bottom, "planned")
        assert now == pytest.approx(100 * outlook.half)
        [(floor, _)] = marks(bottom, "floor")
        assert floor == pytest.approx(100 * half_width(outlook.floor))
        shares = [p.get_width() for p in top.patches]
        assert sum(shares) == pytest.approx(100.0, abs=0.1)
        assert bool(marks(bottom, "target")) == (plan.target is not None)
    assert "The target of 0.300 % is not reached" in planned_figures["target"].alt


# ---------------------------------------------------------------- commands

BOX_2 = str(ROOT / "calibrations/box-2-2026-10.toml")
COMMANDS: dict[str, tuple[list[str], set[str]]] = {
    "calibrate": (["calibrate", str(ROOT / "examples/20-leak-test/record.toml")], {"calibration"}),
    "verify": (["verify", BOX_2, str(ROOT / "examples/19-later-checks/january.toml")], {"checks", "checks-on-curve"}),
    "plan": (["plan", str(ROOT / "examples/18-plan/record.toml")], {"plan"}),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_draw(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("flowrig.studies.plan.changes", lambda *_: iter(()))  # the most work of a plan
    given, names = COMMANDS[command]
    with pytest.raises(SystemExit) as stop:
        main([*given, "--figures", str(tmp_path / "nowhere")])
    assert stop.value.code == 2
    assert "Make the folder first" in capsys.readouterr().err
    both = [(["--quiet"], "svg", b"<?xml"), (["--png"], "png", b"\x89PNG")]
    for more, ending, first in both if command == "calibrate" else both[1:]:
        with pytest.raises(SystemExit) as stop:
            main([*given, "--figures", str(tmp_path), *more])
        assert stop.value.code == 0
        for name in names:
            assert (tmp_path / f"{name}.{ending}").read_bytes().startswith(first)
    assert {path.stem for path in tmp_path.iterdir()} == names
    assert len(capsys.readouterr().out) > 200


@pytest.mark.parametrize("command", COMMANDS)
def test_a_page_is_never_written_over_what_was_read(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("flowrig.studies.plan.changes", lambda *_: iter(()))
    given = list(COMMANDS[command][0])
    original = Path(given[-1])
    for path in original.parent.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    given[-1] = str(tmp_path / original.name)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    beside = next(name for name in ("january.csv", "points.csv", original.name) if name in before)
    for name in (original.name, beside):
        with pytest.raises(SystemExit) as stop:
            main([*given, "--report", str(tmp_path / name)])
        assert stop.value.code == 2
        assert "a file that this very command reads" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    with pytest.raises(SystemExit) as stop:
        main([*given, "--report", str(tmp_path / "page.html"), "--quiet"])
    assert stop.value.code == 0
    assert (tmp_path / "page.html").read_bytes().count(b"<img ") == len(COMMANDS[command][1])


def test_hundreds_of_points_keep_a_file_small_and_thin_their_bars() -> None:
    truth = np.linspace(0.5, 30.0, 240)
    read = np.round(truth * 1.02 + 0.03 * np.random.default_rng(3).standard_normal(240), 2)
    points = {"indication [m/s]": list(read), "reference [m/s]": list(truth)}
    [picture] = pictures_of(calibrate(instrument_record(points, "velocity")))
    check_picture(picture)
    assert len(bars(picture.figure.axes[1])) == 80
    assert "One point in 3 has its bar." in caption(picture.figure)
    assert len(style.drawn(picture.figure, "svg")) < 200_000
