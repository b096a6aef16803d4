"""What a record says of the unit beside its flow: what its label states."""

from __future__ import annotations

from flowrig.records.declare import Given, Table, Text
from flowrig.records.rate_sizes import claimed_particles

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
            "Stated share of particles that the filters hold back; of which, stands in particles.",
            kind="ratio",
            low=0.0,
            high=1.0,
            example='"85 %"',
        ),
        Given(
            "clean_air_rate",
            "Stated clean-air rate: the flow of clean air that would do as much, for the sizes in particles. No more "
            "than flow times efficiency; flow times an ePM is none.",
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
            "particles",
            "Sizes of the particles that the stated efficiency and clean-air rate are of. Without them neither is held "
            "against anything. ePM1, ePM2.5 or ePM10 for an efficiency alone.",
            example='"0.3 to 1 um"',
        ),
        Text(
            "of",
            "Which flow the claims are about, in the words of the sections' own field of, where the record holds "
            "several.",
            example='"speed 3"',
        ),
        Text("notes", "Where it is stated, and for what: speed, filters.", example='"nameplate"'),
    ),
    checks=(claimed_particles,),
)
