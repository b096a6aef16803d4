"""Figures of rooms, of costs and of predictions: they show what was reckoned, and a person can read them."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from flowrig import units
from flowrig.report.figures import courses, style
from flowrig.report.figures.all import pictures_of
from flowrig.report.figures.equal_noise import noise_picture
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.predicted import swept_pictures
from flowrig.report.figures.winding import winding_picture
from flowrig.studies.equal_noise import NONE
from flowrig.studies.heat import ABOVE, NO_LIMIT
from flowrig.studies.own import Owned, own
from flowrig.studies.predict import Predicted, predict
from flowrig.studies.reduce import load
from flowrig.studies.room import RoomResult, room
from flowrig.studies.room_targets import LEVEL
from flowrig.studies.sweep import sweep
from flowrig.uncertainty.estimate import Estimate
from tests.report.figure_records import written
from tests.report.readable import check_legends, check_words
from tests.studies import rooms
from tests.studies.options import option, record
from tests.studies.test_building import DUCTS

LONG = "a cleaner of $4 panels & a <b>fan</b>, of which the name is longer than any line holds, number"
WIDE = {
    "volume": "180 m3 ± 6 m3", "infiltration": "0.6 1/h ± 0.4 1/h", "penetration": "0.8 ± 0.1",
    "deposition": "0.3 1/h ± 0.1 1/h", "mixing": "0.9 ± 0.05", "outdoor_concentration": "150 ug/m3 ± 30 ug/m3",
    "persons": "28 ± 2", "combustion": "none",
}  # fmt: skip
RANGES = {"energy_price": "from 0.1 to 0.3 USD/kWh", "hours": "from 1000 to 2000 h", "real_discount": "from 2 to 5 %"}
LOADED = {"filters": 4, "filter_price": "from 16 to 26 USD", "change_after": "from 500 to 800 h"}


@pytest.fixture(scope="module")
def told() -> dict[str, RoomResult]:
    """Every target, both states of the ducts, many options with long names; too little; far too much; clean air."""
    many = [
        rooms.unit(f"{LONG} {k}", f"{200 + 150 * k} m3/h ± 40 m3/h", power="70 W ± 3 W", sound="52 dB ± 2 dB",
                   sound_distance="1.5 m")
        for k in range(3)
    ]  # fmt: skip
    given = {
        "many": rooms.room(*many, room=WIDE | {"most_units": 8}, duct=DUCTS,
                           concentration_target=rooms.smoke("25 ug/m3"),
                           per_person_target={"guidance": "classroom, ASHRAE 241-2023"},
                           air_change_target={"guidance": "occupied space, CDC 2023"}),
        "short": rooms.room(rooms.unit("small one", "90 m3/h ± 20 m3/h", count=1), room=WIDE | {"most_units": 2},
                            concentration_target=rooms.smoke("25 ug/m3")),
        "fast": rooms.room(rooms.unit("big", "9000 m3/h ± 2000 m3/h"), room=WIDE | {"most_units": 50},
                           concentration_target=rooms.smoke("0.5 ug/m3")),
        "clean": rooms.room(rooms.unit("u", "250 m3/h ± 50 m3/h"), concentration_target=rooms.smoke("20 ug/m3"),
                            room=WIDE | {"outdoor_concentration": "0 ug/m3", "initial_concentration": "200 ug/m3"}),
        "share": rooms.room(rooms.unit(count=2), room={"outdoor_concentration": None}),
    }  # fmt: skip
    return {name: room(x, samples=1000) for name, x in given.items()}


@pytest.fixture(scope="module")
def owned() -> dict[str, Owned]:
    """Many options; one; nothing to pay; costs that never meet; one that gives too little."""
    many = [
        option(f"{LONG} {k}", price=f"({70 + 60 * k} ± 20) USD", unit_life="from 4 to 6 years",
               clean_air_rate=f"{400 - 20 * k} m3/h ± 40 m3/h",
               **LOADED | {"filter_price": f"from {30 - 3 * k} to {40 - 3 * k} USD"})
        for k in range(8)
    ]  # fmt: skip
    little = option("little", price="(30 ± 10) USD", clean_air_rate="90 m3/h ± 10 m3/h", count=1)
    given = {
        "many": record(*many, clean_air="600 m3/h", **RANGES),
        "one": record(option("only one", price="(70 ± 10) USD", **LOADED), **RANGES),
        "zero": record(option("A"), option("B")),
        "never": record(option("cheap", price="(70 ± 10) USD"), option("dear", price="(700 ± 10) USD"), **RANGES),
        "little": record(option("enough", price="(500 ± 50) USD", count=1), little, clean_air="300 m3/h", **RANGES),
    }
    return {name: own(x, samples=1000) for name, x in given.items()}


@pytest.fixture(scope="module")
def panels() -> Predicted:
    return predict(Path(__file__).parents[2] / "examples/25-working-week/panels.toml", samples=1000)


@pytest.fixture(scope="module")
def pictures(told: dict[str, RoomResult], owned: dict[str, Owned], panels: Predicted) -> dict[str, dict[str, Picture]]:
    results = {**told, **{f"own {name}": x for name, x in owned.items()}, "panels": panels}
    return {name: {p.name: p for p in pictures_of(x)} for name, x in results.items()}


def every(pictures: dict[str, dict[str, Picture]]) -> list[tuple[str, Picture]]:
    return [(f"{name}: {p.name}", p) for name, own_ in pictures.items() for p in own_.values()]


def caption(figure: Figure) -> str:
    return " ".join(figure.texts[-1].get_text().split())


def drawn(axes: Axes, gid: str) -> list[tuple[list[float], list[float]]]:
    return [
        ([float(x) for x in line.get_xdata()], [float(y) for y in line.get_ydata()])
        for line in axes.lines
        if line.get_gid() == gid
    ]


def words(axes: Axes) -> list[str]:
    return [t.get_text() for t in axes.texts]


def test_what_is_drawn_of_each(pictures: dict[str, dict[str, Picture]]) -> None:
    found = list(pictures["many"])
    for kind in ("air-changes", "per-person", "larger-of-two", "level"):
        assert any(name.startswith(f"units-{kind}") and "duct" not in name for name in found), kind
        assert any(name.startswith(f"units-{kind}-duct-filter") for name in found), kind
    assert found[-2:] == ["room-level-1", "room-level-2"]
    assert list(pictures["short"]) == ["units-level", "hangs-on-level", "room-level"]
    assert list(pictures["share"]) == ["room-level"]
    assert list(pictures["own many"]) == ["costs-1", "costs-2", "ranges"]
    assert list(pictures["own one"]) == ["costs"]
    assert list(pictures["own zero"]) == ["costs"]  # nothing has a range
    assert list(pictures["own never"]) == ["costs", "ranges"]
    assert list(pictures["panels"]) == ["fan-and-bank", "sweep", "noise", "winding"]


def test_no_text_covers_another_or_leaves_the_page(pictures: dict[str, dict[str, Picture]]) -> None:
    for name, picture in every(pictures):
        check_words(picture.figure, name)


def test_legends_stand_beside_the_data(pictures: dict[str, dict[str, Picture]]) -> None:
    for name, picture in every(pictures):
        check_legends(picture.figure, name)


def test_each_has_an_alternative_a_table_and_a_caption(pictures: dict[str, dict[str, Picture]]) -> None:
    for name, picture in every(pictures):
        assert len(picture.alt) > 60, name
        assert any(c.isdigit() for c in picture.alt), name
        assert picture.alt.endswith("."), name
        assert 0 < len(picture.table) <= 62, name
        assert all(cell for row in picture.table.rows for cell in row[:2]), name
        if "hangs-on" not in name:  # shares have no bars
            assert " 95 %" in caption(picture.figure), name
        assert "invented" in caption(picture.figure), name
        for axes in picture.figure.axes:
            assert "  " not in axes.get_xlabel() + axes.get_ylabel(), name
    heads = {head for _, p in every(pictures) for head in p.table.heads}
    assert {"option 1 [ug/m3]", "option 1 [USD]", "probability to meet it", "level, once steady [ug/m3]"} <= heads


def test_same_bytes_each_time(told: dict[str, RoomResult], owned: dict[str, Owned]) -> None:
    """Several times: the layout's solver is not the same to the last digit, which names of clip paths show."""
    for result, times in ((told["clean"], 2), (owned["little"], 4)):
        once, *again = (style.save(pictures_of(result), "x") for _ in range(times))
        assert all(once == other for other in again)
        assert all(len(raw) < 200_000 for raw in once.values())


