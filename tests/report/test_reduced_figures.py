"""Figures of flows: that they show what was reduced, in the same bytes each time, and that a person can read them."""

from __future__ import annotations

import math
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.axes import Axes

from flowrig.report.figures import reduced, style
from flowrig.report.figures.all import pictures_of
from flowrig.report.figures.budget import budget_picture
from flowrig.report.figures.density import density_picture
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.readings import readings_picture
from flowrig.studies.behind import behind
from flowrig.studies.largest import largest
from flowrig.studies.reduce import reduce
from flowrig.studies.result import Quantity, Result
from flowrig.studies.rows import reduce_rows
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from tests.report.flow_records import LONG, all_reduced, written
from tests.report.readable import caption, check_legends, check_words

EXAMPLES = Path(__file__).parents[2] / "examples"
RECORDS = ("long", "hundred", "faint", "several", "round", "backwards", "face", "log")
NUMBERS = ("04", "08", "11", "13", "14")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("flows"))


@pytest.fixture(scope="module")
def results(folder: Path) -> dict[str, Result]:
    found = all_reduced(folder, RECORDS, NUMBERS)
    for name in ("rows", "few"):
        found[name] = reduce_rows(folder / "pattern.toml", folder / f"{name}.csv")
    return found


Group = dict[str, dict[str, Picture]]


SORTS = ("plane", "readings", "ranges", "coefficient", "budget", "density")
# Of three records every figure; of the others what differs from one to the next.
ALL = ("long", "faint", "14")
SOME = {
    "hundred": ("readings", "ranges"),
    "round": ("plane",),
    "backwards": ("plane",),
    "face": ("plane",),
    "log": ("readings",),
    "04": ("plane",),
    "08": ("plane", "readings", "ranges"),
    "11": ("readings",),
    "13": ("ranges",),
}


@pytest.fixture(scope="module")
def pictures(results: dict[str, Result]) -> Group:
    found = {}
    for name, result in results.items():
        with pytest.MonkeyPatch.context() as patch:
            for sort in () if name in ALL else set(SORTS) - set(SOME.get(name, ())):
                patch.setattr(reduced, f"{sort}_picture", lambda *_, **__: None)
            own = [p for p in pictures_of(result) if p is not None]
        found[name] = {p.name: p for p in own}
        assert len(found[name]) == len(own), f"{name}: two files of one name"
    return found


def every(pictures: Group) -> dict[str, Picture]:
    return {f"{name}: {own}": p for name, group in pictures.items() for own, p in group.items()}


def test_what_applies_is_drawn(pictures: Group) -> None:
    assert list(pictures["long"]) == ["flow-ranges", "flow-coefficient", "flow-budget", "flow-density"]
    assert list(pictures["faint"]) == ["flow-readings", *pictures["long"]]
    assert next(iter(pictures["round"])) == "flow-plane"
    expected = [f"flow-1-{x}" for x in ("readings", "ranges", "coefficient", "budget", "density")]
    expected += [f"flow-2-{x}" for x in ("plane", "readings", "ranges", "budget", "density")]
    assert [n for n in pictures["14"] if n.startswith("flow")] == expected
    assert {"together", "together-budget", "claims"} <= set(pictures["14"])
    assert set(pictures["several"]) == {"together", "claims"}  # nothing combined, so no budget of it
    assert list(pictures["rows"]) == list(pictures["few"]) == ["flow-rows"]


def test_no_text_covers_another_or_leaves_the_page(pictures: Group) -> None:
    for name, picture in every(pictures).items():
        check_words(picture.figure, name, least=8)


def test_legends_stand_beside_the_data(pictures: Group) -> None:
    for name, picture in every(pictures).items():
        check_legends(picture.figure, name)


def test_bytes_are_the_same_each_time_whatever_a_person_has_set(results: dict[str, Result]) -> None:
    once = style.save(pictures_of(results["round"]), "x")
    with matplotlib.rc_context({"font.size": 22, "axes.facecolor": "black"}):
        assert style.save(pictures_of(results["round"]), "x") == once
    assert set(once) == {Path(f"x/flow-{x}.svg") for x in ("plane", "readings", "ranges", "budget", "density")}
    assert max(map(len, once.values())) < 200_000


