"""Plain holes in a box at the edge of what is known: the box not large, air drawn from the room, slow air, what is
left unsaid; and the line by which the flow is checked by hand."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.methods.box_orifice import METHOD
from flowrig.methods.cautions import COMMON
from flowrig.physics.box_orifice import box_orifice_coefficient
from flowrig.physics.orifice import CORNER, orifice_coefficient
from flowrig.studies.sheet import sheet
from tests.cli.rig import Rig, edited, named
from tests.methods.test_box_orifice import HOLE, RECORD, box, budget, codes, reduced

KNOWN = {"diameter": "100 mm ± 0.2 mm", "coefficient": "0.79 ± 0.02 (k=2)", "serial": "K"}
LARGE_BOX = {"chamber_width": "4 m", "chamber_height": "4 m", "wall_distance": "1 m", "centre_distance": "1 m"}


def value(record: dict[str, Any]) -> float:
    return float(reduced(record)["mass_flow"].estimate.value)


def share(record: dict[str, Any], name: str) -> float:
    """Standard uncertainty of a cause, over the flow; 0 where it is not in the budget."""
    return budget(reduced(record)).get(name, 0.0) / value(record)


# ---- the box


# Source: ISO 5167-2 plate of the same area ratio in a pipe, at a boundless Reynolds number, against the hole in a
# boundless wall (recomputed; below beta 0.1 outside the standard's range).
@pytest.mark.recomputed
@pytest.mark.parametrize("side", [450, 600, 1200])
def test_half_of_what_a_plate_in_a_pipe_passes_more_is_added_and_half_is_the_limit(side: int) -> None:
    beta = math.sqrt(math.pi / 4) * 150 / side
    plate, limit = (orifice_coefficient(1e30, b, 10.0 * b, CORNER) for b in (beta, 1e-6))
    more = float(plate / limit / math.sqrt(1 - beta**4) - 1)
    sized = box(chamber_width=f"{side} mm", chamber_height=f"{side} mm")
    assert value(sized) / value(box()) - 1 == pytest.approx(more / 2, rel=1e-6)
    within = more / 2 / math.sqrt(3) / (1 + more / 2)
    assert share(sized, "air that moves in front of the hole") == pytest.approx(within, rel=1e-2)
    known = box({"K": KNOWN}, chamber_width=f"{side} mm", chamber_height=f"{side} mm")
    assert value(known) == value(box({"K": KNOWN}))  # calibrated in its box


def test_holes_larger_than_their_box_are_an_alarm_and_no_crash() -> None:
    flow = reduced(box(chamber_width="100 mm", chamber_height="100 mm"))
    [found] = [f for f in flow.findings if f.code == "holes large for the box"]
    assert (found.severity, "177 %" in found.message) == ("alarm", True)
    assert np.isfinite(flow.main.value)


def test_air_from_the_open_room_needs_no_box() -> None:
    record = box(upstream="room")
    del record["flow"][0]["static"]
    room = reduced(record)
    assert not codes(room) & {"box size unknown", "static pressure unknown"}
    assert float(room["mass_flow"].estimate.value) == pytest.approx(value(box()), rel=1e-12)
    assert "box size unknown" in codes(reduced(box()))


# ---- slow air


@pytest.mark.parametrize("drop", [2.0, 0.05, 0.001])
def test_below_reynolds_5000_the_limit_grows_on(drop: float) -> None:
    record = box({"A": HOLE | {"diameter": "40 mm ± 0.1 mm"}}, drop=f"{drop} Pa ± 0.0001 Pa")
    flow = reduced(record)
    reynolds = float(flow.diagnostics["reynolds"].reshape(-1)[0])
    rise = float(box_orifice_coefficient(max(reynolds, 5000), 0.0) / box_orifice_coefficient(50_000.0, 0.0)) - 1
    limit = rise + 0.02 * min(max(5000 / reynolds - 1, 0), 10)
    assert share(record, "coefficient below Reynolds 50 000") == pytest.approx(limit / math.sqrt(3), rel=1e-6)
    assert ("Reynolds number too low for a hole" in codes(flow)) is (reynolds < 5000)


def test_a_calibrated_hole_is_not_asked_for_its_reynolds_number() -> None:
    flow = reduced(box({"K": KNOWN}, drop="0.05 Pa ± 0.001 Pa"))
    assert not codes(flow) & {"Reynolds number too low for a hole", "low Reynolds number of a hole"}
    assert "coefficient below Reynolds 50 000" not in budget(flow)


def test_no_drop_is_no_flow_with_a_finite_bar() -> None:
    flow = reduced(box(drop="0 Pa ± 1 Pa"))
    assert flow.main.low < 0 < flow.main.high
    assert "coefficient" in flow.summary


# ---- what is left unsaid, and the rest of the flags

CASES: list[tuple[str, str, dict[str, Any], dict[str, Any]]] = [
    ("no wall distance", "surroundings of the hole not stated", {}, {"wall_distance": None}),
    ("no distance of two", "surroundings of the hole not stated", {"K": KNOWN}, {"centre_distance": None}),
    ("no ±", "opening without ±", {"A": HOLE | {"diameter": "150 mm"}}, {}),
    ("no ± of a calibrated one", "opening without ±", {"A": KNOWN | {"diameter": "150 mm"}}, {}),
    ("kPa for Pa", "large drop", {}, {"drop": "10.3 kPa"}),
    ("slow", "Reynolds number too low for a hole", {}, {"drop": "0.1 Pa"}),
    ("near a wall", "hole near a wall or another hole", {}, {"wall_distance": "220 mm"}),
    ("near one another", "hole near a wall or another hole", {"K": KNOWN}, {"centre_distance": "440 mm"}),
    ("under pressure", "unlikely static pressure", {}, {"static": "4 kPa"}),
]


@pytest.mark.parametrize(("flag", "more", "flow"), named(*CASES))
def test_flags(flag: str, more: dict[str, Any], flow: dict[str, Any]) -> None:
    for said, raised in ((LARGE_BOX | flow, True), (LARGE_BOX, False)):
        record = box({"A": HOLE} | (more if raised else {}), **said)
        record["flow"][0] = {name: x for name, x in record["flow"][0].items() if x is not None}
        assert (flag in codes(reduced(record))) is raised
    near = LARGE_BOX | {"wall_distance": "230 mm", "centre_distance": "460 mm", "drop": "10 kPa", "static": "3 kPa"}
    assert flag not in codes(reduced(box({"A": HOLE, "K": KNOWN}, **near)))


def test_flags_of_rows_are_of_their_rows() -> None:
    result = flowrig.reduce_rows(box(**LARGE_BOX), {"drop [Pa]": [85.0, 0.2, 11e3]})
    raised = {f.code: f.rows for f in result.flows[0].findings if f.rows is not None}
    assert raised["Reynolds number too low for a hole"].tolist() == [False, True, False]
    assert raised["large drop"].tolist() == [False, False, True]


# ---- the line to check by hand, and the sheet


def test_the_summary_is_enough_to_check_the_flow() -> None:
    flow = reduced(box({"A": HOLE, "K": KNOWN}, drop="500 Pa"))
    [factor] = re.findall(r"expansibility ([\d.]+)$", flow.summary)
    holes = re.findall(r"(\w) of (\d+) mm, .*?coefficient ([\d.]+)", flow.summary)
    assert [name for name, _, _ in holes] == ["A", "K"]
    areas = [float(c) * math.pi / 4 * (float(d) / 1e3) ** 2 for _, d, c in holes]
    again = (areas[0] * float(factor) + areas[1]) * math.sqrt(2 * 500 / float(flow.air["meter"]["density"].value))
    assert float(flow["actual_flow_meter"].estimate.value) == pytest.approx(again, rel=2e-4)  # four digits of C
    assert "edge 0.01 of it" in flow.summary
    assert "calibrated coefficient 0.79" in flow.summary


def test_the_blank_sheet_warns_who_cuts_a_hole() -> None:
    text = " ".join(line.lstrip("# ") for line in sheet("box-orifice").files["record.toml"].splitlines())
    assert len(METHOD.cautions) == len(COMMON) + 1
    assert "Cutting a hole" in text


# ---- bad input

AT = "record.toml, line {}, {}"
D = 'drop = "85 Pa"\n'
ROOM = D + 'upstream = "room"\n'
SIZES = 'chamber_width = "1 m"\nchamber_height = "1 m"\n'
BAD = named(
    ("a side that is none", D + 'upstream = "outside"\n', ((18, "flow[1].upstream", "box, room"),)),
    ("a side nearly right", D + 'upstream = "boxx"\n', ((18, "flow[1].upstream", 'Did you mean "box"?'),)),
    ("a side as a flag", D + "upstream = true\n", ((18, "flow[1].upstream", "read true"),)),
    ("static of the room", ROOM + 'static = "20 Pa"\n', ((19, "flow[1].static", "20 Pa"),)),
    (
        "a box that is the room",
        ROOM + SIZES,
        ((19, "flow[1].chamber_width", "open room"), (20, "flow[1].chamber_height", "open room")),
    ),
    ("no distance", D + 'wall_distance = "0 mm"\n', ((18, "flow[1].wall_distance", "above 0"),)),
    ("distance in pascals", D + 'centre_distance = "3 Pa"\n', ((18, "flow[1].centre_distance", "unit of length"),)),
)


@pytest.mark.parametrize(("new", "says"), BAD)
def test_bad_input(tmp_path: Path, new: str, says: tuple[tuple[int, str, str], ...]) -> None:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=edited(RECORD, D, new))
    rig.refuses("record.toml", says=tuple((AT.format(line, field), said) for line, field, said in says))