def test_units_stand_against_their_target(told: dict[str, RoomResult], pictures: dict[str, dict[str, Picture]]) -> None:
    [case] = told["short"][LEVEL].cases
    [sort] = case.units
    [axes] = pictures["short"]["units-level"].figure.axes
    bars = [x for x, _ in drawn(axes, "bar")]
    assert bars == [[float(a), float(b)] for a, b in zip(sort.reached.low, sort.reached.high, strict=True)]
    assert {x[0] for x, _ in drawn(axes, "target")} == {25.0}
    marks = [x[0] for gid in ("mark filled", "mark hollow") for x, _ in drawn(axes, gid)]
    assert sorted(marks) == sorted(float(x) for x in sort.reached.value)
    assert "target: 25 ug/m3 or less" in words(axes)
    assert not any("enough" in said for said in words(axes))
    assert "not achievable with small one and at most 2" in caption(pictures["short"]["units-level"].figure)


def test_the_numbers_that_are_needed_are_marked(
    told: dict[str, RoomResult], pictures: dict[str, dict[str, Picture]]
) -> None:
    case = told["many"]["air changes"].cases[0]
    figures = [
        p.figure for name, p in pictures["many"].items() if name.startswith("units-air-changes") and "duct" not in name
    ]
    panels_ = [axes for figure in figures for axes in figure.axes]
    assert len(panels_) == len(case.units)
    for axes, sort in zip(panels_, case.units, strict=True):
        assert sort.sure is not None
        assert sort.on_mean is not None
        rows = [t.get_text() for t in axes.get_yticklabels()]
        shown = [said for said in words(axes) if "%" in said]
        place = dict(zip(rows, shown, strict=True))
        assert place[str(sort.sure)].endswith("with 97.5 %")
        assert "on the mean" in place[str(sort.on_mean)]
        assert sum("enough" in said for said in place.values()) == len({sort.sure, sort.on_mean})
        assert sum(line.get_marker() == "D" for line in axes.lines) == 1


