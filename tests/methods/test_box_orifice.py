"""Plain holes in a box: whole records against the tables, what is refused, what is flagged, what is in the budget."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.physics.box_orifice import box_orifice_coefficient, box_orifice_expansibility
from flowrig.studies.result import FlowResult
from tests.cli.rig import Rig, edited
from tests.reference.load import rows
from tests.studies.records import nozzle

HOLE = {"diameter": "150 mm ± 0.3 mm", "thickness": "1.5 mm", "edge": "sharp", "cut": "with care", "serial": "H1"}


def box(holes: dict[str, dict[str, Any]] | None = None, **flow: Any) -> dict[str, Any]:
    record = nozzle()
    del record["nozzles"]
    record["holes"] = deepcopy(holes or {"A": HOLE})
    record["flow"] = [
        {"method": "box-orifice", "open": list(record["holes"]), "drop": "85 Pa", "static": "0 Pa", **flow}
    ]
    return record


def reduced(record: dict[str, Any]) -> FlowResult:
    return flowrig.reduce(record).flows[0]


def codes(flow: FlowResult) -> set[str]:
    return {f.code for f in flow.findings}


def budget(flow: FlowResult) -> dict[str, float]:
    return {line.cause.name: float(line.u) for line in flow["mass_flow"].estimate.budget()}


# Source: limit of ISO 5167-2's equation for a small bore (outside its range), at the Reynolds numbers of the table.
@pytest.mark.recomputed
@pytest.mark.parametrize("reynolds", [1e4, 3e4, 1e5, 1e6])
def test_a_whole_record_uses_the_coefficient_of_the_table(reynolds: float) -> None:
    [row] = [
        r for r in rows("orifice_plenum.csv") if r["item"].endswith(f"Re_d={_power(reynolds)}") and "1e-06" in r["item"]
    ]
    state = reduced(box()).air["meter"]
    density, viscosity, pressure = (float(state[name].value) for name in ("density", "viscosity", "pressure"))
    velocity = reynolds * viscosity / density / 0.15
    drop = density / 2 * (velocity / float(row["C"])) ** 2
    for _ in range(5):
        drop = density / 2 * (velocity / float(row["C"]) / float(box_orifice_expansibility(1 - drop / pressure))) ** 2
    flow = reduced(box(drop=f"{drop:.12g} Pa"))
    assert float(flow.diagnostics["reynolds"].reshape(-1)[0]) == pytest.approx(reynolds, rel=1e-6)
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(density * velocity * np.pi / 4 * 0.15**2, rel=1e-6)


def _power(x: float) -> str:
    return f"1e{round(np.log10(x))}" if np.isclose(np.log10(x) % 1, 0) else f"{x:.0e}".replace("e+0", "e")


# Source: V. Ganesan, Internal Combustion Engines, Ex. 17.14: 50 mm hole in an air box, C 0.6, 46 mm of water.
@pytest.mark.published
def test_textbook_air_box_with_a_known_coefficient() -> None:
    [row] = [r for r in rows("worked_textbook.csv") if r["id"] == "OP4"]
    known = {"A": {"diameter": "50 mm", "coefficient": "0.6 ± 0.01 (k=2)"}}
    record = box(known, drop=f"{46 * 9.81:.6g} Pa")
    record["air"]["meter"] = {"temperature": "16.85 degC", "pressure": "100 kPa", "relative_humidity": "0 %"}
    volume = reduced(record)["actual_flow_meter"].estimate.value * 60
    # 287.0 against CIPM's gas constant and compressibility of dry air: 0.05 % of density
    assert float(volume) == pytest.approx(float(row["expected"]), rel=5e-4)


def test_holes_add_up() -> None:
    both = reduced(box({"A": HOLE, "B": {**HOLE, "diameter": "80 mm", "serial": "H2"}}))
    alone = [
        float(reduced(box({n: h}))["mass_flow"].estimate.value)
        for n, h in (("A", HOLE), ("B", {**HOLE, "diameter": "80 mm"}))
    ]
    assert float(both["mass_flow"].estimate.value) == pytest.approx(sum(alone), rel=1e-9)


def test_a_calibrated_hole_and_a_plain_one_side_by_side() -> None:
    known = {"diameter": "100 mm", "coefficient": "0.79 ± 0.02 (k=2)", "serial": "K"}
    flow = reduced(box({"A": HOLE, "K": known}))
    state = flow.air["meter"]
    density = float(state["density"].value)
    calibrated = 0.79 * np.pi / 4 * 0.1**2 * np.sqrt(2 * 85 * density)
    plain = float(reduced(box())["mass_flow"].estimate.value)
    assert float(flow["mass_flow"].estimate.value) == pytest.approx(plain + calibrated, rel=1e-9)
    shares = budget(flow)
    assert shares["coefficient of K"] == pytest.approx(calibrated * 0.01 / 0.79, rel=1e-3)
    # the equation's error reaches the plain hole's flow only, by its share of the open area
    assert shares["coefficient of a plain hole (equation)"] == pytest.approx(
        float(flow["mass_flow"].estimate.value) * 0.02 / 1.96 * 0.15**2 / (0.15**2 + 0.1**2), rel=1e-6
    )


# Source: reference of this project, 'uncertainty to expect': thin hole 3 to 5 %, plywood 10 to 30 % (common practice).
@pytest.mark.parametrize(("cut", "low", "high"), [("with care", 0.03, 0.05), ("by hand", 0.10, 0.30)])
def test_how_well_a_hole_is_known(cut: str, low: float, high: float) -> None:
    flow = reduced(box({"A": {**HOLE, "cut": cut}}, static="0 Pa"))
    main = flow.main
    assert low < (main.high - main.low) / 2 / main.value < high
    known = reduced(box({"A": {"diameter": "150 mm", "coefficient": "0.60 ± 0.012 (k=2)"}})).main
    assert (known.high - known.low) / 2 / known.value < 0.025


def test_the_equation_errs_alike_in_two_boxes_and_workmanship_does_not() -> None:
    a, b = (reduced(box({"A": {**HOLE, "serial": s}}))["mass_flow"].estimate for s in ("H1", "H2"))
    shared = {c.name for c in a.parts} & {c.name for c in b.parts if c in a.parts}
    assert "coefficient of a plain hole (equation)" in shared
    ids = [{c.id for c in x.parts if c.name.startswith("workmanship")} for x in (a, b)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_flags() -> None:
    plain = reduced(box(chamber_width="900 mm", chamber_height="900 mm"))
    assert "hole outside any standard" in codes(plain)
    unwanted = {"low Reynolds number of a hole", "box size unknown", "holes large for the box"}
    assert not codes(plain) & (unwanted | {"hole near a wall or another hole"})
    assert "box size unknown" in codes(reduced(box()))
    assert "low Reynolds number of a hole" in codes(reduced(box(drop="10 Pa")))
    assert "holes large for the box" in codes(reduced(box(chamber_width="400 mm", chamber_height="400 mm")))
    for name, at_least in (("wall_distance", 225), ("centre_distance", 450)):
        for distance, raised in ((at_least + 1, False), (at_least - 1, True)):
            flow = reduced(box(**{name: f"{distance} mm"}))
            assert ("hole near a wall or another hole" in codes(flow)) is raised, (name, distance)
    known = codes(reduced(box({"A": {"diameter": "150 mm", "coefficient": "0.6 ± 0.01"}}, drop="10 Pa")))
    assert not known & {"hole outside any standard", "low Reynolds number of a hole"}
    silent = {k: v for k, v in HOLE.items() if k != "cut"}
    assert "holes.A: cut by hand" in [f.message for f in reduced(box({"A": silent})).findings]


def test_limits_grow_where_the_equation_is_stretched() -> None:
    slow = budget(reduced(box(drop="10 Pa")))["coefficient below Reynolds 50 000"]
    flow = reduced(box(drop="10 Pa"))
    reynolds = float(flow.diagnostics["reynolds"].reshape(-1)[0])
    rise = float(box_orifice_coefficient(reynolds, 0.0) / box_orifice_coefficient(50_000.0, 0.0)) - 1
    assert slow == pytest.approx(float(flow["mass_flow"].estimate.value) * rise / np.sqrt(3), rel=1e-6)
    assert 0 < rise < 0.03
    crowded = budget(reduced(box(chamber_width="450 mm", chamber_height="450 mm")))
    assert crowded["air that moves in front of the hole"] > 0
    assert "air that moves in front of the hole" not in budget(reduced(box()))


def test_a_reversed_drop_reverses_the_flow() -> None:
    there, back = (float(reduced(box(drop=f"{d} Pa ± 90 Pa"))["mass_flow"].estimate.value) for d in (0.5, -0.5))
    assert there == pytest.approx(-back, rel=1e-5)


def test_rows() -> None:
    record = box({"A": HOLE, "B": {**HOLE, "diameter": "120 mm", "serial": "H2"}})
    result = flowrig.reduce_rows(record, {"drop [Pa]": [85.0, 40.0, 6.0]})
    for value, drop in zip(result.flows[0]["mass_flow"].estimate.value, (85, 40, 6), strict=True):
        record["flow"][0]["drop"] = f"{drop} Pa"
        assert value == pytest.approx(float(reduced(record)["mass_flow"].estimate.value), rel=1e-9)
    [low] = [f for f in result.flows[0].findings if f.code == "low Reynolds number of a hole"]
    assert low.rows.tolist() == [False, True, True]


RECORD = """title = "Plywood box"
date = 2026-07-14
[air.meter]
temperature = "20 degC ± 0.3 degC"
pressure = "1000 hPa ± 1 hPa"
relative_humidity = "50 % ± 3 %"
[instruments.manometer]
measures = "pressure difference"
accuracy = "0.5 % of reading + 0.25 Pa"
[holes.H]
diameter = "150 mm"
thickness = "1.5 mm"
edge = "sharp"
[[flow]]
method = "box-orifice"
open = ["H"]
drop = "85 Pa"
"""
HOLE_LINES = 'thickness = "1.5 mm"\nedge = "sharp"\n'


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('diameter = "150 mm"\n', "", "line 10, holes.H: read no diameter", "Add diameter"),
        ('"150 mm"', '"150"', "line 11, holes.H.diameter", "mm"),
        ('"150 mm"', '"0 mm"', "line 11, holes.H.diameter", "above 0 mm"),
        ('"150 mm"', '"150 kg"', "line 11, holes.H.diameter", "not a unit of length"),
        (HOLE_LINES, "", "line 10, holes.H", "thickness or coefficient"),
        ('thickness = "1.5 mm"', 'thickness = "18 mm"', "line 12, holes.H.thickness", "at most 0.1 of the diameter"),
        ('thickness = "1.5 mm"', 'thickness = "90 mm"', "line 12, holes.H.thickness", "reattaches"),
        ('thickness = "1.5 mm"', 'thickness = "-1 mm"', "line 12, holes.H.thickness", "from 0 mm"),
        ('edge = "sharp"\n', "", "line 10, holes.H: read no edge", "whether the edge is sharp"),
        ('edge = "sharp"', 'edge = "not sharp"', "line 13, holes.H.edge", "no source gives a coefficient"),
        ('edge = "sharp"', 'edge = "shrap"', "line 13, holes.H.edge", "one of: not stated, sharp, not sharp"),
        ('edge = "sharp"', 'edge = "sharp"\ncut = "laser"', "line 14, holes.H.cut", "one of: by hand, with care"),
        (HOLE_LINES, 'coefficient = "0.79"\n', "line 12, holes.H.coefficient", "with its ±"),
        (HOLE_LINES, 'coefficient = "7.9 ± 0.1"\n', "line 12, holes.H.coefficient", "at most 1.5"),
        ('edge = "sharp"\n', 'edge = "sharp"\ncoefficient = "0.79 ± 0.02"\n', "line 10, holes.H", "only one of"),
        ('["H"]', '["J"]', "line 16, flow[1].open", "one of: H"),
        ('drop = "85 Pa"\n', "", "line 14, flow[1]: read no drop", "Add drop"),
        ('drop = "85 Pa"', 'drop = "85 Pa"\nchamber_width = "1 m"', "line 14, flow[1]: read no chamber_height", "Add"),
        ("[holes.H]", "[nozzles.H]", "line 10, nozzles", "holes"),
    ],
)
def test_bad_input(tmp_path: Path, old: str, new: str, where: str, said: str) -> None:
    Rig(tmp_path).tells(edited(RECORD, old, new), where, said)
