"""What a record says of a filter: its face, its resistance, its efficiency, and how both change in use."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Choice, File, Given, OneOf, Pairs, Reading, Series, Table, Text, Wrong
from flowrig.records.fan_facts import MEASURED, STATED
from flowrig.records.items import Section

DROP_LIMIT = "15 %"  # common practice, no source: 10 to 20 % between a datasheet and a filter
SPREAD = "5 %"  # common practice, no source
GROWTH = "25 %"  # own judgement, no source: dust differs from place to place and from season to season
EXPONENT = "1.4 ± 0.3"  # media 1.18 on average (Li et al. 2022), frames and pleats towards 2; limits own judgement
LAWS = ("not said", "linear and quadratic", "power")

OF_STATED = (
    ("drop_limit", "a limit", "Remove it: what was measured has the errors of its instruments."),
    ("density", "the air", "Describe the air of the points in a table [air.meter]."),
    ("viscosity", "the air", "Describe the air of the points in a table [air.meter]."),
)


def _checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if section.value("figures") == MEASURED and "linear" not in section:
        for name, said, remedy in OF_STATED:
            if name in section and not section[name].assumed:
                wrong.append(Wrong(name, f"{said} of stated figures alone", remedy))
    wrong += _resistance(section)
    velocities, efficiencies = section.value("efficiency_velocity"), section.value("efficiency")
    if efficiencies is not None and velocities is not None and len(velocities) != len(efficiencies):
        said = f"as many as efficiencies, {len(efficiencies)}"
        wrong.append(Wrong("efficiency_velocity", said, "Give a face velocity for each efficiency."))
    if velocities is not None and len(set(velocities)) < len(velocities):
        wrong.append(Wrong("efficiency_velocity", "each velocity once", "Give the mean of what was found there."))
    if efficiencies is not None and "particles" not in section:
        remedy = 'Add particles = "1 to 3 um", for instance: an efficiency is one of a size.'
        wrong.append(Wrong("particles", "the size of the particles that the efficiency is of", remedy))
    conditioned = section.value("efficiency_conditioned")
    if conditioned is not None and efficiencies is not None and conditioned > max(efficiencies):
        said = "no more than the efficiency of the charged filter"
        wrong.append(Wrong("efficiency_conditioned", said, "Check which of the two is which."))
    pairs = (("final_drop", "final_velocity"), ("life_to_final", "final_drop"), ("loading", "final_velocity"))
    for name, other in (*pairs, ("charge", "efficiency")):
        if name in section and other not in section:
            wrong.append(Wrong(other, f"{other}, which belongs to {name}", f"Add {other}, or remove {name}."))
    if "life_to_final" in section and "loading" in section:
        wrong.append(Wrong("life_to_final", "either a table of loading or a life to the final drop", "Remove one."))
    return wrong


def _resistance(section: Section) -> list[Wrong]:
    """The drop is told in one way, and each value of it with its velocity."""
    if "drop" not in section and "linear" not in section:
        remedy = 'Add drop = "25 Pa" and velocity = "1 m/s", points = "points.csv", or linear and quadratic.'
        return [Wrong("drop", "drops with their velocities, or coefficients", remedy)]
    if "drop" in section and "linear" in section:
        return [Wrong("linear", "either drops or coefficients", "Remove one of the two.")]
    if "linear" in section and not section.value("linear") + section.value("quadratic") > 0.0:
        return [Wrong("linear", "a resistance above zero", "A filter without any resistance is none.")]
    known = [name for name in ("velocity", "flow") if name in section]
    if len(known) > 1:
        return [Wrong("flow", "either velocity or flow", "Remove one of the two.")]
    for name in known:
        if len(section.value(name)) != len(section.value("drop")):
            said = f"as many as drops, {len(section.value('drop'))}"
            return [Wrong(name, said, "Give one beside each drop.")]
        low = [x for x in (*section.value(name), *section.value("drop")) if not x > 0.0]
        if low:
            return [Wrong(name, "values above zero", "Leave out the point at rest: it tells nothing.")]
    return []


FILTER = Table(
    "filter",
    "A filter: its face, its resistance as points or coefficients, its efficiency, and how both change in use. "
    "Velocity is that of the flow over the face.",
    (
        Choice(
            "figures",
            "Where resistance comes from: measured on a rig, or stated by a maker or in print.",
            required=True,
            choices=(MEASURED, STATED),
            example='"stated"',
        ),
        Given("width", "Width of the face inside its frame.", kind="length", above=0.0, high=10.0, example='"508 mm"'),
        Given("height", "Height of the face.", kind="length", above=0.0, high=10.0, example='"508 mm"'),
        Given("area", "Area of the face, where it is no rectangle.", kind="area", above=0.0, high=100.0),
        Given(
            "blocked",
            "Share of the face that pleat supports and frame block, where velocities are of what is left.",
            kind="ratio",
            default="0 %",
            low=0.0,
            high=0.9,
            example='"8 %"',
        ),
        Given(
            "depth", "Depth in the direction of the flow.", kind="length", limits="never", above=0.0, example='"50 mm"'
        ),
        Text("class", "Class it is sold under, with the edition of the standard.", example='"13, ASHRAE 52.2-2017"'),
        Choice(
            "law",
            "Δp = a v + b v², or Δp = c v^n. Where it is not said: the first with three points or "
            "more, else the second.",
            choices=LAWS,
        ),
        File(
            "points",
            "CSV with a row for each point: drop, and velocity, flow or the readings of the [[flow]] section that the "
            "column section names; that section's own drop, over a nozzle for instance, is the column flow.drop.",
            example='"points.csv"',
        ),
        Pairs("columns", "Header of a reading's column in the table of points, where it differs from its name."),
        Reading(
            "drop",
            "Pressure drop over the filter: a column of points, or stated values here.",
            kind="pressure difference",
            low=0.0,
            high=5e3,
            example='"25 Pa"',
        ),
        Reading(
            "velocity",
            "Face velocity at that drop.",
            kind="velocity",
            low=0.0,
            high=20.0,
            example='"1 m/s"',
        ),
        Reading(
            "flow",
            "Flow through one filter at that drop, in place of the velocity: actual.",
            kind="flow",
            low=0.0,
            high=100.0,
            example='"680 m3/h"',
        ),
        Given(
            "linear",
            "Linear part of the drop at 1 m/s, where coefficients are known: Δp = linear·v + quadratic·v². Where "
            "neither has its ±, drop_limit holds.",
            kind="pressure difference",
            low=0.0,
            example='"38 Pa ± 3 Pa"',
        ),
        Given(
            "quadratic",
            "Quadratic part of the drop at 1 m/s.",
            kind="pressure difference",
            low=0.0,
            example='"14 Pa ± 2 Pa"',
        ),
        Given(
            "exponent",
            "Exponent of the power law where one point alone is known: 1 for a thin felt, towards 2 for narrow pleats.",
            kind="ratio",
            default=EXPONENT,
            low=1.0,
            high=2.0,
            example='"1.3 ± 0.1"',
        ),
        Given(
            "density",
            "Density of the air that stated figures hold for.",
            kind="density",
            default="1.2 kg/m3",
            above=0.1,
            high=3.0,
        ),
        Given(
            "viscosity",
            "Viscosity of the air that stated figures hold for.",
            kind="viscosity",
            default="18.2 uPa s",
            above=1e-6,
            high=1e-4,
        ),
        Given(
            "drop_limit",
            "How far the drop may lie off stated figures; one error of all filters of this sort. 15 % where nothing is "
            "stated: common practice, no source.",
            kind="ratio",
            limits="never",
            default=DROP_LIMIT,
            low=0.0,
            high=0.5,
            example='"10 %"',
        ),
        Given(
            "piece_spread",
            "How far the drop of one piece may lie off that of its sort; it averages over the pieces side by side, but "
            "not for the one that was measured. 5 % where nothing is stated: common practice, no source; 0 % where the "
            "very piece is used that was measured.",
            kind="ratio",
            limits="never",
            default=SPREAD,
            low=0.0,
            high=0.5,
            example='"3 %"',
        ),
        Text("particles", "Which particles the efficiency is of.", example='"1 to 3 um"'),
        Series(
            "efficiency",
            "Share of those particles that the filter holds back in one pass, new and charged; one for each "
            "face velocity.",
            kind="ratio",
            low=-0.5,
            high=1.0,
            example='["86 %", "83 %"]',
        ),
        Series(
            "efficiency_velocity",
            "Face velocity of each efficiency.",
            kind="velocity",
            low=0.0,
            high=20.0,
            example='["0.5 m/s", "1.25 m/s"]',
        ),
        Given(
            "efficiency_limit",
            "How far the efficiency may lie off, in points of per cent; one error at all velocities.",
            kind="ratio",
            limits="never",
            default="5 %",
            low=0.0,
            high=0.5,
            example='"4 %"',
        ),
        Given(
            "efficiency_conditioned",
            "Efficiency once the medium has lost its charge. Smoke can take it in minutes, without any "
            "rise of the drop.",
            kind="ratio",
            low=-0.5,
            high=1.0,
            example='"45 %"',
        ),
        File(
            "charge",
            "CSV of the efficiency in use, at the first of the velocities: time and efficiency.",
            example='"charge.csv"',
        ),
        File(
            "loading",
            "CSV of the drop in use, at final_velocity: time (or dust, fed to one filter) and drop.",
            example='"loading.csv"',
        ),
        Given(
            "loading_limit",
            "How far the growth of the drop may lie off the table of the loading where the filter is used; one error "
            "of all filters of this sort. 25 % where nothing is stated: own judgement, no source.",
            kind="ratio",
            limits="never",
            default=GROWTH,
            low=0.0,
            high=1.0,
            example='"10 %"',
        ),
        Given(
            "final_drop",
            "Drop at which the filter is to be changed.",
            kind="pressure difference",
            limits="never",
            above=0.0,
            example='"125 Pa"',
        ),
        Given(
            "final_velocity",
            "Face velocity that final_drop and the drops of the loading are told at.",
            kind="velocity",
            limits="never",
            above=0.0,
            example='"1.25 m/s"',
        ),
        Given(
            "life_to_final",
            "Running time in which the drop grows to final_drop, evenly; without its ±, half of it may be off.",
            kind="time",
            above=0.0,
            example='"1500 h ± 500 h"',
        ),
        Pairs("with", "Instrument of each reading, where more than one measures its kind.", alone=True),
        Text("serial", "What the measured piece is known by."),
        Text("source", "Where stated figures are printed."),
        Text("notes", "Anything else."),
    ),
    alternatives=(
        OneOf((("width", "height"), ("area",))),
        OneOf((("linear", "quadratic"),), required=False),
        OneOf((("efficiency", "efficiency_velocity"),), required=False),
    ),
    checks=(_checks,),
)