def test_captions_alternatives_and_tables(pictures: Group) -> None:
    for name, picture in every(pictures).items():
        said = caption(picture.figure)
        assert "invented, for demonstration" in said, name
        if "budget" not in name:
            assert "hold 95 %" in said, name
        assert len(picture.alt) > 60, name
        assert any(c.isdigit() for c in picture.alt), name
        assert 0 < len(picture.table) <= 61, name
        assert picture.title, name


def test_names_of_people_stay_as_they_are(pictures: Group) -> None:
    for picture in pictures["long"].values():
        assert picture.title.endswith(LONG)
        svg = style.drawn(picture.figure).decode()
        assert "&lt;script&gt;" in svg
        assert "<script>" not in svg
        heading = picture.figure.texts[0].get_text()
        assert "Cleaner $7 & <script>" in heading


def panel(picture: Picture, words: str) -> Axes:
    [found] = [a for a in picture.figure.axes if words in a.get_xlabel() or words in a.get_ylabel()]
    return found


def lines(axes: Axes, gid: str) -> list[list[tuple[float, float]]]:
    return [list(map(tuple, line.get_xydata())) for line in axes.lines if line.get_gid() == gid]


# the plane


def test_the_map_holds_every_point_to_scale(results: dict[str, Result], pictures: Group) -> None:
    for name in ("04", "round", "face"):
        plane = behind(results[name], 0).plane
        assert plane is not None
        axes = pictures[name]["flow-plane"].figure.axes[0]
        assert axes.get_aspect() == 1.0
        [points] = [c for c in axes.collections if c.get_gid() == "points"]
        assert sorted(points.get_array()) == pytest.approx(sorted(plane.velocity.value))
        at = np.asarray(points.get_offsets())
        if name == "round":
            depth = 1000 * plane.layout.positions["depth"]
            assert np.hypot(*at.T) == pytest.approx(np.abs(depth - 200.0))
        else:
            assert at[:, 0] == pytest.approx(1000 * plane.layout.positions["x"])
            assert axes.yaxis_inverted()
        sizes = points.get_sizes()
        assert np.all(np.diff(sizes[np.argsort(plane.velocity.value)]) >= -1e-9)  # told by size, not by shade alone


def test_backward_flow_has_a_mark_of_its_own(pictures: Group) -> None:
    picture = pictures["backwards"]["flow-plane"]
    gids = [c.get_gid() for c in picture.figure.axes[0].collections]
    assert gids.count("points backwards") == 1
    assert "Crosses: the air flows backwards." in caption(picture.figure)
    assert "least -0.900 m/s at row 1, column 1" in picture.alt


def test_numbers_of_the_map_are_those_of_the_points(pictures: Group) -> None:
    axes = pictures["round"]["flow-plane"].figure.axes[0]
    assert len(axes.texts) == 18
    assert not pictures["face"]["flow-plane"].figure.axes[0].texts  # no room for 288 of them
    assert "Profiles of 6 of 12 rows." in caption(pictures["face"]["flow-plane"].figure)


def test_profiles_have_bars(results: dict[str, Result], pictures: Group) -> None:
    plane = behind(results["04"], 0).plane
    assert plane is not None
    axes = pictures["04"]["flow-plane"].figure.axes[1]
    bars = [segment for c in axes.containers for b in c.lines[2] for segment in b.get_segments()]
    drawn = sorted((s[0][1], s[1][1]) for s in bars)
    assert np.array(drawn) == pytest.approx(np.array(sorted(zip(plane.velocity.low, plane.velocity.high, strict=True))))
    assert "mean of the plane, corrected" in [t.get_text() for t in axes.get_legend().get_texts()]


# readings


def test_readings_over_time_and_in_order(results: dict[str, Result], pictures: Group) -> None:
    for name in ("log", "hundred", "08"):
        run = behind(results[name], 0).run
        assert run is not None
        axes = pictures[name]["flow-readings"].figure.axes[0]
        [drawn] = lines(axes, "readings")
        assert [y for _, y in drawn] == pytest.approx(run.flows.tolist())
        assert len(pictures[name]["flow-readings"].figure.axes) == 2
    log = pictures["log"]["flow-readings"]
    assert "worth 2 independent ones" in caption(log.figure)
    assert log.figure.axes[-1].get_xlabel() == "time from the first reading [s]"
    assert log.figure.axes[-1].get_xlim() == (0.0, 29.5)
    assert pictures["hundred"]["flow-readings"].figure.axes[-1].get_xlabel() == "reading, in the order taken"


