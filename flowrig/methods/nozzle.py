"""Nozzles in a chamber wall: one, or a bank of different ones, any of them plugged."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from flowrig.methods import leakage, opening, static
from flowrig.methods.method import Coefficient, Effect, Limit, Method, Situation, Size, Window, span, stacked
from flowrig.physics.nozzle import bank_beta, nozzle_coefficient, nozzle_flow, nozzle_throat_velocity
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, FlagMeaning, Given, Names, OneOf, Reading, Table, Text, Wrong
from flowrig.records.estimates import hardware_identity
from flowrig.records.items import Array, Section
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

STANDARD = (
    "ISO 5801 and AMCA 210 / ASHRAE 51, nozzles in a chamber; coefficient for L/D 0.6 as in ISO 5151:2010 B.1, that "
    "for L/D 0.5 and the limits of use from memory"
)

LEAST_REYNOLDS = 12_000  # from memory

NOZZLES = Table(
    "nozzles",
    "A nozzle with an elliptical inlet and a straight throat.",
    (
        Given(
            "diameter",
            "Throat diameter.",
            required=True,
            kind="length",
            above=0.0,
            high=2.0,
            example='"150 mm ± 0.1 mm"',
        ),
        Given("length_ratio", "Throat length over throat diameter: 0.6 or 0.5.", kind="ratio", default="0.6"),
        Choice(
            "made",
            "Machined to the standard's profile, or home-made: three times less certain.",
            choices=("machined", "home-made"),
            asked=True,
        ),
        Given(
            "coefficient_limit",
            "For a home-made nozzle: limit of its coefficient about the standard's. 3 to 5 % is "
            "common practice, no source.",
            of_error=True,
            kind="ratio",
            above=0.0,
            high=0.5,
            example='"4 %"',
        ),
        Text("serial", "Identity, where the nozzle is used in several records."),
        Text("notes", "Anything else."),
    ),
    checks=(lambda section: _nozzle_checks(section),),
)


def _nozzle_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if min(abs(section.value("length_ratio") - ratio) for ratio in (0.5, 0.6)) > 1e-6:
        wrong.append(Wrong("length_ratio", "0.5 or 0.6", "The coefficient is known for these two throats only."))
    if section.value("made") != "home-made" and "coefficient_limit" in section:
        remedy = 'Write made = "home-made", or remove the limit: a machined nozzle has the standard\'s.'
        wrong.append(Wrong("coefficient_limit", "a limit of a home-made nozzle only", remedy))
    if section.value("made") == "home-made" and "coefficient_limit" not in section:
        wrong.append(
            Wrong(
                "coefficient_limit",
                "a limit for the coefficient of a home-made nozzle",
                'Add coefficient_limit = "4 %"; 3 to 5 % is common practice, no source.',
            )
        )
    return wrong


def kernel(
    drop: Array,
    static: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    diameter: Array,
    length_ratio: Array,
    coefficient_factor: Array,
    chamber_area: Array | None = None,
) -> dict[str, Floats]:
    """Mass flow through the open nozzles, at the density in front of them."""
    inlet_pressure = pressure + static
    inlet_density = density * inlet_pressure / pressure
    flow = nozzle_flow(drop, inlet_density, inlet_pressure, viscosity, diameter, length_ratio, coefficient_factor)
    velocity = nozzle_throat_velocity(flow, diameter)
    reynolds = inlet_density * np.abs(velocity) * diameter / viscosity
    correction: Floats = np.ones(1)
    if chamber_area is not None:
        beta = bank_beta(diameter, chamber_area, nozzle_coefficient(reynolds, length_ratio))
        correction = 1.0 / np.sqrt(1.0 - beta**4)
        flow = flow * correction
    return {
        "mass_flow": np.sum(flow, axis=-1, keepdims=True) * inlet_density,
        "density": inlet_density,
        "throat_velocity": velocity,
        "reynolds": reynolds,
        "pressure_ratio": 1.0 - drop / inlet_pressure,
        "approach": correction - 1.0,
    }


def _coefficients(situation: Situation) -> Estimate:
    """Factor on each nozzle's coefficient: 1, give or take the limit stated for a home-made one."""
    factors = []
    for section in situation.hardware["nozzles"]:
        parts: dict[Cause, list[float]] = {}
        if section.value("made") == "home-made":
            limit = section.value("coefficient_limit")
            id_ = f"{hardware_identity(section, situation.record)}:coefficient {limit:.6g}"
            label = f"home-made coefficient of {section.path[-1]}"
            parts[Cause(id_, shape="rectangular", scope="calibration", label=label)] = [limit / math.sqrt(3)]
        factors.append(Estimate(1.0, (), parts))
    return stacked(factors, "nozzle")


