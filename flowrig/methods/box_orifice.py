"""Plain holes in the wall of a large box: the meter a workshop can build, and how little is known about it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from flowrig.methods import cautions, hole_coefficient, leakage, opening, static
from flowrig.methods.method import Effect, Limit, Method, Situation, Size, Window, span, stacked
from flowrig.physics.box_orifice import (
    REATTACHED_EDGE,
    THIN_EDGE,
    box_orifice_approach,
    box_orifice_coefficient,
    box_orifice_expansibility,
    box_orifice_flow,
    box_orifice_reynolds,
    calibrated_hole_flow,
)
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, FlagMeaning, Given, Names, OneOf, Reading, Table, Text, Wrong
from flowrig.records.estimates import given_estimate, hardware_identity
from flowrig.records.items import Array, Section
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate

STANDARD = (
    "limit of the orifice-plate equation of ISO 5167-2:2003 for a bore that is small against the box (outside the "
    "range of that standard; no standard gives a value for a plain hole in a box)"
)
LIMITS_OF_CUT = {"with care": 0.04, "by hand": 0.25}  # at 95 %: common practice, no source (3 to 5 %; 10 to 30 %)
EQUATION = 0.02  # at 95 %: textbooks of engine testing take 0.60 to 0.62, where the equation has 0.597 to 0.609
LEAST_REYNOLDS = (
    50_000.0  # of the hole: the standard's lowest of the pipe, 5000, at a bore of a tenth of it (from memory)
)
HELD = 5_000.0  # below it the coefficient is held
UNDERSHOT = 0.02  # for every time that number is undershot: own judgement, no source
LARGEST_SHARE = 0.1  # of the wall taken up by the holes
WALL, APART = 1.5, 3.0  # diameters: common practice, no source

HOLES = Table(
    "holes",
    "A plain round hole in the wall of a box.",
    (
        Given(
            "diameter",
            "Diameter, the mean of several across; its ± holds the out-of-round too.",
            required=True,
            kind="length",
            above=0.0,
            high=2.0,
            example='"150 mm ± 0.3 mm"',
        ),
        Given(
            "thickness",
            "Thickness of the cylindrical part of the edge: of the whole plate, unless its downstream side is "
            "bevelled.",
            kind="length",
            low=0.0,
            high=0.5,
            example='"1.5 mm"',
        ),
        Choice(
            "edge",
            "Whether the upstream edge is sharp: no light is thrown back by it, no burr felt. A rounded one passes up "
            "to two thirds more (from memory). Needed unless coefficient is given.",
            choices=("not stated", "sharp", "not sharp"),
            asked=True,
            example='"sharp"',
        ),
        Choice(
            "cut",
            "How the hole was made: by hand (saw, snips; its coefficient is known to 25 %), or with care (turned, "
            "punched or filed round and deburred; 4 %). At 95 %: common practice, no source.",
            choices=("by hand", "with care"),
            aim="with care",
            asked=True,
        ),
        Given(
            "coefficient",
            "Discharge coefficient from a calibration of this very hole, with its ±; then its edge does not matter.",
            kind="ratio",
            limits="must",
            above=0.0,
            high=1.5,
            example='"0.79 ± 0.02 (k=2)"',
        ),
        Text("serial", "Identity, where the hole is used in several records."),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("thickness",), ("coefficient",))),),
    checks=(lambda section: _hole_checks(section),),
)


def _hole_checks(section: Section) -> Sequence[Wrong]:
    if "coefficient" in section:
        return []
    other = "or give the coefficient of a calibration, with its ±."
    if section.value("edge") == "not stated":
        return [Wrong("edge", "whether the edge is sharp", f'Add edge = "sharp" if it is, {other}')]
    if section.value("edge") != "sharp":
        expected = "a sharp edge, or a calibrated hole: no source gives a coefficient for a rounded or ragged one"
        return [Wrong("edge", expected, "File it sharp, or calibrate it and give its coefficient with its ±.")]
    ratio = section.value("thickness") / section.value("diameter")
    if ratio <= THIN_EDGE * (1 + 1e-9):
        return []
    why = (
        "the jet reattaches inside such a hole, and it passes a third more"
        if ratio > REATTACHED_EDGE
        else ("no source gives a coefficient for such an edge")
    )
    most = f"{1e3 * THIN_EDGE * section.value('diameter'):.3g} mm"
    expected = f"at most {THIN_EDGE:g} of the diameter, {most}; this edge is {ratio:.2g} of it: {why}"
    return [Wrong("thickness", expected, f"Bevel the downstream side, take a thinner plate, {other}")]


def kernel(
    drop: Array,
    static: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    diameter: Array,
    coefficient: Array,
    calibrated: Array,
) -> dict[str, Floats]:
    """Mass flow through the open holes, at the density in front of them."""
    inlet_pressure = pressure + static
    inlet_density = density * inlet_pressure / pressure
    before = (drop, inlet_density, inlet_pressure, viscosity, diameter)
    known = calibrated_hole_flow(drop, inlet_density, diameter, np.abs(coefficient))
    # thin by the checks of the record: asked for again, the error of its thickness could lead out of the equation
    thin = box_orifice_flow(*before, 0.0, coefficient)
    flow = np.where(calibrated > 0.5, known, thin)
    return {
        "mass_flow": np.sum(flow, axis=-1, keepdims=True) * inlet_density,
        "density": inlet_density,
        "velocity": flow / (0.25 * np.pi * diameter**2),
        "reynolds": box_orifice_reynolds(*before, 0.0),
        "pressure_ratio": 1.0 - np.abs(drop) / inlet_pressure,
    }


def _prepare(situation: Situation) -> None:
    """The coefficient of a calibrated hole; of any other the factor on the equation's, 1 give or take its cut."""
    factors, known = [], []
    for section in situation.hardware["holes"]:
        known.append(Estimate(1.0 if "coefficient" in section else 0.0))
        if "coefficient" in section:
            label = f"coefficient of {section.path[-1]}"
            identity = hardware_identity(section, situation.record)
            factors.append(given_estimate(section["coefficient"], identity, label, "calibration"))
            continue
        cut = section.value("cut")
        if section["cut"].assumed:
            situation.assumed.append(f"{section.name}: cut by hand")
        id_ = f"{hardware_identity(section, situation.record)}:cut {cut}"
        cause = Cause(id_, scope="calibration", label=f"workmanship of {section.path[-1]} (cut {cut})")
        factors.append(Estimate(1.0, (), {cause: [LIMITS_OF_CUT[cut] / 1.96]}))
    situation.inputs["coefficient"] = stacked(factors, "hole")
    situation.inputs["calibrated"] = stacked(known, "hole")
    situation.inputs.setdefault("static", Estimate(0.0))