def test_nothing_is_enough_in_a_room_that_is_not_mixed(pictures: dict[str, dict[str, Picture]]) -> None:
    """The study has a number on the mean, and tells it nowhere: beyond 30 air changes the balance means nothing."""
    picture = pictures["fast"]["units-level"]
    assert not any("enough" in said for said in words(picture.figure.axes[0]))
    assert "not achievable in a room that stays well mixed" in caption(picture.figure)
    assert "not achievable in a room that stays well mixed" in picture.alt


def test_the_larger_of_two_is_uncertain_itself(
    told: dict[str, RoomResult], pictures: dict[str, dict[str, Picture]]
) -> None:
    needed = told["many"]["larger of two"].cases[0].needed
    name = next(name for name in pictures["many"] if name.startswith("units-larger-of-two"))
    spans = [p.get_extents() for p in [patch.get_path().transformed(patch.get_patch_transform())
                                       for patch in pictures["many"][name].figure.axes[0].patches]]  # fmt: skip
    assert any(s.x0 == pytest.approx(float(needed.low)) and s.x1 == pytest.approx(float(needed.high)) for s in spans)


def test_levels_are_those_of_the_options(told: dict[str, RoomResult], pictures: dict[str, dict[str, Picture]]) -> None:
    result, (axes, ends) = told["short"], pictures["short"]["room-level"].figure.axes
    curves = [line for line in axes.lines if line.get_gid() is None]
    assert len(curves) == len(result.options)
    for line, one in zip(curves, result.options, strict=True):
        assert one.curve is not None
        assert np.array_equal(line.get_ydata(), one.curve.value)
        assert np.array_equal(line.get_xdata(), units.from_si(result.times, "min", "time"))
    steady = [one.quantities["level"] for one in result.options]
    assert [y for _, y in drawn(ends, "bar")] == [[float(q.low), float(q.high)] for q in steady]
    assert [y[0] for _, y in drawn(ends, "end")] == [float(q.value) for q in steady]
    assert [t.get_text() for t in ends.get_xticklabels()] == ["1", "2"]
    assert [y[0] for _, y in drawn(axes, "target")] == [25.0]
    assert "Outdoors: 150 ug/m3 ± 30 ug/m3" in caption(pictures["short"]["room-level"].figure)
    assert pictures["short"]["room-level"].table.rows[-1][0] == "once steady"


