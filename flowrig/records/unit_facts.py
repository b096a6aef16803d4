"""What a record says of the unit beside its flow: what its label states."""

from __future__ import annotations

from flowrig.records.declare import Given, Table, Text

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
