"""What was read of a unit at its socket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flowrig.records.declare import Choice, Pairs, Reading, Table, Text, Wrong
from flowrig.records.items import Section
from flowrig.records.part import Part, PartReader
from flowrig.records.words import a

TRUE_POWER, PRODUCT, UNSURE = "true power", "volts times amperes", "not known"
DIMMER = "a lamp dimmer"
RUNNING = ("power", "apparent", "power_factor", "current")  # read while the unit runs
MOST_POWER = 1e5  # W, at a socket


def _checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    for name in RUNNING:
        if name in section and not np.all(section.value(name) > 0.0):
            said = f"{a(name).replace('_', ' ')} above 0: a unit that runs draws something"
            wrong.append(Wrong(name, said, "Read it with the unit running; what it draws switched off is standby."))
        elif name in section:
            mean = float(np.mean(section.value(name)))
            if any(float(c.half_width(mean)) >= mean for c in section[name].components):
                wrong.append(Wrong(name, "a ± smaller than the reading", "Check the value, the ± and their units."))
    if not ("power" in section or "apparent" in section or "current" in section):
        wrong.append(Wrong("power", "what the watt meter showed", 'Add power = "91.5 W", for instance.'))
    if "current" in section and "voltage" not in section:
        said = "the voltage beside the current: together they are volt-amperes"
        wrong.append(Wrong("voltage", said, 'Add voltage = "119 V", or remove current.'))
    if "power" not in section and "power_is" in section and not section["power_is"].assumed:
        wrong.append(Wrong("power_is", "a power that it is said of", "Add power, or remove the line."))
    return wrong


ELECTRICAL = Table(
    "electrical",
    "Electrical power: what the unit draws from the socket while its flow is measured, at that setting and with those "
    "filters.",
    (
        Reading(
            "power",
            "Power shown by the watt meter, in watts; volt-amperes belong into apparent. Several are averaged.",
            kind="power",
            low=0.0,
            high=MOST_POWER,
            example='"91.5 W"',
            asked=True,
        ),
        Choice(
            "power_is",
            "What the meter shows as watts. One that multiplies volts and amperes cannot tell them from volt-amperes, "
            "of which a small motor draws up to twice as many: they are an upper bound alone.",
            choices=(TRUE_POWER, PRODUCT, UNSURE),
            example=f'"{TRUE_POWER}"',
        ),
        Reading(
            "apparent",
            "Apparent power, where the meter shows it. Without true watts it is their upper bound.",
            kind="apparent power",
            low=0.0,
            high=MOST_POWER,
            example='"148 VA"',
        ),
        Reading(
            "power_factor",
            "Power factor shown: true watts over volt-amperes.",
            kind="power factor",
            low=0.0,
            high=1.0,
            example='"0.62"',
        ),
        Reading("voltage", "Voltage at the socket.", kind="voltage", low=1.0, high=1e3, example='"119.2 V"'),
        Reading(
            "current",
            "Current, of a meter between plug and socket or a clamp on a line splitter made for it; never with bare "
            "wires.",
            kind="current",
            low=0.0,
            high=1e3,
            example='"1.24 A"',
        ),
        Reading(
            "standby",
            "True power with the unit plugged in and switched off at its own switch.",
            kind="power",
            low=0.0,
            high=MOST_POWER,
            example='"0.4 W"',
        ),
        Text("setting", "Setting of the speed.", example='"high"', asked=True),
        Text("filter_state", "State of the filters.", example='"four, new"', asked=True),
        Choice(
            "speed_control",
            "By what the speed was set.",
            choices=("not said", "its own switch", "a control made for this motor", DIMMER),
            example='"its own switch"',
        ),
        Text(
            "of",
            "Which flow the power was read at, in the words of the sections' own field of, where the record holds "
            "several.",
            example='"speed 3"',
        ),
        Pairs("with", "Instrument of each reading, where more than one measures its kind.", alone=True),
        Text("notes", "Anything else."),
    ),
    checks=(_checks,),
)


@dataclass
class Electrical:
    """What was read at the socket."""

    section: Section

    @property
    def sections(self) -> list[Section]:
        return [self.section]


def _read(reader: PartReader) -> Electrical:
    return Electrical(reader.section(ELECTRICAL, reader.data["electrical"], ("electrical",)))


PART = Part("electrical", _read, (ELECTRICAL,))