def test_an_axis_of_factors_only_where_all_is_above_nothing(pictures: dict[str, dict[str, Picture]]) -> None:
    scale = {name: pictures[name]["room-level"].figure.axes[0].get_yscale() for name in ("fast", "clean", "share")}
    assert scale == {"fast": "log", "clean": "linear", "share": "linear"}
    low, high = pictures["fast"]["room-level"].figure.axes[0].get_ylim()
    one = pictures["fast"]["room-level"].figure.axes[0]
    heights = [float(y) for line in one.lines for y in np.asarray(line.get_ydata(), dtype=float)]
    assert low < min(heights)
    assert max(heights) < high
    assert "Equal steps upwards are equal factors." in caption(pictures["fast"]["room-level"].figure)
    assert "factors" not in caption(pictures["clean"]["room-level"].figure)
    assert "The concentration outdoors is not known" in caption(pictures["share"]["room-level"].figure)


def test_the_first_minutes_are_told_closely(told: dict[str, RoomResult]) -> None:
    """A quarter of the step up to a fifteenth of the run, where a level falls fastest."""
    times = told["short"].times / told["short"].times[-1]
    assert np.diff(times)[:16] == pytest.approx(1 / 240)
    assert np.diff(times)[16:] == pytest.approx(1 / 60)
    assert times[[0, -1]].tolist() == [0.0, 1.0]


def test_costs_are_those_of_the_options(owned: dict[str, Owned], pictures: dict[str, dict[str, Picture]]) -> None:
    result, figure = owned["little"], pictures["own little"]["costs"].figure
    axes, ends = figure.axes[:2]
    for line, one in zip([x for x in axes.lines if x.get_gid() is None], result.ranked, strict=False):
        assert np.array_equal(line.get_ydata(), one.course.value)
    told_ = [one["present_value"] for one in result.ranked]
    assert [y for _, y in drawn(ends, "bar")] == [[float(q.low), float(q.high)] for q in told_]
    assert axes.get_ylim()[0] == 0.0
    assert axes.get_yscale() == "linear"
    faces = [line.get_markerfacecolor() for line in ends.lines if line.get_gid() == "end"]
    assert [face == "white" for face in faces] == [one.short for one in result.ranked]
    assert any(one.short for one in result.ranked)
    assert "Hollow: gives less than is needed." in caption(figure)
    strip = figure.axes[-1]
    air = [one["levelised"] for one in result.ranked]
    assert [x for x, _ in drawn(strip, "bar")] == [[float(q.low), float(q.high)] for q in air]
    assert strip.get_xlabel() == "cost of clean air [USD/1000 m3]"


