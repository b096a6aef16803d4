"""What a record says of a cleaner that is not built yet: its fan, its filters, and what is to be tried."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from flowrig.records.declare import Choice, Count, Described, Given, OneOf, Reading, Series, Table, Text, Wrong
from flowrig.records.items import Section
from flowrig.unit_table import CURRENCIES

ABREAST, IN_LINE = "side by side", "one behind the other"


def _predict_checks(section: Section) -> Sequence[Wrong]:
    if "arrangement" in section and not section["arrangement"].assumed and section.value("fans", 1) == 1:
        return [Wrong("arrangement", "an arrangement of several fans", "Add fans = 2, or remove the line.")]
    if section.value("fans", 1) > 1 and section["arrangement"].assumed:
        said = f"how the fans stand: {ABREAST}, or {IN_LINE}"
        return [Wrong("arrangement", said, f'Add arrangement = "{ABREAST}", for instance.')]
    return []


PREDICT = Table(
    "predict",
    "A cleaner that is to be predicted: one fan, or several alike, and what is in front of it in [[filters]] and "
    "[[losses]]. The air that it is to run in stands in [air.unit].",
    (
        Described("fan", "The record of the fan.", required=True, example='"box-fan-20.toml"', table="fan"),
        Text("setting", "Which of the fan's curves, where its record holds several.", example='"high"'),
        Count("fans", "How many fans of this sort.", low=1, high=100, example="2"),
        Choice("arrangement", "How several fans stand.", choices=(ABREAST, IN_LINE)),
        Given(
            "speed_ratio",
            "Speed over that of the curve, at every point: by the fan laws. A lower voltage or setting of the same "
            "motor is another curve; what it draws from the socket follows no law.",
            kind="ratio",
            above=0.0,
            high=2.0,
            example='"80 %"',
        ),
        Given(
            "speed",
            "The same as a speed, where the fan's record holds its own.",
            kind="rotational speed",
            above=0.0,
            example='"900 rpm"',
        ),
        Given(
            "backflow_area",
            "Open area around each fan, such as the corners of a box fan without a shroud, through which air returns; "
            "only where the fan's curve was found with it closed.",
            kind="area",
            low=0.0,
            example='"120 cm2 ± 30 cm2"',
        ),
        Given(
            "backflow_coefficient",
            "Discharge coefficient of that area.",
            kind="ratio",
            default="0.6 ± 0.1",
            above=0.0,
            high=1.5,
        ),
        Given(
            "required_clean_air",
            "Clean-air rate that is needed.",
            kind="flow",
            limits="never",
            above=0.0,
            example='"900 m3/h"',
        ),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("speed_ratio",), ("speed",)), required=False),),
    checks=(_predict_checks,),
)

FILTERS = Table(
    "filters",
    "Filters of one sort in the cleaner; a further section for each further sort. Sections of one stage stand side by "
    "side, the air goes through the stages one after the other.",
    (
        Described("filter", "The record of the filter.", required=True, example='"panel-13-50.toml"', table="filter"),
        Count("count", "How many side by side; one where nothing is said.", low=0, high=1000, example="4"),
        Count("stage", "Which stage, from 1.", low=1, high=9, example="1"),
        Given(
            "covered",
            "Share of each face that grille, tape or a neighbour covers in this cleaner.",
            kind="ratio",
            default="0 %",
            low=0.0,
            high=0.9,
            example='"5 %"',
        ),
        Given(
            "gap_width",
            "Mean width of the gap along the whole frame of each filter, where air passes beside the medium.",
            kind="length",
            low=0.0,
            high=0.1,
            example='"0.3 mm ± 0.2 mm"',
        ),
        Given("gap_area", "The same as an area of each filter.", kind="area", low=0.0, example='"6 cm2 ± 3 cm2"'),
        Given(
            "gap_coefficient",
            "Discharge coefficient of the gap.",
            kind="ratio",
            default="0.62 ± 0.1",
            above=0.0,
            high=1.5,
        ),
        Given(
            "loaded",
            "How far the filters are on their way from new to final_drop.",
            kind="ratio",
            default="0 %",
            low=0.0,
            high=1.5,
            example='"50 %"',
        ),
        Text("name", "What to call them, where the class or the file name will not do."),
    ),
    alternatives=(OneOf((("gap_width",), ("gap_area",)), required=False),),
)

LOSSES = Table(
    "losses",
    "A grille, bend, duct or shroud that all of the air passes: Δp = coefficient (ρ/2)(Q/area)².",
    (
        Text("name", "What it is.", required=True, example='"outlet grille"'),
        Given("coefficient", "Loss coefficient.", required=True, kind="ratio", low=0.0, example='"1.5 ± 0.5"'),
        Given("area", "Area that it refers to.", required=True, kind="area", above=0.0, example='"0.2 m2 ± 2 %"'),
    ),
)

SWEEP = Table(
    "sweep",
    "What is to be tried: every combination of what is listed, in place of what stands in [predict] and in the first "
    "[[filters]] section.",
    (
        Series("count", "Numbers of filters side by side.", kind="count", low=0.0, high=1000.0, example="[1, 2, 3, 4]"),
        Described(
            "filter",
            "Filters, of other depth or class.",
            example='["panel-13-25.toml", "panel-13-100.toml"]',
            table="filter",
            several=True,
        ),
        Series(
            "speed_ratio",
            "Speeds over that of the curve.",
            kind="ratio",
            low=0.01,
            high=2.0,
            example='["100 %", "80 %"]',
        ),
        Series("gap_width", "Widths of the gap.", kind="length", low=0.0, high=0.1, example='["0 mm", "0.5 mm"]'),
        Series(
            "loaded", "How far on the way to final_drop.", kind="ratio", low=0.0, high=1.5, example='["0 %", "100 %"]'
        ),
    ),
)


LIFE = Table(
    "life",
    "How the cleaner is used, to find when its filters are to be changed.",
    (
        Given("run", "Running time to look at.", required=True, kind="time", above=0.0, example='"2000 h"'),
        Given(
            "dust",
            "Dust that reaches each filter in an hour of running, where loading is told by dust.",
            kind="mass",
            above=0.0,
            example='"0.05 g"',
        ),
        Choice("currency", "Currency that all prices here are written in.", choices=tuple(CURRENCIES)),
        Given(
            "filter_price", "Price of one filter, its disposal included.", kind="money USD", low=0.0, example='"24 USD"'
        ),
        Given("change_price", "Price of the labour of one change.", kind="money USD", low=0.0, example='"15 USD"'),
        Given(
            "energy_price",
            "Price of electrical energy.",
            kind="price of energy USD",
            low=0.0,
            example='"0.17 USD/kWh"',
        ),
        Given(
            "temperature_limit",
            "Highest temperature of the motor that is allowed, where the fan's record holds its motor_temperature.",
            kind="temperature",
            limits="never",
            example='"75 degC"',
        ),
    ),
)


def life_table(currency: str) -> Table:
    """The [life] table with prices in one currency."""
    if currency not in CURRENCIES:
        return LIFE
    fields = []
    for f in LIFE.fields:
        kind = getattr(f, "kind", "")
        if kind.endswith(" USD"):
            f = replace(f, kind=kind.replace("USD", currency), example=f.example.replace("USD", currency))  # type: ignore[call-arg]
        fields.append(f)
    return replace(LIFE, fields=tuple(fields))


WINDING = Table(
    "winding",
    "Resistance of the motor's winding cold, and hot at once after switching off with the filters in place: the "
    "rise of its temperature. Measuring it is work for a licensed electrician.",
    (
        Reading("cold", "Resistance of the winding at the temperature of the room.", required=True, kind="resistance",
                low=1e-3, high=1e6, example='"21.4 ohm"'),
        Reading("hot", "Resistance at the end of the run.", required=True, kind="resistance", low=1e-3, high=1e6,
                example='"26.1 ohm"'),
        Reading("room_cold", "Temperature of room and winding at the beginning.", required=True, kind="temperature",
                low=223.15, high=373.15, example='"22.5 degC"'),
        Reading("room_hot", "Temperature of the room at the end.", required=True, kind="temperature",
                low=223.15, high=373.15, example='"23.4 degC"'),
        Given("limit", "Highest rise that the motor's insulation allows, from its nameplate or the standard it was "
              "built to.", kind="temperature difference", limits="never", above=0.0, example='"75 K"'),
        Text("notes", "Voltage, setting, filters, how long after switching off."),
    ),
)  # fmt: skip
TABLES = (PREDICT, FILTERS, LOSSES, SWEEP, LIFE, WINDING)
