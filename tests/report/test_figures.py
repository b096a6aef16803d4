"""Figures: that they show what was predicted, in the same bytes each time, and that a person can read them."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy.interpolate import PchipInterpolator

from flowrig.records.write import write_all
from flowrig.report.figures import style
from flowrig.report.figures.fan_and_bank import fan_and_bank
from flowrig.report.figures.over_time import Mark, Series, over_time
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.swept import swept_figures
from flowrig.report.table import Table
from flowrig.studies.cleaner import setup
from flowrig.studies.picture import Curves, curves
from flowrig.studies.predict import Predicted, predict
from flowrig.studies.reduce import load
from flowrig.studies.sweep import Swept, sweep
from tests.report.figure_records import SWEEPS, written
from tests.report.readable import caption, check_legends, check_words

PREDICTED = ("simple", "crossings", "stages", "low")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("figures"))


@pytest.fixture(scope="module")
def predicted(folder: Path) -> dict[str, Predicted]:
    return {name: predict(folder / f"{name}.toml", samples=2000) for name in PREDICTED}


@pytest.fixture(scope="module")
def swept(folder: Path) -> dict[str, Swept]:
    return {name: sweep(load(folder / f"sweep-{name}.toml")) for name in SWEEPS}


def files(figures: dict[str, Figure], folder: str | Path = "", form: str = "svg") -> dict[Path, bytes]:
    nothing = Table(("number",), ())
    return style.save([Picture(name, "", "", nothing, figure) for name, figure in figures.items()], folder, form)


def life() -> Figure:
    times = np.linspace(0.0, 2000.0, 41)
    drop = 16.0 + 0.02 * times
    drop[35:] = np.nan
    clean = 900.0 - 0.1 * times
    series = [
        Series("charge kept", "clean-air rate", "m3/h", clean, 0.9 * clean, 1.1 * clean),
        Series("charge lost", "clean-air rate", "m3/h", 0.6 * clean, 0.5 * clean, 0.7 * clean),
        Series("drop", "drop over the filters", "Pa", drop, 0.8 * drop, 1.2 * drop),
    ]
    marks = [
        Mark("final drop", 1500.0, 1200.0, 1900.0, "1500 (1200 to 1900)"),
        Mark("cheapest time of change", 1480.0, 900.0, 2300.0, "1480 (900 to 2300)"),
        Mark("motor too hot", np.nan, np.nan, np.nan, ""),
    ]
    return over_time(
        times,
        "h",
        series,
        marks,
        title=f"{'W' * 20} of a district with a very long name, before the season of smoke has come",
        caption="While it runs.",
    )


@pytest.fixture(scope="module")
def figures(predicted: dict[str, Predicted], swept: dict[str, Swept]) -> dict[str, Figure]:
    found = {name: fan_and_bank(p, draws=1000) for name, p in predicted.items()}
    for name, s in swept.items():
        found |= {f"{name}: {own}": figure for own, figure in swept_figures(s).items()}
    return {**found, "life": life()}


def panel(figure: Figure, words: str) -> Axes:
    [found] = [axes for axes in figure.axes if words in axes.get_ylabel().replace("\n", " ")]
    return found


def test_bytes_are_the_same_each_time(predicted: dict[str, Predicted], swept: dict[str, Swept]) -> None:
    drawn = [{"fan": fan_and_bank(predicted["simple"], draws=500), **swept_figures(swept["two"])} for _ in range(2)]
    for form in style.FORMS:
        once, again = (files(figures, "x", form) for figures in drawn)
        assert once == again
        assert set(once) == {Path(f"x/fan.{form}"), Path(f"x/sweep.{form}")}


def test_saving_twice_changes_nothing(figures: dict[str, Figure]) -> None:
    own = {"a": figures["crossings"]}
    assert files(own) == files(own)


def test_what_a_person_has_set_for_other_work_does_not_matter(swept: dict[str, Swept]) -> None:
    once = files(swept_figures(swept["count"]))
    with matplotlib.rc_context({"font.size": 22, "svg.fonttype": "path", "axes.facecolor": "black"}):
        assert files(swept_figures(swept["count"])) == once
        assert matplotlib.rcParams["font.size"] == 22


def test_files_are_whole_small_and_hold_text(figures: dict[str, Figure], tmp_path: Path) -> None:
    contents = files({name.replace(": ", "-"): f for name, f in figures.items()}, tmp_path)
    write_all(contents)
    for path in contents:
        raw = path.read_bytes()
        assert len(raw) < 200_000, path.name
        assert b"<dc:date>" not in raw
        words = [x.text for x in ElementTree.fromstring(raw).iter("{http://www.w3.org/2000/svg}text")]
        assert len(words) > 10, path.name
    assert "Duct unit of two stages, $5 & <more> of $6" in " ".join(
        str(x.text) for x in ElementTree.parse(tmp_path / "stages.svg").iter()
    )


def test_an_unknown_form_is_refused() -> None:
    with pytest.raises(ValueError, match="svg, png"):
        style.save([], "", "pdf")


def test_no_text_covers_another_or_leaves_the_page(figures: dict[str, Figure]) -> None:
    for name, figure in figures.items():
        check_words(figure, name, least=15)


def test_legends_stand_beside_the_data(figures: dict[str, Figure]) -> None:
    for name, figure in figures.items():
        check_legends(figure, name)


def test_axes_say_quantity_and_unit(figures: dict[str, Figure]) -> None:
    top, strip = figures["stages"].axes
    assert top.get_ylabel() == "pressure over the bank [Pa]"
    assert strip.get_xlabel() == "flow through the filters [cfm]"
    labels = [a.get_ylabel().replace("\n", " ") for a in figures["two: sweep"].axes if a.get_visible()]
    assert labels == [
        "flow [m3/h]",
        "clean-air rate [m3/h]",
        "clean air gained by each further filter [m3/h]",
        "flow lost against free air [%]",
        "pressure over the bank [Pa]",
        "face velocity [m/s]",
        "electrical power [W]",
        "efficiency of the bank [%]",
    ]
    assert figures["life"].axes[-1].get_xlabel() == "running time [h]"
    for name, figure in figures.items():
        for axes in figure.axes:
            if axes.get_visible() and axes.get_ylabel():
                assert axes.get_ylim()[0] == 0.0, f"{name}: {axes.get_ylabel()} does not start at zero"


def test_captions_tell_coverage_and_what_is_invented(figures: dict[str, Figure]) -> None:
    for name, figure in figures.items():
        if name != "life":
            assert "hold 95 %" in caption(figure), name
    assert "All figures are invented" in caption(figures["simple"])
    assert "Some of the records are invented" in caption(figures["stages"])
    assert "Not reached in this time: motor too hot." in caption(figures["life"])


def test_marks_stand_at_the_predicted_crossings(figures: dict[str, Figure], predicted: dict[str, Predicted]) -> None:
    for name in PREDICTED:
        top, strip = figures[name].axes
        for axes in (top, strip):
            for stable, gid in ((True, "mark filled"), (False, "mark hollow")):
                drawn = sorted(float(x) for line in axes.lines if line.get_gid() == gid for x in line.get_xdata())
                expected = [float(c.quantities["flow"].value) for c in predicted[name].crossings if c.stable == stable]
                if axes is strip and stable and "free_air" in predicted[name].main.quantities:
                    expected.append(float(predicted[name]["free_air"].value))
                assert drawn == sorted(expected), name
        words = sorted(t.get_text() for t in top.texts)
        assert words == sorted("stable" if c.stable else "unstable" for c in predicted[name].crossings)
    assert len(predicted["crossings"].crossings) == 3


def test_the_strip_shows_the_interval_of_the_flow(figures: dict[str, Figure], predicted: dict[str, Predicted]) -> None:
    flow = predicted["simple"].flow
    ends = [tuple(line.get_xdata()) for line in figures["simple"].axes[1].lines]
    assert (float(flow.low), float(flow.high)) in ends


@pytest.fixture(scope="module")
def drawn(folder: Path) -> dict[str, Curves]:
    draws = {"simple": 6000, "crossings": 100, "stages": 100, "low": 100}
    return {name: curves(setup(load(folder / f"{name}.toml")), draws=draws[name]) for name in PREDICTED}


def test_both_curves_meet_at_the_crossing(drawn: dict[str, Curves], predicted: dict[str, Predicted]) -> None:
    for name, c in drawn.items():
        for crossing in predicted[name].crossings:
            flow, pressure = (float(crossing.quantities[n].estimate.value) for n in ("flow", "pressure"))
            assert np.interp(flow, c.fan_flow, c.fan.value) == pytest.approx(pressure, rel=2e-3)
            assert np.interp(flow, c.flow, c.bank.value) == pytest.approx(pressure, rel=2e-3)


@pytest.mark.recomputed
def test_errors_of_both_curves_are_those_of_the_crossing(
    drawn: dict[str, Curves], predicted: dict[str, Predicted]
) -> None:
    """At the crossing both pressures move alike: dQ = (dp_fan - dp_bank) / (slope of bank - slope of fan)."""
    for name in ("simple", "stages"):
        c, flow = drawn[name], predicted[name].flow.estimate
        at = float(flow.value)
        slope = np.interp(at, c.flow, np.gradient(c.bank.value, c.flow))
        slope -= np.interp(at, c.fan_flow, np.gradient(c.fan.value, c.fan_flow))
        parts = {cause.id: None for cause in (*c.fan.estimate.parts, *c.bank.estimate.parts)}
        variance = 0.0
        for id_ in parts:
            moved: np.ndarray | float = 0.0
            for x, sign, estimate in ((c.fan_flow, 1, c.fan.estimate), (c.flow, -1, c.bank.estimate)):
                own = next((part for cause, part in estimate.parts.items() if cause.id == id_), None)
                if own is not None:
                    moved = moved + sign * np.array([np.interp(at, x, row) for row in own])
            variance += float(np.sum((moved / slope) ** 2))
        assert variance**0.5 == pytest.approx(float(flow.u), rel=0.03), name


@pytest.mark.recomputed
def test_the_fans_band_is_that_of_draws_by_hand(drawn: dict[str, Curves], folder: Path) -> None:
    """Flow and pressure 10 % off at most, all points alike; between smooth and straight; the air's density."""
    s = setup(load(folder / "simple.toml"))
    q, p = s.curve.points["flow"].value, s.curve.points["pressure"].value
    density = s.inputs["density"]
    rng, n = np.random.default_rng(7), 40_000
    a, b, bent = rng.uniform(-0.1, 0.1, n), rng.uniform(-0.1, 0.1, n), rng.uniform(-1.0, 1.0, n)
    rho = rng.normal(float(density.value), float(density.u), n) / s.curve.density
    smooth, c = PchipInterpolator(q, p), drawn["simple"]
    for k in range(4, len(c.fan_flow) - 16, 6):
        place = c.fan_flow[k] / (1.0 + a)
        by_hand = rho * (1.0 + b) * ((1.0 - bent) * smooth(place) + bent * np.interp(place, q, p))
        ends = np.quantile(by_hand, [0.025, 0.975])
        assert np.array([c.fan.low[k], c.fan.high[k]]) == pytest.approx(ends, abs=0.12 * np.std(by_hand))


