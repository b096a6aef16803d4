"""Traverses of a face in whole records: exact profiles, strips and free area, the factor, flags, refusals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.physics.traverse import side_positions
from flowrig.studies.result import FlowResult
from tests.cli.rig import Rig, edited
from tests.studies.records import nozzle

FACE = {"width": "620 mm", "height": "640 mm", "kind": "filter", "edge_strip": "20 mm", "serial": "F1"}
ANEMOMETER = {"measures": "velocity", "serial": "V1", "accuracy": "2 % of reading + 0.02 m/s", "resolution": "0.01 m/s"}


def face(
    profile: Any = lambda x, y: 1.6 + 0 * x,
    piece: dict[str, Any] | None = None,
    method: str = "vane-face",
    count: tuple[int, int] = (5, 5),
    passes: int = 3,
    **flow: Any,
) -> dict[str, Any]:
    """Velocities of profile(x, y), x and y from 0 to 1 between the strips; each pass a little different."""
    record = nozzle()
    del record["nozzles"]
    record["instruments"] = record["instruments"] | {"anemometer": ANEMOMETER}
    if method == "thermal-face":
        record["instruments"]["anemometer"] = ANEMOMETER | {"reference_density": "1.2 kg/m3"}
    record["faces"] = {"bank": FACE | (piece or {})}
    across, down = count
    x, y = np.tile(side_positions("equal-area", across), down), np.repeat(side_positions("equal-area", down), across)
    shown = np.concatenate([profile(x, y) * (1 + 0.002 * (i - (passes - 1) / 2)) for i in range(passes)])
    row, column = np.repeat(np.arange(down) + 1, across), np.tile(np.arange(across) + 1, down)
    grid = {
        "pass": np.repeat(np.arange(passes) + 1, len(x)),
        "row": np.tile(row, passes),
        "column": np.tile(column, passes),
        "velocity [m/s]": shown,
    }
    record["flow"] = [
        {"method": method, "face": "bank", "across": across, "down": down, "grid": grid, "side": "upstream",
         "distance": "50 mm", **flow}
    ]  # fmt: skip
    return record


def reduced(record: dict[str, Any]) -> FlowResult:
    return flowrig.reduce(record).flows[0]


def volume(flow: FlowResult) -> float:
    return float(flow["actual_flow_meter"].estimate.value)


def codes(flow: FlowResult) -> set[str]:
    return {f.code for f in flow.findings}


def budget(flow: FlowResult) -> dict[str, float]:
    mass = flow["mass_flow"].estimate
    return {line.cause.name: float(line.u / mass.value) for line in mass.budget()}


KNOWN = {"factor": "1.00 ± 0.02 (k=2)"}
AREA = 0.58 * 0.60  # between the strips


def test_mean_velocity_times_the_area_between_the_strips() -> None:
    flow = reduced(face(**KNOWN))
    assert volume(flow) == pytest.approx(1.6 * AREA, rel=1e-9)
    assert budget(flow)["factor"] == pytest.approx(0.01, rel=1e-6)
    assert budget(flow)["integration over the face"] == pytest.approx(0.02 / np.sqrt(3), rel=1e-6)
    tilted = reduced(face(lambda x, y: 1.0 + x + 0.4 * y, **KNOWN))
    assert volume(tilted) == pytest.approx(1.7 * AREA, rel=1e-6)  # a plane: both interpolants exact
    assert budget(tilted)["integration over the face"] == pytest.approx(0.02 / np.sqrt(3), rel=1e-6)


# Source: closed form of the mean of a parabola, 1 - c/3 with the fall c from middle to edge.
@pytest.mark.recomputed
@pytest.mark.parametrize("fall", [0.2, 0.5])
def test_a_rounded_profile_lies_within_the_limit_of_integration(fall: float) -> None:
    flow = reduced(face(lambda x, y: 2 * (1 - fall * (2 * x - 1) ** 2), **KNOWN))
    true = 2 * (1 - fall / 3) * AREA
    limit = budget(flow)["integration over the face"] * np.sqrt(3)
    assert abs(volume(flow) / true - 1) < limit


def test_without_a_factor_the_middle_of_the_usual_range_is_taken() -> None:
    flow = reduced(face())
    assert volume(flow) == pytest.approx(1.6 * AREA * 0.97, rel=1e-9)
    assert flow.corrections["anemometer at a face (not compared)"] == pytest.approx(-0.03)
    assert budget(flow)["anemometer at a face (not compared)"] == pytest.approx(0.09 / np.sqrt(3), rel=1e-6)
    assert "face not compared" in codes(flow)
    assert "face not compared" not in codes(reduced(face(**KNOWN)))
    main = flow.main
    # Source: reference of this project, 'uncertainty to expect': 8 to 15 % (common practice, no source)
    assert 0.08 < (main.high - main.low) / 2 / main.value < 0.15


def test_one_face_has_one_error_whatever_the_record() -> None:
    a, b = (reduced(face(lambda x, y, v=v: v + 0 * x))["mass_flow"].estimate for v in (1.6, 1.9))
    shared = {c.name for c in a.parts if c in b.parts}
    assert {"anemometer at a face (not compared)", "integration over the face"} <= shared
    other = reduced(face(piece={"serial": "F2"}))["mass_flow"].estimate
    assert "anemometer at a face (not compared)" not in {c.name for c in a.parts if c in other.parts}


def test_free_area_of_a_grille() -> None:
    grille = {"kind": "grille", "free_area": "0.8 ± 0.04"}
    flow = reduced(face(piece=grille, **KNOWN))
    assert volume(flow) == pytest.approx(1.6 * AREA * 0.8, rel=1e-9)
    assert budget(flow)["free_area of bank"] == pytest.approx(0.05 / np.sqrt(3), rel=1e-6)
    assert budget(flow)["integration over the face"] == pytest.approx(0.05 / np.sqrt(3), rel=1e-6)


# Source: a heated probe feels mass flow, shown at its reference density.
def test_a_thermal_probe_shows_what_it_feels() -> None:
    record = face(method="thermal-face", **KNOWN)
    record["air"]["meter"] = {"temperature": "30 degC", "pressure": "830 hPa", "relative_humidity": "30 %"}
    flow = reduced(record)
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(1.6 * 1.2 * AREA, rel=1e-9)
    assert "thermal probe's response in a stream" in budget(flow)
    del record["instruments"]["anemometer"]["reference_density"]
    assert "display density unknown" in codes(reduced(record))


def test_flags() -> None:
    unwanted = {
        "few points on the face",
        "distance from the face",
        "behind the face",
        "uneven profile",
        "rule in doubt",
    }
    assert not codes(reduced(face(**KNOWN))) & unwanted
    assert "few points on the face" in codes(reduced(face(count=(3, 5), **KNOWN)))
    for distance, raised in (("10 mm", True), ("20 mm", False), ("150 mm", False), ("300 mm", True)):
        assert ("distance from the face" in codes(reduced(face(**KNOWN, distance=distance)))) is raised, distance
    assert "behind the face" in codes(reduced(face(**(KNOWN | {"side": "downstream"}))))
    dead = reduced(face(lambda x, y: np.where(x > 0.5, 2.0, 0.05), **KNOWN))
    assert "uneven profile" in codes(dead)
    assert "rule in doubt" in codes(
        reduced(face(lambda x, y: 2 * (1 - 0.95 * (2 * x - 1) ** 2), count=(4, 5), **KNOWN))
    )
    assert "reversed flow" in codes(reduced(face(lambda x, y: np.where(x < 0.15, -0.2, 2.0), **KNOWN)))


def test_one_pass_has_a_stated_limit() -> None:
    assert budget(reduced(face(passes=1, **KNOWN)))["repeatability of one pass"] == pytest.approx(0.02 / np.sqrt(3))
    stated = reduced(face(passes=1, repeatability="4 %", **KNOWN))
    assert budget(stated)["repeatability of one pass"] == pytest.approx(0.04 / np.sqrt(3))


RECORD = """title = "Filter bank"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "1000 hPa ± 1 hPa"
relative_humidity = "50 % ± 3 %"
[instruments.anemometer]
measures = "velocity"
accuracy = "2 % of reading + 0.02 m/s"
[faces.bank]
width = "620 mm"
height = "640 mm"
kind = "filter"
edge_strip = "20 mm"
[[flow]]
method = "vane-face"
face = "bank"
across = 2
down = 2
grid = "face.csv"
"""
GRID = "row,column,velocity [m/s]\n1,1,1.6\n1,2,1.7\n2,1,1.5\n2,2,1.6\n"


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def test_the_sound_record_is_sound(rig: Rig) -> None:
    rig.lay_out(record_toml=RECORD, face_csv=GRID)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")
    assert "face not compared" in out


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('width = "620 mm"\n', "", "line 10, faces.bank: read no width", "Add width"),
        ('"620 mm"', '"620 kg"', "line 11, faces.bank.width", "not a unit of length"),
        ('kind = "filter"\n', "", "line 10, faces.bank: read no kind", "filter, coil, grille"),
        ('kind = "filter"', 'kind = "filtre"', "line 13, faces.bank.kind", 'Did you mean "filter"?'),
        ('edge_strip = "20 mm"\n', "", "line 10, faces.bank: read no edge_strip", "Add edge_strip"),
        ('edge_strip = "20 mm"', 'edge_strip = "320 mm"', "line 14, faces.bank.edge_strip", "leave an opening"),
        ('kind = "filter"', 'kind = "grille"', "line 10, faces.bank: read no free_area", "between its bars"),
        ('kind = "filter"', 'kind = "grille"\nfree_area = "0.8"', "line 14, faces.bank.free_area", "with its ±"),
        ('kind = "filter"', 'kind = "filter"\nfree_area = "0.9"', "line 14, faces.bank.free_area", "with its ±"),
        ('kind = "filter"', 'kind = "filter"\nfree_area = "1.2"', "line 14, faces.bank.free_area", "at most 1"),
        ('face = "bank"', 'face = "banc"', "line 17, flow[1].face", "Did you mean bank?"),
        ("across = 2\n", "", "line 15, flow[1]: read no across", "Add across"),
        ("across = 2", 'across = "2"', "line 18, flow[1].across", "without quotes"),
        ("down = 2", 'down = 2\nrule = "log-tchebycheff"', "line 20, flow[1].rule", "one of: equal-area"),
        ("down = 2", 'down = 2\nfactor = "0.96"', "line 20, flow[1].factor", "with its ±"),
        ("down = 2", 'down = 2\nside = "left"', "line 20, flow[1].side", "one of: not stated, upstream, downstream"),
        ("down = 2", 'down = 2\ndistance = "-5 mm"', "line 20, flow[1].distance", "from 0 mm"),
        ("face.csv", "fase.csv", "line 20, flow[1].grid", "fase.csv"),
    ],
)
def test_bad_record(rig: Rig, old: str, new: str, where: str, said: str) -> None:
    rig.lay_out(face_csv=GRID)
    rig.tells(edited(RECORD, old, new), where, said)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("2,2,1.6\n", "", "row 2, column 2"),
        ("2,2,1.6\n", "2,2,\n", "row 2, column 2"),
        ("2,2,1.6\n", "2,3,1.6\n", "column"),
        ("2,2,1.6\n", "2,2,1,6\n", "face.csv"),
        ("[m/s]", "[m3/s]", "m3/s"),
    ],
)
def test_bad_grid(rig: Rig, old: str, new: str, said: str) -> None:
    rig.lay_out(record_toml=RECORD, face_csv=edited(GRID, old, new))
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert said in err, err