def test_a_mark_at_the_least_or_the_greatest_reading_stays_whole(folder: Path) -> None:
    text = (folder / "pattern.toml").read_text(encoding="utf-8")
    round_ = text.replace('"118.00 Pa", "118.40 Pa", "117.90 Pa"', '"110 Pa", "120 Pa", "115 Pa"')
    assert round_ != text
    (folder / "tens.toml").write_text(round_, encoding="utf-8")
    result = reduce(folder / "tens.toml")
    run = behind(result, 0).run
    assert run is not None
    figure = readings_picture(result, result.flows[0], run, "x", "X").figure
    for axes in figure.axes:
        low, high = axes.get_ylim()
        [drawn] = lines(axes, "readings")
        assert all(low < y < high for _, y in drawn)


def test_places_in_turn_have_fewer_flows_than_readings(pictures: Group) -> None:
    figure = pictures["11"]["flow-readings"].figure
    assert [len(lines(axes, "readings")[0]) for axes in figure.axes] == [4, 8, 8]
    assert figure.axes[0].get_xlabel() == "place in turn"


# ranges


def test_marks_beyond_a_limit_are_hollow_and_say_their_flag(pictures: Group) -> None:
    axes = pictures["hundred"]["flow-ranges"].figure.axes
    assert [len(lines(a, "mark hollow")) for a in axes] == [1, 1, 0]
    assert "ALARM, low Reynolds number" in axes[0].get_yticklabels()[0].get_text()
    assert axes[0].get_xscale() == "log"
    [limit] = lines(axes[0], "limit")
    assert limit[0][0] == 12000.0
    assert [x for x, _ in (line[0] for line in lines(axes[1], "limit"))] == [14.0, 35.0]
    assert len(lines(axes[0], "each")[0]) == 100


def test_a_calibrated_box_lies_in_the_range_of_its_calibration(pictures: Group) -> None:
    picture = pictures["13"]["flow-ranges"]
    [axes] = picture.figure.axes
    assert sorted(line[0][0] for line in lines(axes, "limit")) == pytest.approx([9.7, 387.4])
    assert "asked for 9.7 to 387.4 Pa: within" in picture.alt


def test_a_coefficient_with_its_band(results: dict[str, Result], pictures: Group) -> None:
    [curve] = behind(results["14"], 0).coefficient
    [axes] = pictures["14"]["flow-1-coefficient"].figure.axes
    [drawn] = lines(axes, "curve")
    assert [y for _, y in drawn] == pytest.approx(curve.value.tolist())
    assert len([c for c in axes.collections if c.get_gid() == "band"]) == 1
    marks = [tuple(c.lines[0].get_xydata()[0]) for c in axes.containers]
    assert marks == [tuple(xy) for xy in zip(curve.at_reynolds, curve.at_value, strict=True)]
    assert [line[0][0] for line in lines(axes, "limit")] == [12000.0]
    assert "A: discharge coefficient 0.9795 [0.9677 to 0.9912] at" in pictures["14"]["flow-1-coefficient"].alt


# budget


def test_a_budget_shows_every_share(results: dict[str, Result], pictures: Group) -> None:
    shares = [100 * line.share for line in largest(results["14"].flows[0].main)]
    [axes] = pictures["14"]["flow-1-budget"].figure.axes
    assert [p.get_width() for p in axes.patches if p.get_gid() == "share"] == pytest.approx(shares)
    words = [t.get_text() for t in axes.get_yticklabels()]
    assert words[0].endswith("85.2 %, u 8.43 m3/h")
    assert words[-1].startswith("all others (13)")


def test_a_budget_of_anything(results: dict[str, Result]) -> None:
    levels = Estimate(54.0, (), {Cause("a", scope="method", label="W" * 90): [0.5], Cause("b"): [0.45]})
    q = Quantity("level", "sound level", "sound level", "dB", levels, interval(levels))
    picture = budget_picture(q, "sound", "Where it comes from")
    assert picture is not None
    assert "invented" not in caption(picture.figure)
    assert [row[2] for row in picture.table.rows] == ["0.5", "0.45"]
    exact = Estimate(1.0)
    none = Quantity("flow", "flow", "flow", "m3/h", exact, interval(exact))
    assert budget_picture(none, "x", "X") is None
    assert density_picture(none, "x", "X") is None


