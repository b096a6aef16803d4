"""Conical or bell-mouthed inlet through which a duct draws the still air of a room. Its coefficient is the user's."""

from __future__ import annotations

import math

import numpy as np

from flowrig.methods import cautions, leakage, opening
from flowrig.methods.method import Coefficient, Effect, Limit, Method, Situation, Size, Window, span
from flowrig.physics.inlet import inlet_expansibility, inlet_flow
from flowrig.physics.pipe import pipe_reynolds
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, FlagMeaning, Given, Names, Reading, Table, Text
from flowrig.records.items import Array, Section

USUAL = (0.90, 1.0)  # between them lie the coefficients of inlets, from memory
LEAST_REYNOLDS = "100000"  # assumed where the coefficient comes without its range
BOUNDARY_LAYER = 7.0  # C falls as 7/sqrt(Re) for a nozzle in a chamber wall (ISO 5801, read)
SLOWEST = 1000.0
CLEAR = 3.0  # diameters
SHARE = {"not stated": 0.5, "apart": 1.0, "included": 0.0}  # of the expansion that is not in the coefficient


def kernel(
    drop: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    diameter: Array,
    coefficient: Array,
    share: float,
) -> dict[str, Floats]:
    """Mass flow into the inlet, and the density of the still air before it."""
    flow = inlet_flow(drop, density, pressure, diameter, coefficient, share)
    return {
        "mass_flow": flow * density,
        "density": density,
        "throat_velocity": np.abs(flow) / (math.pi / 4 * np.square(diameter)),
        "reynolds": pipe_reynolds(flow, density, viscosity, diameter),
        "expansibility": inlet_expansibility(drop, pressure),
        "pressure_ratio": 1.0 - np.abs(drop) / pressure,
    }


INLETS = Table(
    "inlets",
    "A conical or bell-mouthed inlet of a duct, with a pressure tapping in its throat or in the duct just behind.",
    (
        Given(
            "diameter",
            "Inside diameter at the tapping; its ± holds the out-of-round too.",
            required=True,
            kind="length",
            above=0.0,
            high=3.0,
            example='"200 mm ± 0.5 mm"',
        ),
        Given(
            "coefficient",
            "Flow coefficient of this inlet with this tapping, and its ±: from a calibration, or from a document that "
            "you have and that covers it. There is no default: no source for one was found.",
            required=True,
            kind="ratio",
            limits="must",
            low=0.5,
            high=1.1,
            example='"0.97 ± 0.02"',
        ),
        Choice(
            "expansion",
            "Whether the expansion of the air is included in the coefficient (a compound one) or was reckoned apart, "
            "with an expansibility factor. Not stated, the middle is taken: half of 0.27 % at a drop of 500 Pa.",
            choices=tuple(SHARE),
            asked=True,
            example='"apart"',
        ),
        Choice(
            "tapping",
            "Where the pressure is taken: as calibrated (the place for which the coefficient was found), or elsewhere.",
            choices=("not stated", "as calibrated", "elsewhere"),
            asked=True,
            example='"as calibrated"',
        ),
        Given(
            "least_reynolds",
            "Least throat Reynolds number for which the coefficient was found.",
            kind="ratio",
            low=SLOWEST,
            default=LEAST_REYNOLDS,
            example="60000",
        ),
        Text("serial", "Identity, where the inlet is used in several records."),
        Text("notes", "Anything else: cone or bell-mouth, angle, radius, where the coefficient is from."),
    ),
)


def _inlet(situation: Situation) -> Section:
    [inlet] = situation.hardware["inlets"]
    return inlet


def _prepare(situation: Situation) -> None:
    situation.options["share"] = SHARE[_inlet(situation).value("expansion")]


def _expansion(situation: Situation) -> Size | None:
    if _inlet(situation).value("expansion") != "not stated":
        return None
    factor = situation.nominal["expansibility"]
    return Size(limit=(1.0 - factor) / (1.0 + factor))


def _least(situation: Situation) -> float:
    return float(_inlet(situation).value("least_reynolds"))


def _low_reynolds(situation: Situation) -> Size | None:
    reynolds = np.maximum(situation.nominal["reynolds"], SLOWEST)
    limit = BOUNDARY_LAYER * np.clip(1.0 / np.sqrt(reynolds) - 1.0 / math.sqrt(_least(situation)), 0.0, None)
    return Size(limit=limit) if np.any(limit > 0.0) else None


def _summary(situation: Situation) -> str:
    n, share = situation.nominal, situation.options["share"]
    coefficient, diameter = (float(situation.inputs[name].value) for name in ("coefficient", "diameter"))
    how = {1.0: "", 0.0: " not applied (in the coefficient)", 0.5: " applied by half"}[share]
    return (
        f"drop {float(np.mean(situation.inputs['drop'].value)):.5g} Pa, throat of {1e3 * diameter:.5g} mm, coefficient "
        f"{coefficient:.5g}, expansibility {span(n['expansibility'], '', 5)}{how}, throat velocity "
        f"{span(n['throat_velocity'], 'm/s', 4)} at the density of the still air, Reynolds {span(n['reynolds'], '')}"
    )


