"""What a record says of a fan: points of its curve, measured on a rig or stated by a maker."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Choice, File, Given, Pairs, Reading, Table, Text, Wrong
from flowrig.records.items import Section

MEASURED, STATED = "measured", "stated"
SCATTER = ("pressure_scatter", "flow_scatter")
LIMIT = "10 %"  # ISO 13348:2007, grade AN4, of flow and pressure; from memory


def _checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "power" in section and section["power_is"].assumed:
        said = "which power it is: electrical (from the socket) or shaft"
        wrong.append(Wrong("power_is", said, 'Add power_is = "electrical", if a watt meter showed it.'))
    if section.value("figures") == STATED:
        for name in SCATTER:
            if name in section:
                remedy = "Remove it: stated figures have limits of their own, such as pressure_limit."
                wrong.append(Wrong(name, "the scatter of measured points alone", remedy))
    if section.value("figures") == MEASURED:
        for name in ("flow_limit", "pressure_limit", "power_limit", "motor_temperature_limit"):
            if name in section and not section[name].assumed:
                remedy = "Remove it: what was measured has the errors of its instruments."
                wrong.append(Wrong(name, "a limit of stated figures alone", remedy))
    return wrong


FAN = Table(
    "fan",
    "A fan's curve at one setting of its switch: static pressure against flow, as points measured on a rig (each row "
    "reduced by a [[flow]] section, or the flow read by an instrument) or stated in a table. At a constant setting the "
    "speed falls a little where the fan has more to do: that belongs to the curve.",
    (
        Choice(
            "figures",
            "Where the points come from: measured on a rig, with the errors of its instruments, or stated by a maker "
            "or in print, with limits of their own.",
            required=True,
            choices=(MEASURED, STATED),
            example='"measured"',
        ),
        File(
            "points",
            "CSV with a row for each point: pressure, and flow or the readings of the [[flow]] section that the column "
            "section names; power, speed, voltage and motor_temperature where they were read; setting, where the file "
            "holds several curves.",
            example='"points.csv"',
        ),
        Pairs(
            "columns",
            "Header of a reading's column in the table of points, where it differs from its name.",
            example='{ pressure = "plenum [Pa]" }',
        ),
        Reading(
            "pressure",
            "Static pressure of the fan: in the plenum behind it against the room it draws from, or the other way "
            "round. Zero is free air.",
            required=True,
            kind="pressure difference",
            low=-2e3,
            high=20e3,
            example='"43.5 Pa"',
        ),
        Reading(
            "flow",
            "Flow at that pressure, where no [[flow]] gives it: actual, of the air at the fan.",
            kind="flow",
            low=0.0,
            high=1000.0,
            example='"810 m3/h"',
        ),
        Reading("power", "Power at that point.", kind="power", low=0.0, high=1e6, example='"71.5 W"'),
        Choice(
            "power_is",
            "Which power: from the socket, or at the shaft.",
            choices=("not said", "electrical", "shaft"),
        ),
        Reading(
            "speed",
            "Speed of the fan at that point.",
            kind="rotational speed",
            low=0.1,
            high=1e3,
            example='"1012 rpm"',
        ),
        Reading(
            "voltage", "Voltage at the socket at that point.", kind="voltage", low=1.0, high=1e3, example='"119 V"'
        ),
        Reading(
            "motor_temperature",
            "Temperature of the motor, where it is hottest, once it no longer rises at that point.",
            kind="temperature",
            low=223.15,
            high=573.15,
            example='"58 degC"',
        ),
        Given(
            "density",
            "Density of the air that stated pressures hold for.",
            kind="density",
            default="1.2 kg/m3",
            above=0.1,
            high=3.0,
            example='"1.2 kg/m3"',
        ),
        Given(
            "flow_limit",
            "How far the flow may lie off stated figures; one error of all points. 10 % where nothing is stated: grade "
            "AN4 of ISO 13348 (from memory).",
            kind="ratio",
            limits="never",
            default=LIMIT,
            low=0.0,
            high=0.5,
            example='"5 %"',
        ),
        Given(
            "pressure_limit",
            "The same of the pressure.",
            kind="ratio",
            limits="never",
            default=LIMIT,
            low=0.0,
            high=0.5,
            example='"5 %"',
        ),
        Given(
            "power_limit",
            "The same of the power.",
            kind="ratio",
            limits="never",
            default=LIMIT,
            low=0.0,
            high=0.5,
            example='"5 %"',
        ),
        Given(
            "motor_temperature_limit",
            "How far the temperature of the motor may lie off stated figures; one error of all points. 5 K where "
            "nothing is stated: own judgement, no source.",
            kind="temperature difference",
            limits="never",
            default="5 K",
            low=0.0,
            high=50.0,
            example='"3 K"',
        ),
        Given(
            "pressure_scatter",
            "Of measured points: how far one reading of the pressure scatters about its mean while nothing is changed, "
            "as a standard deviation; each point's own. Ten readings of one point tell it.",
            kind="pressure difference",
            limits="never",
            low=0.0,
            example='"0.4 Pa"',
        ),
        Given(
            "flow_scatter",
            "The same of the flow, as a share of it.",
            kind="ratio",
            limits="never",
            low=0.0,
            high=0.5,
            example='"0.5 %"',
        ),
        Given(
            "claimed_free_air",
            "Free-air flow of a nameplate: a claim, held against the curve and never a point of it.",
            kind="flow",
            limits="never",
            above=0.0,
            example='"2100 cfm"',
        ),
        Text("serial", "What the fan is known by."),
        Pairs("with", "Instrument of each reading, where more than one measures its kind.", alone=True),
        Text("source", "Where stated figures are printed."),
        Text("notes", "Size, age, blades, guards, how it was mounted."),
    ),
    checks=(_checks,),
)