def _uncalibrated(situation: Situation) -> Array:
    """Share of the open area that rests on the equation."""
    area = situation.inputs["diameter"].value ** 2
    return np.asarray(np.sum(area * (situation.inputs["calibrated"].value < 0.5)) / np.sum(area))


def _equation(situation: Situation) -> Size | None:
    share = _uncalibrated(situation)
    return Size(limit=EQUATION * share) if share else None


def _low_reynolds(situation: Situation) -> Size | None:
    share = _uncalibrated(situation)
    lowest = np.min(situation.nominal["reynolds"], axis=-1)
    if not share or not np.any(lowest < LEAST_REYNOLDS):
        return None
    at = np.asarray(box_orifice_coefficient(np.clip(lowest, HELD, LEAST_REYNOLDS), 0.0))
    rise = at / float(box_orifice_coefficient(LEAST_REYNOLDS, 0.0)) - 1.0
    held = UNDERSHOT * np.clip(HELD / np.maximum(lowest, 1.0) - 1.0, 0.0, 10.0)
    return Size(limit=share * (rise + held))


def _slower(least: float) -> Callable[[Situation], Array]:
    """Holes without calibration below a Reynolds number."""

    def slower(situation: Situation) -> Array:
        return np.asarray((situation.nominal["reynolds"] < least) & (situation.inputs["calibrated"].value < 0.5))

    return slower


def _share_of_wall(situation: Situation) -> float | None:
    if "chamber_width" not in situation.section:
        return None
    wall = situation.value("chamber_width") * situation.value("chamber_height")
    return math.pi / 4 * float(np.sum(situation.inputs["diameter"].value ** 2)) / float(wall)


def _approach(situation: Situation) -> Size | None:
    share = _share_of_wall(situation)
    if share is None:
        return None
    half = 0.5 * (float(box_orifice_approach(min(share, 0.5))) - 1.0) * _uncalibrated(situation)
    return Size(shift=half, limit=half) if half else None


def _summary(situation: Situation) -> str:
    nominal, inputs = situation.nominal, situation.inputs
    by_equation = box_orifice_coefficient(np.maximum(nominal["reynolds"], 1.0), 0.0)
    used = np.where(inputs["calibrated"].value > 0.5, inputs["coefficient"].value, by_equation)
    said = [f"drop {float(np.mean(inputs['drop'].value)):.5g} Pa"]
    holes = situation.hardware["holes"]
    for hole, coefficient, reynolds in zip(holes, used.reshape(-1), nominal["reynolds"].reshape(-1), strict=True):
        of = f"{hole.path[-1]} of {1e3 * hole.value('diameter'):.5g} mm"
        if "coefficient" in hole:
            said.append(f"{of}, calibrated coefficient {coefficient:.4g}")
        else:
            edge = hole.value("thickness") / hole.value("diameter")
            said.append(f"{of}, edge {edge:.2g} of it, coefficient {coefficient:.4g} at Reynolds {reynolds:.0f}")
    if _uncalibrated(situation):
        factor = box_orifice_expansibility(nominal["pressure_ratio"])
        said.append(f"expansibility {span(factor, '', 5)}")
    return "; ".join(said)