def test_where_costs_meet(owned: dict[str, Owned], pictures: dict[str, dict[str, Picture]]) -> None:
    result, figure = owned["many"], pictures["own many"]["costs-2"].figure
    first, *rest = result.ranked[0], *result.ranked[6:]
    pairs = [result.pair(a.name, b.name) for a, b in combinations((first, *rest), 2)]
    strip = figure.axes[2]
    assert [x for x, _ in drawn(strip, "bar")] == [[p.meeting.low, p.meeting.high] for p in pairs]
    labels = [t.get_text().split("\n")[0] for t in strip.get_yticklabels()]
    assert labels == ["costs of 1 and 7 meet", "costs of 1 and 8 meet", "costs of 7 and 8 meet"]
    assert "those of 1 and 2 do not meet, 1 is the cheaper" in caption(pictures["own never"]["costs"].figure)
    assert "1 and 2 cost the same all along" in caption(pictures["own zero"]["costs"].figure)
    assert len(pictures["own never"]["costs"].figure.axes) == 3  # no strip


def test_ranges_are_those_of_the_pair(owned: dict[str, Owned], pictures: dict[str, dict[str, Picture]]) -> None:
    result, picture = owned["never"], pictures["own never"]["ranges"]
    [axes] = picture.figure.axes
    [pair] = result.pairs
    patches = [p for p in axes.patches if p.get_gid() == "range"]
    spans = [(p.get_x(), p.get_x() + p.get_width()) for p in patches]
    assert spans == [
        pytest.approx((min(b.at_low, b.at_high, b.middle), max(b.at_low, b.at_high, b.middle))) for b in pair.bars
    ]
    assert "all of it below 0: cheap is the cheaper" in words(axes)
    assert not drawn(axes, "zero")
    assert [x[0] for x, _ in drawn(axes, "middle")] == [pair.bars[0].middle]
    assert {"60 USD", "80 USD", "690 USD", "710 USD"} <= set(words(axes))
    assert picture.table.rows[0][1:3] == ("60 USD", "80 USD")
    assert "100 % (all of the draws)" in caption(picture.figure)


def test_zero_says_who_is_cheaper(owned: dict[str, Owned], pictures: dict[str, dict[str, Picture]]) -> None:
    picture = pictures["own many"]["ranges"]
    [axes] = picture.figure.axes
    best, next_ = (one.name for one in owned["many"].ranked[:2])
    pair = owned["many"].pair(best, next_)
    assert drawn(axes, "zero")
    said = " ".join(words(axes))
    assert f"number {pair.first[-1]} is the cheaper" in said.split("right of 0")[0]
    assert f"number {pair.second[-1]} is the cheaper" in said.split("right of 0")[1]
    assert len(picture.table) == len(pair.bars_by_air)
    assert f"{len(pair.bars_by_air) - 12} more move it less." in caption(picture.figure)


def test_every_figure_of_a_sweep_has_its_own_designs(tmp_path: Path) -> None:
    swept = sweep(load(written(tmp_path) / "sweep-three.toml"))
    own_ = list(swept_pictures(swept))
    assert [len(p.table) for p in own_] == [4, 4]
    rows = [row for p in own_ for row in p.table.rows]
    assert len(set(rows)) == len(swept) == 8
    assert len({row[0] for row in rows}) == 2  # two filters of one class, told apart
    for p in own_:
        held = p.alt.split("all with ")[1].split(". Least")[0]
        assert f"All of them with: {held}." in caption(p.figure)
        [column] = [k for k in range(3) if all(row[k] in held for row in p.table.rows)]
        assert len({row[column] for row in p.table.rows}) == 1


