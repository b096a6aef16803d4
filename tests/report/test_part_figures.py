"""Figures of particle counts and of decays in a room: they show what was counted, and a person can read them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from scipy import stats

import flowrig
from flowrig.physics.classes import EDITIONS
from flowrig.report.figures.all import PARTS, parts_pictures
from flowrig.report.figures.by_size import particles_pictures
from flowrig.report.figures.decays import decay_pictures
from flowrig.report.figures.over_size import round_below
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.studies.decay_picture import traced
from flowrig.studies.result import Result
from tests.report.readable import by_name, caption, check_bytes, check_picture, marks, panel
from tests.studies import count_records as counts
from tests.studies import decays

LONG = f"{'W' * 20} of <script> & $5 to $6, of a district with a very long name, before the smoke comes"
TOLD = {"filter_state": "clean", "measured_on": "system", "flow": "900 m3/h ± 4 %"}
TWELVE = (
    "0.3 um",
    "0.4 um",
    "0.55 um",
    "0.7 um",
    "1 um",
    "1.3 um",
    "1.6 um",
    "2.2 um",
    "3 um",
    "4 um",
    "5.5 um",
    "7 um",
)
UP = (9000, 7000, 4000, 2500, 1500, 900, 700, 500, 300, 200, 100, 60)
DOWN = (5000, 3500, 1800, 1000, 500, 250, 160, 90, 40, 20, 8, 3)


def twelve() -> list[dict[str, Any]]:
    return [
        {"run": "in use", "place": "downstream" if i % 2 else "upstream"}
        | dict(zip(TWELVE, DOWN if i % 2 else UP, strict=True))
        for i in range(7)
    ]


def pair() -> list[dict[str, Any]]:
    """Two counters side by side, the second showing a quarter more."""
    rows = []
    for k in range(5):
        for name, more in (("A", 1.0), ("B", 1.25)):
            cells = dict(zip(counts.SIZES, (round(more * n) for n in counts.UPSTREAM), strict=True))
            rows.append(
                {"run": "beside each other", "place": None, "counter": name, "time [min]": float(2 * k)} | cells
            )
    return rows


RECORDS: dict[str, dict[str, Any]] = {
    "three runs": counts.record(
        counts.in_turn()
        + counts.in_turn(run="seams taped", behind=(3600, 210, 40, 8, 0, 0))
        + counts.in_turn(run="tight filter", behind=(3500, 200, 30, 0, 0, 0))
        + counts.zero(),
        **TOLD,
    ),
    "nothing through": counts.record(counts.in_turn(behind=(0,) * 6) + counts.zero((0,) * 6), **TOLD) | {"title": LONG},
    "more behind": counts.record(
        counts.in_turn(up=(1000, 300, 100, 40, 12, 3), behind=(1400, 280, 130, 44, 20, 1)), **TOLD
    ),
    "few": counts.record(counts.in_turn(1, up=(3, 2, 1, 1, 0, 0), behind=(2, 1, 3, 1, 1, 0))),
    "twelve": counts.record(twelve()),
}


@pytest.fixture(scope="module")
def reduced() -> dict[str, Result]:
    return {name: flowrig.reduce(record, samples=2000) for name, record in RECORDS.items()}


@pytest.fixture(scope="module")
def counted(reduced: dict[str, Result]) -> dict[str, Mapping[str, Picture]]:
    return {name: by_name(parts_pictures(result)) for name, result in reduced.items()}


def test_parts_have_their_pictures() -> None:
    assert PARTS["particles"] == ("by_size", "particles_pictures")
    assert PARTS["decay"] == ("decays", "decay_pictures")


def test_counts_can_be_read(counted: dict[str, Mapping[str, Picture]]) -> None:
    for pictures in counted.values():
        for picture in pictures.values():
            check_picture(picture)
    assert set(counted["three runs"]) == {"efficiency-by-size", "clean-air-by-size"}
    assert set(counted["few"]) == {"efficiency-by-size"}  # no flow is known


def test_bytes_are_the_same_each_time(reduced: dict[str, Result], counted: dict[str, Mapping[str, Picture]]) -> None:
    result: Any = reduced["three runs"]
    check_bytes(counted["three runs"].values(), particles_pictures(result, result.parts["particles"]))


def test_channels_stand_at_their_efficiencies(
    reduced: dict[str, Result], counted: dict[str, Mapping[str, Picture]]
) -> None:
    for name, result in reduced.items():
        axes = counted[name]["efficiency-by-size"].figure.axes[0]
        part: Any = result.parts["particles"]
        values, limits, bars = [], [], []
        for of in part.runs.values():
            ends = np.where(np.isfinite(of.upper), of.upper, 1.7 * of.lower)
            for k, middle in enumerate(1e6 * np.sqrt(of.lower * ends)):
                if not math.isfinite(of.penetration.value[k]):
                    continue
                if of.upper_only[k]:
                    limits.append((middle, 100 * (1 - of.high[k])))
                    continue
                values.append((middle, 100 * (1 - of.penetration.value[k])))
                low, high = axes.get_ylim()
                bars.append((max(100 * (1 - of.high[k]), low), min(100 * (1 - of.low[k]), high)))
        assert marks(axes, "value") == [pytest.approx(v, abs=1e-6) for v in sorted(values)], name
        assert marks(axes, "limit") == [pytest.approx(v, abs=1e-6) for v in sorted(limits)], name
        drawn = sorted(tuple(map(float, sorted(line.get_ydata()))) for line in axes.lines if line.get_gid() == "bar")
        assert drawn == [pytest.approx(b, abs=1e-6) for b in sorted(bars)], name
        assert axes.get_xscale() == "log"


def test_limits_are_hollow_and_point_up(counted: dict[str, Mapping[str, Picture]]) -> None:
    picture = counted["nothing through"]["efficiency-by-size"]
    axes = picture.figure.axes[0]
    hollow = [line for line in axes.lines if line.get_gid() == "limit"]
    assert len(hollow) == 6
    assert {line.get_markerfacecolor() for line in hollow} == {"white"}
    arrows = [t for t in axes.texts if t.arrow_patch is not None]
    assert all(t.xy[1] > t.xyann[1] for t in arrows)
    assert len(arrows) == 6
    assert "at least" in picture.alt
    assert "100 %" not in picture.alt  # nothing is told to be perfect
    assert all("at least" in row[-1] for row in picture.table.rows if row[0] == "in use")


def test_what_is_below_zero_is_kept_and_a_long_bar_runs_out(counted: dict[str, Mapping[str, Picture]]) -> None:
    figure = counted["more behind"]["efficiency-by-size"].figure
    assert min(y for _, y in marks(figure.axes[0], "value")) < -30
    assert "below zero is kept as measured" in caption(figure)
    few = counted["few"]["efficiency-by-size"].figure
    assert "runs out of the panel" in caption(few)
    assert few.axes[0].get_ylim()[0] > -400  # one bar reaches to -3490 %
    assert "runs out" not in caption(counted["three runs"]["efficiency-by-size"].figure)


def test_levels_are_those_of_the_class_and_of_the_next(
    reduced: dict[str, Result], counted: dict[str, Mapping[str, Picture]]
) -> None:
    for name in ("three runs", "nothing through"):
        part: Any = reduced[name].parts["particles"]
        told = part.clean_air.classes.classes[-1]
        minima = {number: least for number, *least in EDITIONS[told.edition].minima}
        expected = [100 * x for n in (told.likeliest, told.likeliest + 1) if n in minima for x in minima[n] if x > 0]
        axes = panel(counted[name]["efficiency-by-size"].figure, "average over range")
        drawn = sorted(float(line.get_ydata()[0]) for line in axes.lines if line.get_gid() == "level")
        assert drawn == pytest.approx(sorted(expected))
        words = [t.get_text() for t in axes.texts]
        assert sum(w.startswith(f"class {told.likeliest}: ") for w in words) == sum(
            x > 0 for x in minima[told.likeliest]
        )
        said = caption(counted[name]["efficiency-by-size"].figure)
        assert "This is no rating." in said
        assert told.edition in said


def test_averages_are_drawn_over_their_ranges(
    reduced: dict[str, Result], counted: dict[str, Mapping[str, Picture]]
) -> None:
    part: Any = reduced["three runs"].parts["particles"]
    axes = panel(counted["three runs"]["efficiency-by-size"].figure, "average over range")
    bars = [tuple(line.get_ydata()) for line in axes.lines if line.get_gid() == "bar"]
    for name in ("E1", "E2", "E3"):
        q = part.clean_air.classes.averages[name].quantity
        assert any(b == pytest.approx((float(q.low), float(q.high))) for b in bars)
    assert len(bars) == 3


def test_clean_air_stands_beside_the_flow(
    reduced: dict[str, Result], counted: dict[str, Mapping[str, Picture]]
) -> None:
    for name in ("three runs", "nothing through", "more behind"):
        part: Any = reduced[name].parts["particles"]
        clean = part.clean_air
        [axes] = counted[name]["clean-air-by-size"].figure.axes
        filled, hollow = ([x for x, _ in marks(axes, f"mark {look}")] for look in ("filled", "hollow"))
        assert 900.0 in [pytest.approx(x) for x in filled]
        rates = [r.clean_air for r in clean.ranges.values()]
        for rate in rates:
            own = float(rate.quantity.low if rate.one_sided else rate.quantity.value)
            assert any(x == pytest.approx(own) for x in (hollow if rate.one_sided else filled)), name
        low, _ = axes.get_xlim()
        assert (low < 0) == (name == "more behind")


def test_two_counters_beside_each_other() -> None:
    record = counts.record(pair(), {"A": counts.COUNTER, "B": counts.COUNTER | {"serial": "PC-8"}})
    result = flowrig.reduce(record)
    picture = by_name(parts_pictures(result))["counters-beside"]
    check_picture(picture)
    [axes] = picture.figure.axes
    part: Any = result.parts["particles"]
    assert [y for _, y in marks(axes, "value")] == pytest.approx(100 * part.beside.penetration.value)
    assert marks(axes, "value")[0][1] == pytest.approx(125.0, rel=0.01)
    assert {y for _, y in marks(axes, "alike")} == {100.0}
    assert "bars do not hold 100 %" in picture.alt


def test_round_numbers_below_a_high_efficiency() -> None:
    assert [round_below(x) for x in (95.0, 99.5, 81.0)] == pytest.approx([94.0, 99.4, 70.0])
    assert round_below(100.0) < 100.0


def test_a_minus_sign_without_a_number_is_not_told() -> None:
    assert bar(-2.0, -1820.0, 100.0) == "0 [-1820 to 100]"


# ---------------------------------------------------------------- decays in a room


def many_channels() -> dict[str, Any]:
    names = {f"{0.3 * 1.5**k:.3g} um": 12e6 * 0.6**k for k in range(8)}
    record = decays.decays(seed=4)
    rng = np.random.default_rng(2)
    for run, loss, floor in zip(record["decay_runs"], (8.4, 0.4), (0.01, 0.05), strict=True):
        time = run["counts"]["time [min]"]
        run["counts"] = {"time [min]": time}
        for name, first in names.items():
            run["counts"][name] = rng.poisson(decays.SAMPLE * first * (np.exp(-loss * time / 60.0) + floor))
    record["decay_runs"][1].pop("background")
    return record | {"title": LONG}


DECAYS: dict[str, dict[str, Any]] = {
    "two": decays.decays(seed=3),
    "few": decays.changed(
        decays.decays(seed=3, channels=decays.ALL),
        on={"counts": decays.counted(8.4, 0.0, 40, seed=5, first=3e-4, channels=decays.ALL)},
    ),
    "eight": many_channels(),
    "nothing cleaned": decays.decays(on=0.45, off=0.4, seed=9, scatter=0.05),
}


@pytest.fixture(scope="module")
def rooms() -> dict[str, Result]:
    return {name: flowrig.reduce(record) for name, record in DECAYS.items()}


@pytest.fixture(scope="module")
def fallen(rooms: dict[str, Result]) -> dict[str, Mapping[str, Picture]]:
    return {name: by_name(parts_pictures(result)) for name, result in rooms.items()}


def test_decays_can_be_read(fallen: dict[str, Mapping[str, Picture]]) -> None:
    for pictures in fallen.values():
        assert set(pictures) == {"decay", "clean-air-by-decay"}
        for picture in pictures.values():
            check_picture(picture)


def test_a_decays_bytes_are_the_same_each_time(
    rooms: dict[str, Result], fallen: dict[str, Mapping[str, Picture]]
) -> None:
    result: Any = rooms["two"]
    check_bytes(fallen["two"].values(), decay_pictures(result, result.parts["decay"]))


def test_readings_and_curves_are_those_of_the_fit(
    rooms: dict[str, Result], fallen: dict[str, Mapping[str, Picture]]
) -> None:
    part: Any = rooms["two"].parts["decay"]
    panels = [a for a in fallen["two"]["decay"].figure.axes if a.get_yscale() == "log"]
    for told, axes in zip(part.told, panels, strict=True):
        assert axes.get_title(loc="left") == str(told.rate.sizes)
        expected = sorted(
            (float(t) / 60.0, 1e-6 * float(level))
            for fall in told.rate.falls
            for t, level in zip(fall.run.time, fall.run.level[:, fall.channel], strict=True)
        )
        assert marks(axes, "reading") == [pytest.approx(e) for e in expected]
        curves = [line for line in axes.lines if line.get_gid() == "curve"]
        for fall, curve in zip(told.rate.falls, curves, strict=True):
            assert curve.get_ydata()[0] == pytest.approx(1e-6 * fall.first)  # with its floor
            first, last = fall.span
            assert [60 * x for x in (curve.get_xdata()[0], curve.get_xdata()[-1])] == pytest.approx([first, last])
            by_hand = fall.fit.amplitude * math.exp(-fall.fit.rate * (last - first)) + fall.fit.floor
            assert curve.get_ydata()[-1] == pytest.approx(1e-6 * by_hand)


def test_residuals_are_those_of_the_window(rooms: dict[str, Result], fallen: dict[str, Mapping[str, Picture]]) -> None:
    part: Any = rooms["two"].parts["decay"]
    panels = [a for a in fallen["two"]["decay"].figure.axes if a.get_visible() and a.get_yscale() == "linear"]
    for told, axes in zip(part.told, panels, strict=True):
        drawn = sorted(y for _, y in marks(axes, "residual"))
        assert drawn == pytest.approx(sorted(r for f in told.rate.falls for r in f.fit.residuals))


@pytest.mark.from_memory
def test_bars_are_the_exact_limits_of_a_count(rooms: dict[str, Result]) -> None:
    """Garwood, Biometrika 28 (1936): quantiles of chi square; of none 0 to 3.689 and of 10 4.795 to 18.39."""
    part: Any = rooms["few"].parts["decay"]
    seen = set()
    for told in part.told:
        for fall in told.rate.falls:
            found, n = traced(fall), fall.run.counts[:, fall.channel]
            low = np.where(n > 0, stats.chi2.ppf(0.025, 2 * np.maximum(n, 1)) / 2, 0.0)
            assert found.low * fall.run.exposure == pytest.approx(low, rel=1e-6)
            assert found.high * fall.run.exposure == pytest.approx(stats.chi2.ppf(0.975, 2 * (n + 1)) / 2, rel=1e-6)
            seen |= set(np.round((found.high * fall.run.exposure)[n == 0], 3))
    assert seen == {3.689}


def test_nothing_counted_is_a_bar_without_a_mark(fallen: dict[str, Mapping[str, Picture]]) -> None:
    figure = fallen["few"]["decay"].figure
    assert "no mark: nothing was counted" in caption(figure)
    assert any(marks(axes, "none") for axes in figure.axes)
    for axes in figure.axes:
        if axes.get_yscale() == "log":
            assert all(y > 0 for _, y in marks(axes, "reading"))


def test_more_than_six_are_left_out_and_said(
    rooms: dict[str, Result], fallen: dict[str, Mapping[str, Picture]]
) -> None:
    part: Any = rooms["eight"].parts["decay"]
    figure = fallen["eight"]["decay"].figure
    told = [t for t in part.told if t.rate.falls]
    assert len(told) > 6
    assert sum(a.get_yscale() == "log" for a in figure.axes if a.get_visible()) == 6
    assert f"{len(told) - 6} more are not drawn: " in caption(figure)
    assert str(told[-1].rate.sizes) in caption(figure)


def test_both_states_are_told_apart_by_more_than_colour(fallen: dict[str, Mapping[str, Picture]]) -> None:
    axes = fallen["two"]["decay"].figure.axes[0]
    readings = [line for line in axes.lines if line.get_gid() == "reading"]
    assert {line.get_marker() for line in readings} == {"o", "s"}
    assert {line.get_markerfacecolor() == "white" for line in readings} == {True, False}
    assert len({line.get_linestyle() for line in axes.lines if line.get_gid() == "curve"}) == 2
    assert len({p.get_hatch() for p in axes.patches}) == 2


def test_a_rate_that_may_be_below_nothing_keeps_its_bar(
    rooms: dict[str, Result], fallen: dict[str, Mapping[str, Picture]]
) -> None:
    part: Any = rooms["nothing cleaned"].parts["decay"]
    [axes] = fallen["nothing cleaned"]["clean-air-by-decay"].figure.axes
    lowest = min(float(t.clean_air.low) for t in part.told)
    assert lowest < 0
    assert axes.get_xlim()[0] < lowest
    shown = [float(t.clean_air.value) for t in part.told]
    assert [x for x, _ in marks(axes, "mark filled")] == pytest.approx(sorted(shown))


def test_flow_times_efficiency_stands_beside_a_decay() -> None:
    record = counts.record(counts.in_turn() + counts.zero(), **TOLD, counter="A")
    both = decays.decays(seed=3) | {"particles": record["particles"]}
    both["counters"] = record["counters"] | {"B": both["counters"]["A"]}
    for run in both["decay_runs"]:
        run["counter"] = "B"
    result = flowrig.reduce(both, samples=2000)
    part: Any = result.parts["decay"]
    picture = by_name(decay_pictures(result, part))["clean-air-by-decay"]
    check_picture(picture)
    held = [t.effect.by_flow for t in part.told if t.effect is not None]
    assert held
    [axes] = picture.figure.axes
    assert [x for x, _ in marks(axes, "mark hollow")] == pytest.approx(sorted(float(q.value) for q in held))
    assert "where flow times efficiency is" in picture.alt


def test_concentrations_have_no_bar_of_counting_and_half_lives_no_readings() -> None:
    unknown = decays.decays(seed=3)
    del unknown["counters"]
    for run in unknown["decay_runs"]:
        run.pop("background", None)
        own = run["counts"]
        run["counts"] = {"time [min]": own["time [min]"], "0.3-0.5 um [1/cm3]": own["0.3 um"] / 2830.0}
    [readings, _] = parts_pictures(flowrig.reduce(unknown))
    check_picture(readings)
    assert "readings have no bar of counting" in caption(readings.figure)
    [one, _] = [axes for axes in readings.figure.axes if axes.get_visible()]
    assert not [c for c in one.collections if type(c).__name__ == "LineCollection"]
    told = decays.decays()
    del told["counters"]
    for run, half_life in zip(told["decay_runs"], ("5 min ± 0.2 min", "90 min ± 5 min"), strict=True):
        run.pop("counts")
        run.pop("background", None)
        run["half_life"] = half_life
    [strip] = parts_pictures(flowrig.reduce(told))
    check_picture(strip)
    assert strip.name == "clean-air-by-decay"
    assert "sizes not said" in strip.alt