def test_the_curve_passes_the_points_brought_to_the_cleaner(drawn: dict[str, Curves]) -> None:
    for name, c in drawn.items():
        flow, pressure = c.point_flow.value, c.point_pressure.value
        inside = flow >= c.fan_flow[0]
        assert np.sum(inside) >= 3, name
        assert np.interp(flow[inside], c.fan_flow, c.fan.value) == pytest.approx(pressure[inside], abs=0.2)


@pytest.mark.recomputed
def test_fans_side_by_side_at_another_speed_with_backflow(drawn: dict[str, Curves], folder: Path) -> None:
    """Q = 2 (n q - CA sqrt(2 dp / rho)), dp = n2 (rho / rho_0) p: fan laws and Bernoulli, from memory."""
    s = setup(load(folder / "stages.toml"))
    rho = float(s.inputs["density"].value)
    p = 0.9**2 * rho / 1.2 * np.array([240.0, 225.0, 180.0, 110.0, 25.0])
    q = np.array([150.0, 300.0, 500.0, 700.0, 900.0]) / 3600
    net = 2 * (0.9 * q - 0.6 * 60e-4 * np.sqrt(2 * p / rho))
    assert drawn["stages"].point_flow.value == pytest.approx(net, rel=1e-9)
    assert drawn["stages"].point_pressure.value == pytest.approx(p, rel=1e-9)