def _prepare(situation: Situation) -> None:
    situation.inputs["coefficient_factor"] = _coefficients(situation)
    situation.inputs.setdefault("static", Estimate(0.0))
    width, height = (situation.inputs.pop(name, None) for name in ("chamber_width", "chamber_height"))
    if width is not None and height is not None:
        area = linear(
            lambda width, height: {"area": width * height}, {"width": width, "height": height}, outputs={"area": ()}
        )
        situation.inputs["chamber_area"] = area["area"]


def _summary(situation: Situation) -> str:
    velocity, reynolds = (situation.nominal[name] for name in ("throat_velocity", "reynolds"))
    coefficient = nozzle_coefficient(reynolds, situation.inputs["length_ratio"].value)
    return (
        f"drop {float(np.mean(situation.inputs['drop'].value)):.5g} Pa, throat velocity {span(velocity, 'm/s', 4)}, "
        f"coefficient {span(np.asarray(coefficient), '', 4)} at Reynolds {span(reynolds, '')}"
    )


def _coefficient(situation: Situation) -> Size:
    return Size(limit=0.012)


def _along(situation: Situation, reynolds: Array) -> Array:
    curve = nozzle_coefficient(reynolds, situation.inputs["length_ratio"].value)
    return np.asarray(curve * situation.inputs["coefficient_factor"].value)


def _approach(situation: Situation) -> Size | None:
    correction = np.max(np.abs(situation.nominal["approach"]), axis=-1)
    return Size(limit=0.5 * correction) if np.any(correction) else None


def _low_reynolds(situation: Situation) -> Size | None:
    below = np.max(LEAST_REYNOLDS / np.maximum(situation.nominal["reynolds"], 1.0), axis=-1) - 1.0
    return Size(limit=0.02 * np.clip(below, 0.0, 10.0)) if np.any(below > 0) else None


def _area_ratio(situation: Situation) -> float | None:
    if "chamber_area" not in situation.inputs:
        return None
    area = math.pi / 4 * float(np.sum(situation.inputs["diameter"].value ** 2))
    return area / float(situation.inputs["chamber_area"].value)


LOW_REYNOLDS = FlagMeaning(
    "low Reynolds number",
    "alarm",
    "The coefficient equation of chamber nozzles holds for throat Reynolds numbers above 12 000; below, the "
    "coefficient and its error bar are an extrapolation. Use a smaller nozzle.",
    "AMCA 210 / ISO 5801 (from memory)",
)
THROAT_VELOCITY = FlagMeaning(
    "throat velocity",
    "warning",
    "Test codes ask for a throat velocity of about 14 m/s (AMCA 210) or 15 to 35 m/s (ISO 5151). Too slow and the drop "
    "is small against the manometer's error; too fast and the expansion matters more. Change the open nozzles.",
    "AMCA 210; ISO 5151 (windows from memory; documents differ)",
)
PRESSURE_RATIO = FlagMeaning(
    "pressure ratio",
    "alarm",
    "The drop is more than a tenth of the absolute pressure; the expansibility equation is not meant for it.",
    "evaluated against the isentropic equation",
)
APPROACH = FlagMeaning(
    "approach velocity",
    "warning",
    "The open nozzles take up more than a tenth of the chamber's cross-section: the air already moves in front of "
    "them. The result is corrected for it, which rests on an even approach; use a larger chamber or fewer nozzles.",
    "recomputed: error of 0.5 (ΣCA/A)² if ignored",
)
CHAMBER_UNKNOWN = FlagMeaning(
    "chamber size unknown",
    "note",
    "The size of the chamber was not given, so the air in front of the nozzles is taken as still. If the open throats "
    "take up more than a tenth of its cross-section the flow reads low by 0.5 % and more.",
)
PROFILE_UNKNOWN = FlagMeaning(
    "nozzle profile not stated",
    "warning",
    "The record does not say how a nozzle was made, and it was taken as machined to the standard's profile. A "
    'home-made one is some three times less certain: write made = "home-made" and its coefficient_limit.',
)
SPACING = FlagMeaning(
    "nozzle spacing",
    "warning",
    "Nozzles closer than 1.5 diameters to a wall, or 3 diameters to one another, disturb each other's inflow.",
    "AMCA 210 / ISO 5801 (from memory)",
)

