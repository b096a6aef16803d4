"""What a record says of a room: its air, what it is to have, and the filter in the ducts of its building.

A target of air changes, one of clean air for each person and one of a concentration stand in tables of their own: the
first two are guidance on infection and say nothing about smoke, the third says nothing about infection.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from flowrig.records.declare import Check, Choice, Count, Described, Flag, Given, OneOf, Table, Text, Wrong
from flowrig.records.guidance import ASHRAE, CDC, LARGER, find_guidance, nearest_guidance
from flowrig.records.items import Section
from flowrig.records.particle_words import is_class_average

MASS, NUMBER = "mass", "number"
KINDS_OF = {MASS: ("mass concentration", "mass emission"), NUMBER: ("concentration", "particle emission")}
NONE, PRESENT = "none", "present"

# What stands in for what a room's record does not say; the ends hold what is published of homes, see BASIS.
INFILTRATION, PENETRATION, DEPOSITION = "0.6 1/h ± 0.5 1/h", "0.78 ± 0.22", "0.4 1/h ± 0.3 1/h"
LEAKAGE, OLD_FILTER = "(10 ± 10) %", "(10 ± 10) %"
BASIS = {  # of what is assumed: where its limits come from
    "infiltration": (
        "medians of homes 0.47 to 0.88 1/h, seasons 0.37 to 1.13 1/h (doi 10.1111/j.1600-0668.2009.00622.x); limits "
        "own judgement, and a tight room with windows shut may lie lower"
    ),
    "penetration": "0.78 ± 0.17 for 0.1 to 1 um, a review; limits widened to 1, which an open window has",
    "deposition": (
        "0.3 1/h for 0.3 to 0.5 um with the fan off and about twice that with a central fan on "
        "(doi 10.1016/j.atmosenv.2003.09.012); limits own judgement"
    ),
    "indoor_source": "no source in the room",
    "outdoor_air": "no outdoor air that a fan blows in",
    "outdoor_air_efficiency": "no filter in the outdoor air, which is the dirtiest that can be",
    "displaced": "nothing in the room that takes up air",
    "supply_leakage": "common practice, no source",
    "return_leakage": "common practice, no source",
    "efficiency_now": "a coarse filter; own judgement, no source",
    "leak_concentration": "the return leaks in outdoor air",
    "most_units": "4, or one for every 10 m3 of air where that is more; own judgement, no source",
}
# Beyond these nobody can mean it.
MOST_VOLUME, MOST_AREA = 2e7, 2e6  # m3, m2: the largest buildings there are have half of it, or less; from memory
MOST_AIR = 1000.0  # m3/s, of outdoor air or of a duct
DENSEST = {"mass concentration": 1e-2, "concentration": 1e14}  # kg/m3, 1/m3
LONGEST, LONGEST_SEASON = 31 * 86400.0, 3660 * 86400.0  # s
_PARTICLES = (
    'Which particles the clean air is asked for, such as "0.3 to 1 um"; words for smoke, dust and pollen stand for the '
    "sizes of the tests of air cleaners."
)


def told_by(table: Table, concentrations: str = MASS) -> Table:
    """A table with concentrations as masses, as it is declared, or as numbers of particles."""
    if concentrations == MASS or concentrations not in KINDS_OF:
        return table
    other = dict(zip(KINDS_OF[MASS], KINDS_OF[concentrations], strict=True))
    fields = tuple(
        replace(
            f,
            kind=other[f.kind],
            example=_EXAMPLES.get(f.name, ""),
            default=_DEFAULTS.get(f.default, f.default),
            high=DENSEST.get(other[f.kind], f.high),
        )
        if isinstance(f, Given) and f.kind in other
        else f
        for f in table.fields
    )
    return replace(table, fields=fields)


_EXAMPLES = {
    "outdoor_concentration": '"900 1/cm3 ± 200 1/cm3"',
    "initial_concentration": '"400 1/cm3 ± 60 1/cm3"',
    "indoor_source": '"2e9 particles/h ± 1e9 particles/h"',
    "level": '"60 1/cm3"',
    "leak_concentration": '"900 1/cm3 ± 300 1/cm3"',
}
_DEFAULTS = {"0 mg/h": "0 particles/h"}


def _room_checks(section: Section) -> Sequence[Wrong]:
    """A level follows from what enters, and that is told by the concentration outdoors."""
    for name in ("initial_concentration", "indoor_source"):
        if name in section and not section[name].assumed and "outdoor_concentration" not in section:
            said = f"the concentration outdoors beside {name}: the level hangs on both"
            remedy = "Add outdoor_concentration, as nothing where the air outdoors is clean."
            return [Wrong("outdoor_concentration", said, remedy)]
    return []


ROOM = Table(
    "room",
    "A room, or a whole house or building that counts as one: its air, and what gets into it. The air is taken as well "
    "mixed.",
    (
        Given(
            "volume",
            "Volume of the air in it: net of what stands in it.",
            kind="volume",
            above=0.0,
            high=MOST_VOLUME,
            limits="must",
            example='"180 m3 ± 6 m3"',
        ),
        Given(
            "floor_area",
            "Area of its floor, with ceiling_height in place of volume.",
            kind="area",
            above=0.0,
            high=MOST_AREA,
            limits="must",
            example='"62 m2 ± 1 m2"',
        ),
        Given(
            "ceiling_height",
            "Mean height of its ceiling.",
            kind="length",
            above=0.0,
            high=100.0,
            limits="must",
            example='"2.9 m ± 0.05 m"',
        ),
        Given(
            "displaced",
            "Share of that volume which furniture, and whatever else stands in it, takes up.",
            kind="ratio",
            default="0 %",
            low=0.0,
            high=0.9,
            example='"(5 ± 3) %"',
        ),
        Choice(
            "concentrations",
            "What concentrations of particles are told by: mass, as in ug/m3, or number, as in 1/cm3.",
            choices=(MASS, NUMBER),
        ),
        Given(
            "infiltration",
            "Air changes by outdoor air that nobody blows in, through cracks and windows. They count in the balance of "
            "particles, and towards no target of clean air.",
            kind="rate",
            default=INFILTRATION,
            low=0.0,
            high=0.1,
            example='"0.4 1/h ± 0.2 1/h"',
        ),
        Given(
            "penetration",
            "Share of the particles in infiltrating air that comes through the cracks; 1 through an open window.",
            kind="ratio",
            default=PENETRATION,
            low=0.0,
            high=1.0,
            example='"0.8 ± 0.15"',
        ),
        Given(
            "deposition",
            "Rate at which particles settle on surfaces, of the sizes that the concentration is of. It counts in the "
            "balance of particles, and towards no target of clean air.",
            kind="rate",
            default=DEPOSITION,
            low=0.0,
            high=0.1,
            example='"0.3 1/h ± 0.1 1/h"',
        ),
        Given(
            "outdoor_concentration",
            "Concentration outdoors; without a ± it is a case that is looked at, and known.",
            kind="mass concentration",
            low=0.0,
            high=DENSEST["mass concentration"],
            example='"150 ug/m3 ± 30 ug/m3"',
        ),
        Given(
            "indoor_source",
            "What is set free in the room.",
            kind="mass emission",
            default="0 mg/h",
            low=0.0,
            example='"2 mg/h ± 1 mg/h"',
        ),
        Given(
            "initial_concentration",
            "Concentration in the room when the cleaners are switched on. Where it is left out the room is as it has "
            "become without them.",
            kind="mass concentration",
            low=0.0,
            high=DENSEST["mass concentration"],
            example='"80 ug/m3 ± 10 ug/m3"',
        ),
        Given(
            "outdoor_air",
            "Outdoor air that a fan blows in. It counts towards a target of clean air against infection, whole; of "
            "smoke it brings in what its filter lets through.",
            kind="flow",
            default="0 m3/h",
            low=0.0,
            high=MOST_AIR,
            example='"200 m3/h ± 30 m3/h"',
        ),
        Given(
            "outdoor_air_efficiency",
            "Share of the particles, of the sizes that the concentration is of, which the filter in that outdoor air "
            "holds back.",
            kind="ratio",
            default="0 %",
            low=0.0,
            high=1.0,
            example='"(50 ± 15) %"',
        ),
        Given(
            "persons",
            "Persons in the room, one or more, where a target is told for each of them.",
            kind="count",
            low=1.0,
            high=1e5,
            example='"28 ± 2"',
        ),
        Given(
            "mixing",
            "Clean air that the room has of its cleaners over what they deliver (flow times efficiency, or a rate from "
            "a test chamber), from a decay in it: below 1 where they draw their own outlet air back in, or part of the "
            "room is not reached. A rate by decay has it in already, and takes none.",
            kind="ratio",
            above=0.0,
            high=1.5,
            limits="must",
            example='"0.85 ± 0.1"',
        ),
        Count(
            "most_units",
            "Most units of one sort that there is room, or are sockets, for. Where it is left out, 4, or one for every "
            "10 m3 of air.",
            high=1000,
            example="4",
        ),
        Given(
            "most_sound",
            "Highest A-weighted level that all units together may have, at the distance at which that of one was "
            "found; the background of the room is not in it.",
            kind="sound level",
            limits="never",
            low=0.0,
            high=160.0,
            example='"45 dB"',
        ),
        Given(
            "over",
            "How long the level in the room is followed after the cleaners are switched on.",
            kind="time",
            limits="never",
            default="4 h",
            above=0.0,
            high=LONGEST,
            example='"3 h"',
        ),
        Choice(
            "combustion",
            "Whether there is an appliance in the room, or air way to it, that burns something and has a flue.",
            choices=("not said", NONE, PRESENT),
        ),
        Flag("blows_out", "true where a unit stands in a window, or is ducted, so that it blows air out of the room."),
        Text("notes", "Use, windows, doors, where the units are to stand."),
    ),
    alternatives=(OneOf((("volume",), ("floor_area", "ceiling_height"))),),
    checks=(_room_checks,),
)


def _guidance_checks(of: str) -> Check:
    def check(section: Section) -> Sequence[Wrong]:
        wrong = []
        name = section.value("guidance")
        found = find_guidance(name) if name is not None else None
        if name is not None and (found is None or getattr(found, of) is None):
            words = "air changes" if of == "air_changes" else "clean air for each person"
            wrong.append(Wrong("guidance", f"a published target of {words}", nearest_guidance(name, of)))
        return [*wrong, *_particle_checks(section)]

    return check


def _particle_checks(section: Section) -> Sequence[Wrong]:
    words = section.value("particles")
    if words is None or not is_class_average(words):
        return []
    remedy = 'Write the sizes, such as "0.3 to 1 um".'
    return [Wrong("particles", "sizes of particles; ePM is an average over a mixture that no room has", remedy)]


def _duct_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "prediction" in section and "efficiency" in section:
        wrong.append(Wrong("efficiency", "either an efficiency or a prediction, which tells it", "Remove one of them."))
    elif "prediction" not in section and "efficiency" not in section:
        remedy = 'Add efficiency = "(75 ± 10) %" with its particles, for instance.'
        wrong.append(Wrong("efficiency", "the share that the better filter holds back", remedy))
    elif "efficiency" in section and "particles" not in section:
        remedy = 'Add particles = "0.3 to 1 um", for instance: an efficiency is one of a size.'
        wrong.append(Wrong("particles", "the size of the particles that the efficiency is of", remedy))
    return wrong


_SOURCE = Text("source", "Where the number is from: body, edition, place.")

AIR_CHANGE_TARGET = Table(
    "air_change_target",
    "Guidance on infection: clean air in volumes of the room a time. Outdoor air that a fan blows in counts towards "
    "it, infiltration and deposition do not. It says nothing about smoke.",
    (
        Given("air_changes", "Air changes of clean air wanted.", kind="rate", limits="never", above=0.0, high=0.1,
              example='"5 1/h"'),
        Text("guidance", "A published target by its name, edition and all.", example=f'"occupied space, {CDC}"'),
        Text("particles", _PARTICLES),
        _SOURCE,
    ),
    alternatives=(OneOf((("air_changes",), ("guidance",))),),
    checks=(_guidance_checks("air_changes"),),
)  # fmt: skip

PER_PERSON_TARGET = Table(
    "per_person_target",
    "Guidance on infection: clean air for each person in the room. Outdoor air that a fan blows in counts towards it, "
    "infiltration and deposition do not. It says nothing about smoke.",
    (
        Given("per_person", "Clean air wanted for each person.", kind="flow", limits="never", above=0.0, high=1.0,
              example='"30 cfm"'),
        Text(
            "guidance",
            f'A published target by its name: kind of space, then edition. "{LARGER}" asks for the larger of 30 cfm a '
            "person and 5 air changes an hour.",
            example=f'"classroom, {ASHRAE}"',
        ),
        Text("particles", _PARTICLES),
        _SOURCE,
    ),
    alternatives=(OneOf((("per_person",), ("guidance",))),),
    checks=(_guidance_checks("per_person"),),
)  # fmt: skip

CONCENTRATION_TARGET = Table(
    "concentration_target",
    "A level of particles, of smoke for instance, that the room is to be held at: a balance of what gets in, settles, "
    "leaves and is cleaned. It says nothing about infection.",
    (
        Given("level", "Concentration wanted in the room, once it is steady.", required=True,
              kind="mass concentration", limits="never", above=0.0, high=DENSEST["mass concentration"],
              example='"12 ug/m3"'),
        Text(
            "particles",
            'Which particles: "smoke", "PM2.5" or sizes such as "0.3 to 1 um". Smoke is below 1 um: it takes a rate '
            "that was measured there.",
            required=True,
            example='"smoke"',
        ),
        _SOURCE,
    ),
    checks=(_particle_checks,),
)  # fmt: skip

DUCT = Table(
    "duct",
    "A filter in the ducts of the building, better than the one there is, and how long the fan runs: with the room as "
    "the whole building.",
    (
        Given("flow", "Flow that the fan of the ducts moves with the filter there is.", required=True, kind="flow",
              above=0.0, high=MOST_AIR, limits="must", example='"2000 m3/h ± 200 m3/h"'),
        Given("flow_with_filter", "The same with the better filter.", kind="flow", above=0.0, high=MOST_AIR,
              limits="must", example='"1850 m3/h ± 200 m3/h"'),
        Given("flow_loss", "Share of the flow that the better filter takes, in place of flow_with_filter.",
              kind="ratio", low=-0.5, high=0.99, limits="must", example='"(8 ± 4) %"'),
        Given("efficiency", "Share of the particles that the better filter holds back, what passes beside it included.",
              kind="ratio", low=-0.5, high=1.0, limits="must", example='"(75 ± 10) %"'),
        Described("prediction", "The record of a prediction of that fan with the better filter, in place of the flow "
                  "behind it and its efficiency.", example='"attic-fan.toml"', table="predict"),
        Text("particles", "Which particles the efficiency is of.", example='"0.3 to 1 um"'),
        Given("efficiency_now", "The same of the filter there is.", kind="ratio", low=0.0, high=1.0,
              default=OLD_FILTER, example='"(15 ± 10) %"'),
        Given("runtime", "Share of the time in which the fan is to run.", required=True, kind="ratio", low=0.0,
              high=1.0, example='"100 %"'),
        Given("runtime_now", "Share of the time in which it runs as it is.", required=True, kind="ratio", low=0.0,
              high=1.0, example='"(30 ± 10) %"'),
        Given("supply_leakage", "Share of the flow that leaks out behind the filter and never reaches the rooms.",
              kind="ratio", low=0.0, high=0.95, default=LEAKAGE, example='"(8 ± 5) %"'),
        Given("return_leakage", "Share of the flow that has leaked in, from attic or outdoors, before the filter.",
              kind="ratio", low=0.0, high=0.95, default=LEAKAGE, example='"(5 ± 4) %"'),
        Given("leak_concentration", "Concentration where the return leaks; that outdoors where it is left out.",
              kind="mass concentration", low=0.0, high=DENSEST["mass concentration"],
              example='"150 ug/m3 ± 60 ug/m3"'),
        Given("power", "Electrical power of the fan while it runs.", kind="power", low=0.0, high=1e7,
              example='"450 W ± 40 W"'),
        Given("season", "How long the added running is to last, for its energy; a day where it is left out.",
              kind="time", limits="never", above=0.0, high=LONGEST_SEASON, example='"30 d"'),
        Text("notes", "Filter, its frame and its gaps, how the flow was measured."),
    ),
    alternatives=(OneOf((("flow_with_filter",), ("flow_loss",), ("prediction",))),),
    checks=(_particle_checks, _duct_checks),
)  # fmt: skip