UNLIKELY = FlagMeaning(
    "unlikely inlet coefficient",
    "warning",
    "The coefficient lies outside 0.90 to 1.00, where those of cones and bell-mouths lie. Is it of another shape, of "
    "another tapping, or does it hold a factor of its own (area, units)?",
    "from memory",
)
LOW_REYNOLDS = FlagMeaning(
    "low Reynolds number of an inlet",
    "warning",
    "The throat Reynolds number is below what the coefficient was found for (least_reynolds; 100 000 where the record "
    "does not say). The layer of slow air at the wall is thicker there and the coefficient smaller, by an amount that "
    "is added as a limit. A smaller inlet has the higher Reynolds number for the same flow.",
    "100 000: from memory; size: slope of the chamber nozzle's equation",
)
TAPPING_UNKNOWN = FlagMeaning(
    "tapping of the inlet not stated",
    "warning",
    "The record does not say whether the pressure is taken where it was when the coefficient was found. Close behind "
    "the mouth the pressure differs from place to place by more than most coefficients are uncertain, and further down "
    "the duct friction adds to the drop; neither is in the error bar.",
    "common practice, no source",
)
TAPPING_ELSEWHERE = FlagMeaning(
    "tapping not that of the coefficient",
    "alarm",
    "The pressure is taken at another place than the one the coefficient was found for, so the coefficient is of "
    "another meter. Move the tapping, or calibrate the inlet as it is.",
    "common practice, no source",
)
OBSTRUCTED = FlagMeaning(
    "inlet obstructed",
    "warning",
    "Something stands closer than 3 diameters to the mouth: a wall, the floor, a bench, the person with the manometer. "
    "The air comes in unevenly and the coefficient is another; how much so is not in the error bar.",
    "common practice, no source",
)
CLEAR_UNKNOWN = FlagMeaning(
    "surroundings of the inlet not stated",
    "note",
    "The record does not say how far the nearest thing is from the mouth of the inlet (clear_distance); 3 diameters of "
    "free, still air to all sides were assumed.",
    "common practice, no source",
)
OPEN_MOUTH = cautions.Caution(
    "An open inlet draws in paper, sleeves and hair, and behind it is a fan: nobody leans into it while it runs. A "
    "screen over it changes the coefficient: calibrate with it on.",
    "general machine safety (from memory)",
)

METHOD = Method(
    name="inlet",
    title="Inlet from still air",
    help="Drop from the still air of a room to the throat of a conical or bell-mouthed inlet, or to the duct just "
    "behind it. The coefficient is not known to this tool: it is given with its ±, from a calibration or a document.",
    source="isentropic flow from rest; form of the inlet methods of ISO 5801 (from memory), whose coefficients were "
    "not found and are not given here",
    fields=(
        Reading(
            "drop",
            "Pressure of the still room less the static pressure at the tapping: the other port open to the room, "
            "away from the mouth.",
            required=True,
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            positive=True,
            example='"85.3 Pa"',
        ),
        Names("inlet", "The inlet, described once under [inlets.…].", required=True, table="inlets", example='"A"'),
        Given(
            "clear_distance",
            "Distance from the mouth to the nearest thing in front of it or beside it.",
            kind="length",
            low=0.0,
            example='"1.5 m"',
            asked=True,
        ),
    ),
    kernel=kernel,
    air=("density", "pressure", "viscosity"),
    hardware=(INLETS,),
    prepare=_prepare,
    effects=(
        Effect(
            "inlet:expansion",
            "expansion in the coefficient or not",
            "Where the record does not say whether the coefficient includes the expansion of the air, the middle is "
            "taken, and the distance to either is the limit. Write expansion with the inlet.",
            _expansion,
            hardware="inlets",
            source="isentropic flow",
        ),
        Effect(
            "inlet:low Reynolds number",
            "coefficient below its Reynolds number",
            "Below the Reynolds number for which the coefficient was found, as much as the layer of slow air at the "
            "wall takes off the coefficient of a nozzle in a chamber in between: 7/sqrt(Re) less the same there, "
            "2.7 % at 20 000 against 100 000.",
            _low_reynolds,
            source="slope of the chamber nozzle's equation; that it fits an inlet is own judgement, no source",
        ),
    ),
    limits=(
        Limit(
            UNLIKELY,
            lambda s: not USUAL[0] <= _inlet(s).value("coefficient") <= USUAL[1],
            lambda s: f"{_inlet(s).value('coefficient'):.4g}; usual {USUAL[0]:.2f} to {USUAL[1]:.2f}",
        ),
        Limit(
            LOW_REYNOLDS,
            lambda s: s.nominal["reynolds"] < _least(s),
            lambda s: (
                f"{span(s.nominal['reynolds'], '')}; {_least(s):.0f} at least"
                + (", assumed" if _inlet(s)["least_reynolds"].assumed else "")
            ),
            window=Window("reynolds", "throat Reynolds number", _least, wide=True),
        ),
        Limit(
            TAPPING_UNKNOWN,
            lambda s: _inlet(s).value("tapping") == "not stated",
            lambda s: "taken as where the coefficient was found",
        ),
        Limit(
            TAPPING_ELSEWHERE,
            lambda s: _inlet(s).value("tapping") == "elsewhere",
            lambda s: "the coefficient is of another place; the error bar does not hold the difference",
        ),
        Limit(
            OBSTRUCTED,
            opening.closer("clear_distance", CLEAR),
            lambda s: f"{opening.in_diameters(s, 'clear_distance')} from the mouth; {CLEAR:g} at least",
        ),
        Limit(CLEAR_UNKNOWN, lambda s: "clear_distance" not in s.section, lambda s: "free, still air assumed"),
        *opening.LIMITS,
        *leakage.LIMITS,
    ),
    coefficient=Coefficient(
        "flow coefficient",
        lambda s, reynolds: np.broadcast_to(s.inputs["coefficient"].value, reynolds.shape),
        ("inlet:low Reynolds number",),
        "coefficient",
    ),
    summary=_summary,
    conventions=(
        "mass flow C Y A sqrt(2 drop density), density and pressure of the still air before the inlet",
        "isentropic expansibility Y from rest, ratio of specific heats 1.4; left out where the coefficient includes it",
        "flow at the still air before the inlet",
        "coefficient and its ± as the record states them: no value of a standard stands behind them",
    ),
    cautions=(*cautions.COMMON, OPEN_MOUTH),
)