@pytest.mark.recomputed
def test_points_of_one_setting_have_the_errors_of_their_instruments(drawn: dict[str, Curves]) -> None:
    """2 % of the flow and 0.5 Pa, as limits: over the root of 3, times the ratio of the densities."""
    c = drawn["low"]
    assert (3600 * c.point_flow.value).round(6).tolist() == [300.0, 600.0, 900.0]
    assert c.point_flow.estimate.u / c.point_flow.value == pytest.approx(0.02 / 3**0.5, rel=1e-6)
    assert c.point_pressure.estimate.u[-1] == pytest.approx(0.5 / 3**0.5, rel=0.01)


def test_curves_of_a_sweep_are_refused(swept: dict[str, Swept]) -> None:
    with pytest.raises(ValueError, match="one design at a time"):
        curves(swept["count"].setup)


def heights(axes: Axes, marker: str = "o") -> list[tuple[float, float]]:
    """Places and heights of all marks of a sort."""
    return sorted(
        (float(x), float(y))
        for line in axes.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    )


def test_a_sweep_shows_its_numbers(figures: dict[str, Figure], swept: dict[str, Swept]) -> None:
    s, figure = swept["count"], figures["count: sweep"]
    flow = s.quantities["flow"]
    assert heights(panel(figure, "flow [")) == list(zip([1.0, 2.0, 4.0], flow.value.tolist(), strict=True))
    [bars] = panel(figure, "flow [").collections
    assert [tuple(path[:, 1]) for path in bars.get_segments()] == list(zip(flow.low, flow.high, strict=True))
    both = [*s.quantities["clean_air"].value, *s.quantities["clean_air_conditioned"].value]
    assert sorted(y for _, y in heights(panel(figure, "clean-air rate"))) == sorted(both)
    lost = [y for _, y in heights(panel(figure, "flow lost"))]
    assert lost == pytest.approx((100 - s.quantities["share"].value).tolist())