def _flow_checks(section: Section) -> Sequence[Wrong]:
    if section.value("upstream") != "room":
        return []
    expected = 'none beside upstream = "room": the air in front of the hole is the open room\'s'
    names = ("static", "chamber_width", "chamber_height")
    return [Wrong(name, expected, "Remove it, or correct upstream.") for name in names if name in section]


def _unsaid(situation: Situation) -> list[str]:
    wanted = ["wall_distance"] + (["centre_distance"] if len(situation.hardware["holes"]) > 1 else [])
    return [name for name in wanted if name not in situation.section]


NO_STANDARD = FlagMeaning(
    "hole outside any standard",
    "note",
    "No standard covers a plain hole in a box. The coefficient is what is left of the orifice plate's equation for a "
    "small bore; expect no better than 3 to 5 % of a hole made with care, 10 to 30 % of one cut by hand. Calibrate it "
    "against a nozzle or a traverse and give its coefficient.",
    "common practice, no source",
)
LOW_REYNOLDS = FlagMeaning(
    "low Reynolds number of a hole",
    "warning",
    "Below a Reynolds number of 50 000 of the hole the coefficient rises as the air grows slower, and below 5000 it is "
    "held. The rise is added as a limit. A smaller hole has the higher Reynolds number for the same flow.",
    "ISO 5167-2:2003, lowest Reynolds number (from memory)",
)
TOO_LOW = FlagMeaning(
    "Reynolds number too low for a hole",
    "alarm",
    "Below a Reynolds number of 5000 of the hole the coefficient is held at 0.617, since the equation would climb "
    "without bound. That is a guess, for which 2 % are added for every time that 5000 is undershot. Use a nozzle, a "
    "calibrated hole or another method.",
    "our choice, no source",
)
SPACING = FlagMeaning(
    "hole near a wall or another hole",
    "warning",
    "A hole whose centre is closer than 1.5 diameters to a wall, or 3 diameters to another hole, draws its air from "
    "one side: the jet contracts less and passes more. By how much is not known here, and not in the error bar.",
    "common practice, no source",
)
SURROUNDINGS = FlagMeaning(
    "surroundings of the hole not stated",
    "note",
    "The record does not say how far the holes are from the walls of the box (wall_distance) or from one another "
    "(centre_distance); 1.5 and 3 diameters from their centres were assumed.",
    "common practice, no source",
)
LARGE = FlagMeaning(
    "holes large for the box",
    "alarm",
    "The open holes take up more than a tenth of the wall: the box is no large still room to them, and the equation "
    "does not hold.",
    "as for chamber nozzles (from memory)",
)
BOX_UNKNOWN = FlagMeaning(
    "box size unknown",
    "note",
    "Width and height of the box in front of the hole were not given: still air is assumed there. With holes of a "
    'tenth of the wall the flow would be 1 % more. Where the air comes from the open room, write upstream = "room".',
)

CUT = cautions.Caution(
    "Cutting a hole: clamp the sheet, guard the saw, goggles on, no gloves near a turning tool. A sharp edge cuts: "
    "cover it when it is not in use.",
    "general workshop practice (from memory)",
)