# draws


def test_both_intervals_stand_below_the_density(results: dict[str, Result], pictures: Group) -> None:
    for name, told in (("faint", "drawn"), ("long", "linear")):
        flow = results[name].flows[0].main
        top, bottom = pictures[name]["flow-density"].figure.axes
        ends = [tuple(x for x, _ in line) for line in lines(bottom, "bar")]
        assert (float(flow.low), float(flow.high)) == ends[told == "drawn"]
        words = [t.get_text() for t in bottom.get_yticklabels()]
        assert ", told" in words[told == "drawn"]
        assert ", told" not in words[told == "linear"]
        assert len(lines(bottom, "mark filled")) == 1
        assert top.get_ylim()[0] == 0.0
        [steps] = [p for p in top.patches if not p.get_fill()]
        heights, edges = steps.get_data().values, steps.get_data().edges
        assert float(np.sum(heights * np.diff(edges))) == pytest.approx(0.998, abs=0.0015)


# side by side


def test_measurements_and_their_differences(results: dict[str, Result], pictures: Group) -> None:
    [group] = results["14"].together
    top, bottom = pictures["14"]["together"].figure.axes
    assert len(lines(top, "bar")) == 3
    assert len([c for c in top.patches if c.get_gid() == "combined"]) == 1
    [difference] = lines(bottom, "bar")
    [pair] = group.pairs
    assert difference[1][0] - difference[0][0] == pytest.approx(2 * pair.expanded)
    assert "E_n 0.45: agree" in bottom.get_yticklabels()[0].get_text()
    top, bottom = pictures["several"]["together"].figure.axes
    assert len(lines(top, "bar")) == 5
    assert len(lines(bottom, "mark hollow")) == 10
    assert "Not combined: " in caption(pictures["several"]["together"].figure)


def test_claims_lie_beside_the_line_at_which_both_are_the_same(pictures: Group) -> None:
    shares, levels = pictures["14"]["claims"].figure.axes
    assert [len(lines(a, "bar")) for a in (shares, levels)] == [2, 1]
    assert shares.get_xlabel() == "measured over stated [%]"
    assert levels.get_xlabel() == "measured above stated [dB]"
    assert shares.get_xlim()[0] == 0.0
    assert "Not measured in this record: efficiency 65 %" in caption(pictures["14"]["claims"].figure)
    assert len(lines(pictures["several"]["claims"].figure.axes[0], "bar")) == 5


# a table of tests


def test_rows_with_flags_are_marked(results: dict[str, Result], pictures: Group) -> None:
    axes = pictures["few"]["flow-rows"].figure.axes[0]
    plain, flagged = axes.containers
    assert plain.lines[0].get_xdata().tolist() == [1, 3]
    assert flagged.lines[0].get_xdata().tolist() == [2]
    assert plain.lines[0].get_marker() != flagged.lines[0].get_marker()
    flow = results["few"].flows[0].main
    bars = [segment[:, 1].tolist() for b in flagged.lines[2] for segment in b.get_segments()]
    assert bars == [pytest.approx([float(flow.low[1]), float(flow.high[1])])]
    assert pictures["few"]["flow-rows"].table.rows[1][2].startswith("ALARM")


def test_many_rows_are_thinned_and_said(pictures: Group) -> None:
    picture = pictures["rows"]["flow-rows"]
    bars = sum(len(c.lines[0].get_xdata()) for c in picture.figure.axes[0].containers)
    assert bars <= 360
    assert "flagged rows are marked" in caption(picture.figure)
    assert picture.table.caption


def test_axes_end_at_round_numbers(pictures: Group) -> None:
    for name in ("log", "08", "faint"):
        for axes in pictures[name]["flow-readings"].figure.axes:
            low, high = axes.get_ylim()
            ticks = axes.get_yticks()
            assert math.isclose(low, ticks[0])
            assert math.isclose(high, ticks[-1])
