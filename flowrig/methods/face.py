"""What every traverse of a face shares: filter, coil or grille, its open area, an equal-area grid, and its "
"corrections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from flowrig.methods import cautions, profile, traverse
from flowrig.methods.method import Effect, Limit, Profile, Situation, Size
from flowrig.physics import traverse as physics
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Count, Field, File, FlagMeaning, Given, Names, Table, Text, Wrong
from flowrig.records.items import Array, Layout, Section
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

STANDARD = "practice of air balancing, equal-area grid (ASHRAE 111, from memory); no standard gives it an error"
UNCOMPARED = (0.88, 1.06)  # true flow over that of a face traverse, without a comparison: common practice, no source
FLOORS = {"filter": 0.02, "coil": 0.03, "grille": 0.05}  # of what the grid may miss: common practice, no source
SPACING = 0.15  # between points, at most [m]: common practice, no source
FEWEST = 16
FALL = 0.1  # from the middle to an edge, in a plan: own judgement, no source
NEAR, FAR = 0.02, 0.15  # of the anemometer from the face [m]: common practice, no source

CAUTIONS = (*cautions.COMMON,)

FACES = Table(
    "faces",
    "A filter, coil or grille through which the air goes.",
    (
        Given("width", "Width of the opening, frame included.", required=True, kind="length", above=0.0, high=20.0,
              example='"610 mm ± 2 mm"'),
        Given("height", "Height of the opening, frame included.", required=True, kind="length", above=0.0, high=20.0,
              example='"610 mm ± 2 mm"'),
        Choice("kind", "What it is.", required=True, choices=("filter", "coil", "grille")),
        Given(
            "edge_strip",
            'Width of the strip along each edge through which no air goes, as a frame; "0 mm" where there is none.',
            required=True,
            kind="length",
            low=0.0,
            high=1.0,
            example='"20 mm ± 2 mm"',
        ),
        Given(
            "free_area",
            "Share of the area inside the strips that the velocity shown stands for: 1 a hand's breadth from a filter "
            "or coil; a grille needs its own, with its ±.",
            kind="ratio",
            limits="must",
            above=0.0,
            high=1.0,
            example='"0.82 ± 0.04"',
        ),
        Text("serial", "Identity, where the face is used in several records."),
        Text("notes", "Anything else."),
    ),
    checks=(lambda section: _face_checks(section),),
)  # fmt: skip


def _face_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if 2 * section.value("edge_strip") >= min(section.value("width"), section.value("height")):
        wrong.append(Wrong("edge_strip", "strips that leave an opening between them", "Check the units."))
    if section.value("kind") == "grille" and "free_area" not in section:
        remedy = 'Add free_area = "0.82 ± 0.04", from its maker or from a comparison.'
        wrong.append(Wrong("free_area", "the free area of a grille: the velocity shown is between its bars", remedy))
    return wrong


FIELDS: tuple[Field, ...] = (
    Names("face", "The face, described once under [faces.…].", required=True, table="faces", example='"bank"'),
    Choice(
        "rule",
        "Where the points lie: the middles of equal areas. The rules of ducts assume air slowed by walls, which a face "
        "does not have.",
        choices=("equal-area",),
    ),
    Count("across", "Points across the width.", required=True, low=2, high=40, example="4"),
    Count("down", "Points down the height.", required=True, low=2, high=40, example="4"),
    File(
        "grid",
        "CSV with one reading a line: its pass, its place, the reading. `flowrig sheet` draws it up.",
        required=True,
        example='"face.csv"',
    ),
    Given(
        "factor",
        "True flow over that of the traverse, from a comparison with a reference at this face, with its ±. Without it "
        "the flow may be anywhere from 12 % below to 6 % above.",
        kind="ratio",
        limits="must",
        above=0.0,
        high=2.0,
        example='"0.96 ± 0.03 (k=2)"',
    ),
    Choice(
        "side",
        "On which side of the face the anemometer stands. Air comes to a face more evenly than it leaves it.",
        choices=("not stated", "upstream", "downstream"),
        asked=True,
    ),
    Given(
        "distance", "From the face to the anemometer.", kind="length", low=0.0, high=2.0, example='"50 mm"', asked=True
    ),
    Given(
        "repeatability",
        "Limit of how far one more pass would differ, where a single pass was made.",
        of_error=True,
        kind="ratio",
        above=0.0,
        high=0.5,
        example='"3 %"',
    ),
)


def layout(section: Section, hardware: Mapping[str, list[Section]]) -> Layout:
    """Middles of equal areas between the strips, from the edge of the opening."""
    [face] = hardware["faces"]
    width, height, strip = (face.value(name) for name in ("width", "height", "edge_strip"))
    across, down = section.value("across"), section.value("down")
    x = strip + physics.side_positions("equal-area", across) * (width - 2 * strip)
    y = strip + physics.side_positions("equal-area", down) * (height - 2 * strip)
    points = tuple((r + 1, c + 1) for r in range(down) for c in range(across))
    places = {"x": np.tile(x, down), "y": np.repeat(y, across)}
    return Layout(("row", "column"), points, places, {"x": width, "y": height})


def usual_plan(section: Section, hardware: Mapping[str, list[Section]]) -> dict[str, Any]:
    """As many points as keep them 150 mm apart, and sixteen at least."""
    [face] = hardware["faces"]
    return {
        "rule": "equal-area",
        **{
            count: max(4, int(np.ceil(face.value(side) / SPACING)))
            for count, side in (("across", "width"), ("down", "height"))
        },
    }


def _hump(plan: Layout) -> Array:
    away = [2.0 * at / plan.extent[name] - 1.0 for name, at in plan.positions.items()]
    shape = 1.0 - FALL * np.sum(np.square(away), axis=0)
    return np.asarray(shape / np.mean(shape))


USUAL_PROFILE = Profile("a tenth less at each edge than in the middle", _hump)


def prepare(situation: Situation) -> None:
    """Open area, and the weights of equal areas and of a second interpolant of the same readings."""
    plan = situation.layout
    assert plan is not None
    sides = {name: situation.inputs.pop(name) for name in ("width", "height", "edge_strip")}
    free = situation.inputs.pop("free_area", Estimate(1.0))
    situation.inputs["area"] = linear(_area, sides | {"free_area": free}, outputs={"area": ()})["area"]
    down, across = (
        np.asarray(physics.face_weights_side(np.asarray(physics.side_positions("equal-area", situation.value(name)))))
        for name in ("down", "across")
    )
    other = np.outer(down, across).reshape(-1)
    situation.inputs["weights"] = Estimate(np.full(len(plan), 1.0 / len(plan)), ("point",))
    situation.inputs["other_weights"] = Estimate(other, ("point",))


def _area(width: Array, height: Array, edge_strip: Array, free_area: Array) -> dict[str, Floats]:
    return {"area": (width - 2.0 * edge_strip) * (height - 2.0 * edge_strip) * free_area}


def _integration(situation: Situation) -> Size:
    [face] = situation.hardware["faces"]
    difference = np.abs(situation.nominal["rule_difference"][..., 0])
    return Size(limit=np.fmax(difference, FLOORS[face.value("kind")]))


def _uncompared(situation: Situation) -> Size | None:
    if "factor" in situation.section:
        return None
    low, high = UNCOMPARED
    return Size(shift=(low + high) / 2 - 1.0, limit=(high - low) / 2)


EFFECTS = (
    Effect(
        "face:integration",
        "integration over the face",
        "The readings are points, the flow is a mean over the face: the difference between equal weights and straight "
        "lines carried on to the edges, and not less than 2, 3 or 5 % for a filter, coil or grille.",
        _integration,
        hardware="faces",
        source="floors: common practice, no source",
    ),
    Effect(
        "face:not compared",
        "anemometer at a face (not compared)",
        "An anemometer at a face reads jets, pleats and its own wake. Where no factor from a comparison is given, the "
        "true flow is taken to lie anywhere from 0.88 to 1.06 of the traverse's: the middle, 3 % less, with 9 % "
        "for a limit.",
        _uncompared,
        hardware="faces",
        source="common practice, no source",
    ),
    *(effect for effect in traverse.EFFECTS if effect.id == "traverse:repeatability"),
)

NOT_COMPARED = FlagMeaning(
    "face not compared",
    "warning",
    "The anemometer was not compared with a reference at this face. The middle of what such traverses are off by is "
    "taken out, and the rest is most of the error bar: compare once, and state the factor.",
    "common practice, no source",
)
FEW_POINTS = FlagMeaning(
    "few points on the face",
    "warning",
    "Points more than 150 mm apart, or fewer than sixteen, pass by jets and dead spots of a face.",
    "common practice, no source",
)
DISTANCE = FlagMeaning(
    "distance from the face",
    "warning",
    "An anemometer nearer than 20 mm reads single pleats, tubes or bars; farther than 150 mm it reads air that has "
    "come from elsewhere.",
    "common practice, no source",
)
DOWNSTREAM = FlagMeaning(
    "behind the face",
    "note",
    "Behind a face the air comes in jets, or the side was not stated: the same grid tells less there than in "
    "front of it.",
    "common practice, no source",
)


def _apart(situation: Situation) -> float:
    plan = situation.layout
    assert plan is not None
    return max(plan.extent[side] / float(situation.value(count)) for side, count in (("x", "across"), ("y", "down")))


LIMITS = (
    Limit(NOT_COMPARED, lambda s: "factor" not in s.section, lambda s: "-3 % ± 9 % taken for it"),
    Limit(
        FEW_POINTS,
        lambda s: len(s.layout or ()) < FEWEST or _apart(s) > SPACING * 1.05,
        lambda s: f"{len(s.layout or ())} points, {1000 * _apart(s):.0f} mm apart at most",
    ),
    Limit(
        DISTANCE,
        lambda s: not NEAR <= s.value("distance", NEAR) <= FAR,
        lambda s: f"{1000 * s.value('distance'):.0f} mm; 20 to 150 mm are usual",
    ),
    Limit(
        DOWNSTREAM,
        lambda s: s.value("side") != "upstream",
        lambda s: f"side: {s.value('side')}",
    ),
    profile.EVEN,
    profile.RULES,
)


CONVENTIONS = (
    "equal weights on the middles of equal areas, inside the strips along the edges",
    "no blockage: before a face the air has room to go round the probe",
)
