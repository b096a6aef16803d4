"""What every traverse of a duct shares: the duct, where the probe goes, how its readings become a mean velocity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from flowrig.methods import cautions
from flowrig.methods.method import Effect, Profile, Situation, Size
from flowrig.physics import traverse as physics
from flowrig.physics.si import Floats
from flowrig.records.declare import (
    Choice,
    Count,
    Field,
    File,
    Given,
    Names,
    OneOf,
    Reading,
    Table,
    Text,
    Wrong,
)
from flowrig.records.items import Array, Layout, Section
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

STANDARD = "ISO 3966 and ISO 5802 (log-linear, log-Tchebycheff), EPA Method 1 (equal area); ASHRAE 111 practice"

CAUTIONS = (*cautions.COMMON, cautions.DUCT_WALL)

DUCTS = Table(
    "ducts",
    "A duct at the plane of the traverse, inside dimensions.",
    (
        Given(
            "width",
            "Inside width of a rectangular duct.",
            kind="length",
            above=0.0,
            high=20.0,
            example='"600 mm ± 2 mm"',
        ),
        Given(
            "height",
            "Inside height of a rectangular duct.",
            kind="length",
            above=0.0,
            high=20.0,
            example='"400 mm ± 2 mm"',
        ),
        Given(
            "diameter",
            "Inside diameter of a round duct.",
            kind="length",
            above=0.0,
            high=20.0,
            example='"315 mm ± 1 mm"',
        ),
        Text("serial", "Identity, where the duct is used in several records."),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("width", "height"), ("diameter",))),),
)

# Floors for what a rule may miss, by the plane: common practice, no source. Half-widths.
FLOOR = {"good": 0.01, "ordinary": 0.02, "poor": 0.05}
YAW_ASSUMED = {"good": np.radians(5.0), "ordinary": np.radians(7.0), "poor": np.radians(15.0)}

VELOCITY_MONITOR = Reading(
    "monitor",
    "Velocity at a fixed place, read with every point: takes slow drift of the flow out.",
    kind="velocity",
    low=0.01,
    high=100.0,
    grid=True,
)

PLANE_FIELDS: tuple[Field, ...] = (
    Names("duct", "The duct, described once under [ducts.…].", required=True, table="ducts", example='"main"'),
    Choice(
        "rule",
        "Rule that places the probe: log-tchebycheff (rectangle or circle), log-linear (circle only), "
        "equal-area (either).",
        required=True,
        choices=("log-tchebycheff", "log-linear", "equal-area"),
    ),
    Count("across", "Rectangle: points across the width.", low=2, high=30, example="6"),
    Count("down", "Rectangle: points down the height.", low=2, high=30, example="5"),
    Count("per_radius", "Circle: points on each radius, half as many as on a diameter.", low=2, high=30, example="3"),
    Count("diameters", "Circle: diameters traversed, evenly spaced.", low=1, high=6, example="2"),
    File(
        "grid",
        "CSV with one reading a line: its pass, its place, the reading. `flowrig sheet` draws it up.",
        required=True,
        example='"traverse.csv"',
    ),
    Choice(
        "plane",
        "Quality of the plane: good (long straight duct before and after), ordinary, poor (near a bend, "
        "damper or fan). Sets the least error allowed for what the rule misses.",
        choices=("ordinary", "good", "poor"),
        aim="good",
    ),
    Reading(
        "static",
        "Gauge static pressure in the duct at the plane.",
        kind="pressure difference",
        low=-20e3,
        high=20e3,
        example='"35 Pa"',
    ),
    Given(
        "yaw",
        "Largest angle between the flow and the duct axis, found by turning the probe.",
        kind="angle",
        low=0.0,
        high=0.8,
        example='"5 deg"',
        asked=True,
    ),
    Given(
        "blockage_area",
        "Area of the probe and its stem seen along the duct, when it stands at the middle.",
        kind="area",
        low=0.0,
        example='"20 cm2"',
        asked=True,
    ),
    Given(
        "repeatability",
        "Limit of how far one more pass would differ, where a single pass was made.",
        of_error=True,
        kind="ratio",
        above=0.0,
        high=0.5,
        example='"2 %"',
    ),
)


def plane_checks(section: Section) -> Sequence[Wrong]:
    """Counts belong to the shape; which shape the duct has is checked when the layout is drawn."""
    rectangle = [n for n in ("across", "down") if n in section]
    circle = [n for n in ("per_radius", "diameters") if n in section]
    if rectangle and circle:
        return [
            Wrong(
                circle[0],
                "across and down for a rectangle, or per_radius and diameters for a circle",
                "Remove the pair that does not belong to the duct.",
            )
        ]
    pair = ("across", "down") if rectangle else ("per_radius", "diameters")
    missing = [n for n in pair if n not in section]
    if missing:
        return [Wrong(missing[0], f"both {pair[0]} and {pair[1]}", f"Add {missing[0]} = ...")]
    return []


def layout(section: Section, hardware: Mapping[str, list[Section]]) -> Layout:
    """Where the probe goes in the duct of a record."""
    [duct] = hardware["ducts"]
    rule = section.value("rule")
    if "diameter" in duct:
        if "per_radius" not in section:
            raise ValueError("the duct is round: give per_radius and diameters, not across and down")
        diameter = duct.value("diameter")
        depth = physics.diameter_positions(rule, section.value("per_radius")) * diameter
        count = section.value("diameters")
        points = tuple((d + 1, i + 1) for d in range(count) for i in range(len(depth)))
        return Layout(("diameter", "point"), points, {"depth": np.tile(depth, count)}, {"depth": diameter})
    if "across" not in section:
        raise ValueError("the duct is rectangular: give across and down, not per_radius and diameters")
    width, height = duct.value("width"), duct.value("height")
    x = physics.side_positions(rule, section.value("across")) * width
    y = physics.side_positions(rule, section.value("down")) * height
    points = tuple((r + 1, c + 1) for r in range(len(y)) for c in range(len(x)))
    return Layout(
        ("row", "column"), points, {"x": np.tile(x, len(y)), "y": np.repeat(y, len(x))}, {"x": width, "y": height}
    )


def usual_plan(section: Section, hardware: Mapping[str, list[Section]]) -> dict[str, Any]:
    """Rule and counts of usual practice for the duct of a sheet; None for the counts of the other shape."""
    [duct] = hardware["ducts"]
    plan: dict[str, Any] = {"rule": "log-tchebycheff"}
    if "diameter" in duct:
        on_radius = int(physics.points_per_diameter(duct.value("diameter"))) // 2
        return plan | {"per_radius": on_radius, "diameters": 2, "across": None, "down": None}
    sides = {
        count: int(physics.points_rule(duct.value(side))) for count, side in (("across", "width"), ("down", "height"))
    }
    return plan | sides | {"per_radius": None, "diameters": None}


def _power_law(plan: Layout) -> Array:
    near = [np.minimum(at / plan.extent[name], 1.0 - at / plan.extent[name]) for name, at in plan.positions.items()]
    shape = np.prod(near, axis=0) ** (1.0 / 7.0)
    return np.asarray(shape / np.mean(shape))


USUAL_PROFILE = Profile("a one-seventh power law of the distance to the nearest walls", _power_law)


def prepare(situation: Situation) -> None:
    """Area of the duct, and the weights of the rule and of a second interpolant of the same readings."""
    situation.inputs.setdefault("static", Estimate(0.0))
    plan = situation.layout
    assert plan is not None
    found = {name: situation.inputs.pop(name, None) for name in ("width", "height", "diameter")}
    sides = {name: x for name, x in found.items() if x is not None}
    situation.inputs["area"] = linear(_area, sides, outputs={"area": ()})["area"]
    if "depth" in plan.positions:
        count = situation.value("diameters")
        one = plan.positions["depth"][: len(plan) // count] / plan.extent["depth"]
        other = np.tile(physics.wall_law_weights_diameter(one), count) / count
    else:
        x = np.unique(plan.positions["x"]) / plan.extent["x"]
        y = np.unique(plan.positions["y"]) / plan.extent["y"]
        other = np.outer(physics.wall_law_weights_side(y), physics.wall_law_weights_side(x)).reshape(-1)
    situation.inputs["weights"] = Estimate(np.full(len(plan), 1.0 / len(plan)), ("point",))
    situation.inputs["other_weights"] = Estimate(other, ("point",))


def _area(width: Array | None = None, height: Array | None = None, diameter: Array | None = None) -> dict[str, Floats]:
    if diameter is not None:
        return {"area": 0.25 * np.pi * diameter**2}
    assert width is not None
    assert height is not None
    return {"area": width * height}


def plane_flow(
    velocity: Floats, density: Array, weights: Array, other_weights: Array, area: Array
) -> dict[str, Floats]:
    """Mean of velocities over the plane (never the root of a mean pressure) and what else the flags need."""
    mean = np.sum(weights * velocity, axis=-1, keepdims=True)
    other = np.sum(other_weights * velocity, axis=-1, keepdims=True)
    return {
        "mass_flow": mean * area * density,
        "density": density,
        "velocity": velocity,
        "mean_velocity": mean,
        "rule_difference": other / np.where(mean == 0.0, np.nan, mean) - 1.0,
    }


def summary(situation: Situation) -> str:
    """Mean velocity and area: their product is the flow before the corrections of the method."""
    assert situation.layout is not None
    mean = float(np.mean(situation.nominal["mean_velocity"]))
    area = float(situation.inputs["area"].value)
    passes = f"{situation.passes} pass{'es' if situation.passes > 1 else ''}"
    return f"mean velocity {mean:.4g} m/s over {len(situation.layout)} points, {passes}; area {area:.4g} m2"


def _integration(situation: Situation) -> Size:
    difference = np.abs(situation.nominal["rule_difference"][..., 0])
    plane = situation.section["plane"]
    floor = FLOOR[plane.value]
    said = "plane taken as ordinary (not stated)" if plane.assumed else ""
    return Size(limit=np.fmax(difference, floor), assumed=said)


def _yaw(situation: Situation) -> Size:
    angle = situation.value("yaw")
    assumed = ""
    if angle is None:
        angle = YAW_ASSUMED[situation.value("plane")]
        assumed = f"flow angle not looked for: up to {np.degrees(angle):.0f}° assumed"
    unknown = 0.5 * (1.0 - np.cos(angle))
    if assumed:
        assumed += f"; {100 * unknown:.2g} % taken off the flow, and as much in the error bar"
    return Size(shift=-unknown, limit=unknown, assumed=assumed)


def blockage(probe: str, usual: tuple[float, float]) -> Effect:
    """Blockage by a kind of probe: `usual` areas [m2] stand in where none is stated (common practice, no source)."""

    def sized(situation: Situation) -> Size:
        stated = situation.value("blockage_area")
        low, high = usual if stated is None else (stated, stated)
        duct = float(situation.inputs["area"].value)
        least, most = 0.5 * low / duct, 1.0 * high / duct
        middle = (most + least) / 2
        size = f"{1e4 * low:.0f} to {1e4 * high:.0f} cm2"
        assumed = f"blockage: {size} of probe in the duct; {100 * middle:.2g} % taken off the flow"
        return Size(shift=-middle, limit=(most - least) / 2, assumed=assumed if stated is None else "")

    return Effect(
        f"traverse:blockage by a {probe}",
        f"blockage by the {probe}",
        "Probe and stem narrow the duct where they stand and the air speeds up by k S/A, k from 0.5 to 1: the middle "
        f"is taken off, the rest is the limit. Where the area is not stated, {1e4 * usual[0]:.0f} to "
        f"{1e4 * usual[1]:.0f} cm2 are assumed.",
        sized,
        source="k after ISO 3966 (from memory); usual areas: common practice, no source",
    )


def _repeatability(situation: Situation) -> Size | None:
    if situation.passes > 1:
        return None
    stated = situation.value("repeatability")
    if stated is None:
        return Size(limit=0.02, assumed="one pass only: ± 2 % for its repeatability (common practice, no source)")
    return Size(limit=stated)


EFFECTS = (
    Effect(
        "traverse:integration",
        "integration over the plane",
        "The readings are points; the flow is a mean over the plane. Variation from point to point is not noise: the "
        "error is taken as the difference between the rule and another interpolant of the same readings (straight "
        "lines, and a one-seventh power law to the walls), and not less than 1, 2 or 5 % for a good, ordinary or poor "
        "plane.",
        _integration,
        hardware="ducts",
        source="floors: common practice, no source",
    ),
    Effect(
        "traverse:yaw",
        "flow angle (swirl)",
        "A probe along the duct reads nearly the whole speed of a slanting flow, of which only the cosine goes "
        "through the plane: it reads high by 1/cos θ − 1, never low. Half of it is taken off, half is the limit.",
        _yaw,
        hardware="ducts",
    ),
    Effect(
        "traverse:repeatability",
        "repeatability of one pass",
        "A single pass does not tell how far another would differ.",
        _repeatability,
        source="2 % where nothing is stated: common practice, no source",
    ),
)