METHOD = Method(
    name="box-orifice",
    title="Plain holes in the wall of a box",
    help="Static pressure drop across one or several plain sharp holes in the wall of a large box. Outside any "
    "standard: 5 % at best, 10 to 30 % of a hole cut by hand, unless the hole itself was calibrated.",
    source=STANDARD,
    fields=(
        Reading(
            "drop",
            "Static pressure drop across the wall with the holes.",
            required=True,
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            positive=True,
            example='"85.0 Pa"',
        ),
        Reading(
            "static",
            "Gauge static pressure in the box in front of the holes (negative under suction). Left out, it is taken as "
            "zero: 100 Pa of it are 0.05 % of the flow.",
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            example='"12 Pa"',
        ),
        Names(
            "open",
            "The holes that are open; the others are taped shut.",
            required=True,
            table="holes",
            axis="hole",
            example='["A"]',
        ),
        Choice(
            "upstream",
            "Where the air in front of the holes is: in the box, or in the open room, from where it is drawn into the "
            "box.",
            choices=("box", "room"),
        ),
        Given("chamber_width", "Inside width of the box in front of the holes.", kind="length", above=0.0),
        Given("chamber_height", "Inside height of the box in front of the holes.", kind="length", above=0.0),
        Given(
            "wall_distance", "Smallest distance from a hole's centre to a wall of the box.", kind="length", above=0.0
        ),
        Given("centre_distance", "Smallest distance between the centres of two open holes.", kind="length", above=0.0),
    ),
    alternatives=(OneOf((("chamber_width", "chamber_height"),), required=False),),
    checks=(_flow_checks,),
    kernel=kernel,
    air=("density", "pressure", "viscosity"),
    axes=("hole",),
    hardware=(HOLES,),
    prepare=_prepare,
    effects=(
        Effect(
            "method:box orifice:equation",
            "coefficient of a plain hole (equation)",
            "How far the equation may be off for a hole made as it asks: 2 % at 95 %. One error shared by every hole "
            "and every use; a calibrated hole has none of it.",
            _equation,
            shape="normal",
            divisor=1.96,
            scope="method",
            source="spread of textbook values; size common practice, no source",
        ),
        Effect(
            "box orifice:approach",
            "air that moves in front of the hole",
            "Where the size of the box is given: as much as the orifice plate's equation adds for as large a bore, "
            "since the air already moves and the walls guide it. That is of one bore in the middle: half of it is "
            "added, and half is the limit, so that the bar reaches from nothing to all of it.",
            _approach,
            source="ISO 5167-2:2003, 5.3.2.1 (clause from memory); halving: own judgement, no source",
        ),
        Effect(
            "box orifice:low Reynolds number",
            "coefficient below Reynolds 50 000",
            "The rise of the coefficient below the lowest Reynolds number of the standard, as a limit: 1.5 % at "
            "10 000, 2.8 % at 5000; below that another 2 % for every time that 5000 is undershot.",
            _low_reynolds,
            source="ISO 5167-2:2003, 5.3.2.1 (clause from memory), outside its range; 2 %: own judgement, no source",
        ),
    ),
    limits=(
        Limit(
            NO_STANDARD,
            lambda s: bool(_uncalibrated(s)),
            lambda s: "coefficient by the equation for a small bore, not calibrated",
        ),
        Limit(
            TOO_LOW,
            _slower(HELD),
            lambda s: f"{span(s.nominal['reynolds'], '')}; 5000 at least",
            window=Window("reynolds", "Reynolds number of the hole", hole_coefficient.least(HELD), wide=True),
        ),
        Limit(
            LOW_REYNOLDS,
            _slower(LEAST_REYNOLDS),
            lambda s: f"{span(s.nominal['reynolds'], '')}; 50 000 at least",
            window=Window("reynolds", "Reynolds number of the hole", hole_coefficient.least(LEAST_REYNOLDS), wide=True),
        ),
        Limit(
            LARGE,
            lambda s: (_share_of_wall(s) or 0.0) > LARGEST_SHARE,
            lambda s: f"holes take up {100 * (_share_of_wall(s) or 0.0):.0f} % of the wall; 10 % at most",
        ),
        Limit(
            BOX_UNKNOWN,
            lambda s: _share_of_wall(s) is None and s.value("upstream") == "box",
            lambda s: "still air in front of the holes assumed",
        ),
        Limit(
            static.UNKNOWN,
            lambda s: "static" not in s.section and s.value("upstream") == "box",
            lambda s: "taken as zero gauge",
        ),
        *(limit for limit in static.LIMITS if limit.flag is not static.UNKNOWN),
        *opening.LIMITS,
        *leakage.LIMITS,
        Limit(
            SPACING,
            opening.closer("wall_distance", WALL),
            lambda s: f"{opening.in_diameters(s, 'wall_distance')} from a wall; {WALL:g} at least",
        ),
        Limit(
            SPACING,
            opening.closer("centre_distance", APART),
            lambda s: f"{opening.in_diameters(s, 'centre_distance')} between two open holes; {APART:g} at least",
        ),
        Limit(SURROUNDINGS, lambda s: bool(_unsaid(s)), lambda s: "no " + ", no ".join(_unsaid(s))),
    ),
    coefficient=hole_coefficient.ALONG,
    summary=_summary,
    conventions=(
        "Reynolds number from the mean velocity through the hole (iterated), viscosity at the dry bulb",
        "expansibility of the orifice plate for a small bore, ISO 5167-2:2003; a calibrated coefficient has it in "
        "itself",
        "flow at the air in front of the holes",
        "coefficient of the equation known to 2 %, of a hole cut with care to another 4 %, by hand 25 %, each at 95 % "
        "(common practice, no source)",
    ),
    cautions=(*cautions.COMMON, CUT),
)