def test_gains_are_told_a_filter(figures: dict[str, Figure], swept: dict[str, Swept]) -> None:
    clean = swept["count"].quantities["clean_air"].value
    found = heights(panel(figures["count: sweep"], "gained"))
    assert [x for x, _ in found] == [2.0, 4.0]
    assert [y for _, y in found] == pytest.approx([clean[1] - clean[0], (clean[2] - clean[1]) / 2])


def test_designs_without_a_crossing_are_left_out_and_said(figures: dict[str, Figure], swept: dict[str, Swept]) -> None:
    flow = swept["nowhere"].quantities["flow"].value
    missing = int(np.sum(~np.isfinite(flow)))
    assert 0 < missing < len(flow)
    figure = figures["nowhere: sweep"]
    assert f"{missing} of {len(flow)} designs have no crossing and are left out." in caption(figure)
    shown = [y for marker in "os" for _, y in heights(panel(figure, "flow ["), marker)]
    assert sorted(shown) == sorted(flow[np.isfinite(flow)])


def test_names_stand_on_an_axis_of_their_own(figures: dict[str, Figure]) -> None:
    axes = panel(figures["filter: sweep"], "flow [")
    words = [t.get_text().replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ") for t in axes.get_xticklabels()]
    assert words == [
        "Pleated panel 13, 50 mm",
        "Deep-pleated panel 13, 100 mm, …",
        "Pleated panel 13, 50 mm (2)",
    ]
    assert len(heights(axes)) == 3


def test_more_than_two_variables_make_several_figures(figures: dict[str, Figure]) -> None:
    own = [caption(f) for name, f in figures.items() if name.startswith("three")]
    assert len(own) == 2
    assert "All of them with: Pleated panel 13, 50 mm." in own[0]


def test_lines_beyond_what_can_be_told_apart_are_thinned_and_said(figures: dict[str, Figure]) -> None:
    assert "6 of 70 lines are drawn." in caption(figures["many: sweep"])


def test_a_bar_without_its_upper_end_runs_out_of_the_panel() -> None:
    times = np.linspace(0.0, 2000.0, 5)
    marks = [
        Mark("open above", 1990.0, 1640.0, np.nan, "1990"),
        Mark("closed", 900.0, 700.0, 1200.0, "900"),
        Mark("open below", 500.0, np.nan, 800.0, "500"),
        Mark("without a bar", 400.0, np.nan, np.nan, "400"),
    ]
    series = [Series("drop", "drop", "Pa", times, times, times)]
    figure = over_time(times, "h", series, marks, title="T", caption="C")
    bars = [line for line in figure.axes[-1].lines if line.get_gid() == "bar"]
    assert [list(map(float, line.get_xdata())) for line in bars] == [[1640, 2000], [700, 1200], [500, 800]]


def test_series_of_another_length_are_refused() -> None:
    short = Series("drop", "drop", "Pa", [1.0], [0.9], [1.1])
    with pytest.raises(ValueError, match="each of 2 times"):
        over_time([0.0, 1.0], "h", [short], title="", caption="")
    with pytest.raises(ValueError, match="no series"):
        over_time([0.0, 1.0], "h", [], title="", caption="")


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 (from memory)."""
    c = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return float(np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])


@pytest.mark.from_memory
def test_lines_are_told_apart_in_grey_and_never_by_colour_alone() -> None:
    shades = [luminance(c) for c in style.SHADES]
    assert min(1.05 / (y + 0.05) for y in shades) >= 3.0
    lightness = sorted(116 * y ** (1 / 3) - 16 for y in shades)  # CIE 1976 L*
    assert min(np.diff(lightness)) > 3.5
    assert len(set(style.DASHES)) == len(set(style.MARKERS)) == len(style.SHADES)
