"""What a record says of the unit beside its flow: what was read of it, and what its label states."""

from __future__ import annotations

from flowrig.records.declare import Given, Pairs, Reading, Table, Text

_WITH = Pairs("with", "Instrument of the reading, where more than one measures its kind.", alone=True)
ELECTRICAL = Table(
    "electrical",
    "Electrical power: what the unit draws from the socket while its flow is measured.",
    (
        Reading(
            "power",
            "Power shown by the watt meter: true power, in watts, not volt-amperes. Several readings are averaged.",
            required=True,
            kind="power",
            low=0.0,
            high=1e6,
            example='"91.5 W"',
        ),
        _WITH,
        Text("notes", "Speed setting, filters, voltage."),
    ),
)
SOUND = Table(
    "sound",
    "Sound level: what the unit makes while its flow is measured, as the meter shows it.",
    (
        Reading(
            "level",
            "A-weighted level shown, the background included. Several alike are averaged as levels.",
            required=True,
            kind="sound level",
            low=0.0,
            high=160.0,
            example='"52.3 dB"',
        ),
        _WITH,
        Text("notes", "Distance and direction of the microphone, what else was running."),
    ),
)
BESIDE = (ELECTRICAL, SOUND)  # what is read of the unit beside its flow

CLAIMS = Table(
    "claims",
    "What a nameplate, label or data sheet states, held against what was measured. A ± may stand beside each.",
    (
        Given(
            "flow",
            "Stated flow. A nameplate usually means free air: nothing in front of the fan or behind it.",
            kind="flow",
            above=0.0,
            example='"2100 cfm"',
        ),
        Given(
            "efficiency",
            "Stated share of particles that the filters hold back; say in notes of which size.",
            kind="ratio",
            low=0.0,
            high=1.0,
            example='"85 %"',
        ),
        Given(
            "clean_air_rate",
            "Stated clean-air rate: the flow of clean air that would do as much. No more than flow times efficiency.",
            kind="flow",
            above=0.0,
            example='"1785 cfm"',
        ),
        Given("power", "Stated electrical power.", kind="power", above=0.0, example='"95 W"'),
        Given(
            "sound",
            "Stated sound level; say in notes at which distance.",
            kind="sound level",
            low=0.0,
            high=200.0,
            example='"52 dB"',
        ),
        Text(
            "of",
            "Which flow the claims are about, in the words of the sections' own field of, where the record holds "
            "several.",
            example='"speed 3"',
        ),
        Text("notes", "Where it is stated, and for what: speed, filters, particle size.", example='"nameplate"'),
    ),
)