def test_noise_is_that_of_the_prediction(panels: Predicted, pictures: dict[str, dict[str, Picture]]) -> None:
    found, picture = panels.noise, pictures["panels"]["noise"]
    assert found is not None
    give, _, level, _ = picture.figure.axes
    marks = sorted(y[0] for gid in ("mark filled", "mark hollow") for _, y in drawn(give, gid))
    assert marks == sorted(float(x) for x in found.together.value)
    [bars] = [c for c in give.collections if c.get_gid() == "bar"]
    ends = [tuple(path[:, 1]) for path in bars.get_segments()]
    assert ends == list(zip(found.together.low, found.together.high, strict=True))
    assert drawn(give, "target")[0][1][0] == 700.0
    assert drawn(level, "target")[0][1][0] == 52.0
    assert len(drawn(level, "mark filled")) == len(found) - 1  # one as it is gives what it gives
    assert drawn(give, "answer")[0][0][0] == found.answer == 2
    assert picture.table.rows[0][0] == "1, as it is"
    assert not any("000000" in cell for row in picture.table.rows for cell in row)
    assert "Smallest number for 700 m3/h of clean air at no more noise than 52 dB: 2" in picture.alt


def test_noise_that_cannot_be_kept_says_so(panels: Predicted) -> None:
    found = panels.noise
    assert found is not None
    nothing = {
        name: replace(q, estimate=Estimate(np.full_like(q.estimate.value, np.nan), q.estimate.axes))
        for name, q in found.enough.items()
    }
    lost = replace(found, enough=nothing, beyond=np.full(len(found), True), answer=None, verdict=NONE)
    picture = noise_picture(panels, lost)
    assert [words(axes) for axes in picture.figure.axes[2:]] == [["no value: more than\nthe fans can give"]] * 2
    assert "no level for what is required" in picture.alt
    assert "Not achievable with up to 8 of them" in caption(picture.figure)
    assert "full speed: 1, 2, 3, 4, 5, 6, 7, 8." in caption(picture.figure)


def test_a_winding_stands_against_its_limit(panels: Predicted) -> None:
    heat = panels.heat
    assert heat is not None
    for limit, verdict, said in ((75.0, heat.verdict, "below the limit"), (30.0, ABOVE, "above the limit"),
                                 (None, NO_LIMIT, "No limit was given")):  # fmt: skip
        figure = winding_picture(replace(heat, limit=limit, verdict=verdict)).figure
        [axes] = figure.axes
        assert [x for x, _ in drawn(axes, "bar")] == [[float(heat.rise.low), float(heat.rise.high)]]
        assert [x[0] for x, _ in drawn(axes, "target")] == ([] if limit is None else [limit])
        assert said in caption(figure)


def test_the_curves_stand_in_the_table(pictures: dict[str, dict[str, Picture]], panels: Predicted) -> None:
    table = pictures["panels"]["fan-and-bank"].table
    kinds = [row[0] for row in table.rows]
    assert kinds[:2] == ["stable crossing", "free air"]
    assert kinds.count("fan") == kinds.count("bank") == 12
    assert kinds.count("point of the fan") == len(panels.setup.curve.points["flow"].value) == 14
    assert table.rows[0][1].startswith(f"{float(panels.flow.value):.0f} [")


def test_as_many_as_can_be_told_apart_and_the_first_in_every_one() -> None:
    x = np.array([0.0, 1.0])
    own_ = [courses.Course(k, "", x, x, x, x, (0.0, 0.0, 0.0)) for k in range(1, 13)]
    assert [[c.number for c in group] for group in courses.groups(own_)] == [
        [1, 2, 3, 4, 5, 6],
        [1, 7, 8, 9, 10, 11],
        [1, 12],
    ]
    assert [len(group) for group in courses.groups(own_[:6])] == [6]


def test_long_names_keep_both_ends() -> None:
    assert style.ends_kept("short", 20) == "short"
    for letters in range(24, 90):
        kept = style.ends_kept(f"{LONG} 7", letters)
        assert len(kept) <= letters
        assert kept.startswith("a cleaner")
        assert kept.endswith(" 7")
    assert style.ends_kept("W" * 50, 20) == "W" * 11 + " … " + "W" * 6


def test_a_number_keeps_its_unit() -> None:
    assert style.folded("cost of clean air [USD/1000 m3]", 28).split("\n")[-1] == "[USD/1000\N{NO-BREAK SPACE}m3]"