METHOD = Method(
    name="nozzle",
    title="Nozzles in a chamber",
    help="Static pressure drop across one or several nozzles in the wall between two chambers; the standard's "
    "coefficient, iterated on the Reynolds number.",
    source=STANDARD,
    fields=(
        Reading(
            "drop",
            "Static pressure drop across the nozzles.",
            required=True,
            kind="pressure difference",
            low=-50e3,
            high=50e3,
            positive=True,
            example='"250.3 Pa"',
        ),
        Reading(
            "static",
            "Gauge static pressure in the chamber in front of the nozzles (negative under suction). "
            "Left out, it is taken as zero: 100 Pa of it are 0.05 % of the flow.",
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            example='"-120 Pa"',
        ),
        Names(
            "open",
            "The nozzles that are open; the others are plugged.",
            required=True,
            table="nozzles",
            axis="nozzle",
            example='["A", "B"]',
        ),
        Given("chamber_width", "Inside width of the chamber in front of the nozzles.", kind="length", above=0.0),
        Given("chamber_height", "Inside height of the chamber in front of the nozzles.", kind="length", above=0.0),
        Given("wall_distance", "Smallest distance from a nozzle's centre to a chamber wall.", kind="length", above=0.0),
        Given(
            "centre_distance", "Smallest distance between the centres of two open nozzles.", kind="length", above=0.0
        ),
    ),
    alternatives=(OneOf((("chamber_width", "chamber_height"),), required=False),),
    kernel=kernel,
    air=("density", "pressure", "viscosity"),
    axes=("nozzle",),
    hardware=(NOZZLES,),
    prepare=_prepare,
    effects=(
        Effect(
            "method:nozzle:coefficient",
            "nozzle coefficient (standard's equation)",
            "How well the standard's equation knows the coefficient of a nozzle made to its drawing: 1.2 % at 95 %. "
            "One error shared by every nozzle and every use.",
            _coefficient,
            shape="normal",
            divisor=1.96,
            scope="method",
            source="AMCA 210, annex on errors (from memory)",
        ),
        Effect(
            "nozzle:approach",
            "approach velocity",
            "Where the chamber's size is given, the result is corrected for air that already moves in front of the "
            "nozzles. The correction rests on an even approach; half of it is taken as its limit.",
            _approach,
            source="half the correction: common practice, no source",
        ),
        Effect(
            "nozzle:low Reynolds number",
            "coefficient below Reynolds 12 000",
            "Below the range of the coefficient equation its error grows: 2 % for every time that the range is "
            "undershot.",
            _low_reynolds,
            source="common practice, no source",
        ),
    ),
    limits=(
        Limit(
            LOW_REYNOLDS,
            lambda s: s.nominal["reynolds"] < LEAST_REYNOLDS,
            lambda s: f"{span(s.nominal['reynolds'], '')}; 12 000 at least",
            window=Window("reynolds", "throat Reynolds number", LEAST_REYNOLDS, wide=True),
        ),
        Limit(
            THROAT_VELOCITY,
            lambda s: (np.abs(s.nominal["throat_velocity"]) < 14) | (np.abs(s.nominal["throat_velocity"]) > 35),
            lambda s: f"{span(np.abs(s.nominal['throat_velocity']), 'm/s')}; usual window 14 to 35 m/s",
            window=Window("throat_velocity", "throat velocity", 14.0, 35.0, "velocity", "m/s"),
        ),
        Limit(
            PRESSURE_RATIO,
            lambda s: s.nominal["pressure_ratio"] < 0.9,
            lambda s: f"{span(s.nominal['pressure_ratio'], '')}; 0.9 at least",
            window=Window("pressure_ratio", "pressure after over before", 0.9, 1.0),
        ),
        Limit(
            APPROACH,
            lambda s: (_area_ratio(s) or 0.0) > 0.1,
            lambda s: f"throats take up {100 * (_area_ratio(s) or 0.0):.0f} % of the chamber; 10 % at most",
        ),
        Limit(CHAMBER_UNKNOWN, lambda s: _area_ratio(s) is None, lambda s: "still air in front of the nozzles assumed"),
        Limit(
            PROFILE_UNKNOWN,
            lambda s: any(n["made"].assumed for n in s.hardware["nozzles"]),
            lambda s: (
                "taken as machined: " + ", ".join(str(n.path[-1]) for n in s.hardware["nozzles"] if n["made"].assumed)
            ),
        ),
        *static.LIMITS,
        *leakage.LIMITS,
        opening.WITHOUT_LIMITS,
        Limit(
            SPACING,
            lambda s: s.value("wall_distance", math.inf) < 1.5 * float(np.max(s.inputs["diameter"].value)),
            lambda s: "a nozzle stands closer than 1.5 diameters to the chamber wall",
        ),
        Limit(
            SPACING,
            lambda s: s.value("centre_distance", math.inf) < 3 * float(np.max(s.inputs["diameter"].value)),
            lambda s: "two open nozzles stand closer than 3 diameters",
        ),
    ),
    coefficient=Coefficient(
        "discharge coefficient",
        _along,
        ("method:nozzle:coefficient", "nozzle:low Reynolds number"),
        "coefficient_factor",
    ),
    summary=_summary,
    conventions=(
        "Reynolds number from the actual throat velocity (iterated), viscosity at the dry bulb",
        "isentropic expansibility, ratio of specific heats 1.4",
        "flow at the air in front of the nozzles",
        "coefficient of the standard's equation known to 1.2 % at 95 % (AMCA 210, from memory)",
    ),
)
