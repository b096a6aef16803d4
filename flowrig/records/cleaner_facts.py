"""What a record says of air cleaners that exist or are planned: each by its test, its prediction, or stated figures."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Count, Described, Field, Given, OneOf, Table, Text, Wrong
from flowrig.records.items import Section
from flowrig.records.rate_sizes import refused_rate
from flowrig.records.sizes import read_sizes

MOST_AIR = 100.0  # m3/s of one cleaner: nobody can mean more
STATED = ("clean_air_rate", "power", "sound")  # figures of one unit that a test or a prediction may tell as well


def cleaner_checks(section: Section) -> Sequence[Wrong]:
    """What the fields of a cleaner must agree in."""
    wrong: list[Wrong] = []
    named = next((name for name in ("test", "prediction") if name in section), None)
    refused = refused_rate(section)
    if refused:
        wrong += refused
    elif "particles" in section:
        try:
            read_sizes(section.value("particles"))
        except ValueError as error:
            wrong.append(Wrong("particles", f"a range of particle sizes ({error})", 'Write "0.3 to 1 um".'))
    elif named != "prediction":
        remedy = 'Add particles = "0.3 to 1 um", for instance.'
        wrong.append(Wrong("particles", "the sizes of particles that the clean-air rate is for", remedy))
    if "sound" in section and "sound_distance" not in section:
        remedy = 'Add sound_distance = "1 m", for instance.'
        wrong.append(Wrong("sound_distance", "the distance at which that level was found", remedy))
    return wrong


CLEANER: tuple[Field, ...] = (
    Text("name", "What to call it.", required=True, example='"four-filter box-fan cleaner"'),
    Count(
        "count",
        "How many of them. Where nothing is said it is one, and of a room the number that is looked for.",
        low=0,
        high=1000,
        example="2",
    ),
    Described(
        "test",
        "The record of its test: clean-air rate, watts and sound are what `flowrig reduce` makes of it.",
        example='"four-filter.toml"',
        table="test",
    ),
    Described(
        "prediction",
        "The record of its prediction: what `flowrig predict` makes of it.",
        example='"two-filter.toml"',
        table="predict",
    ),
    Given(
        "clean_air_rate",
        "Its stated clean-air rate, with its ±. Not a flow, and not a flow times an ePM efficiency.",
        kind="flow",
        above=0.0,
        high=MOST_AIR,
        limits="must",
        example='"410 m3/h ± 40 m3/h"',
    ),
    Text(
        "particles",
        "Sizes of the particles that the clean-air rate is for; of a test, which of its ranges is taken.",
        example='"0.3 to 1 um"',
    ),
    Given(
        "power",
        "True electrical power of one unit at that clean-air rate, in place of what test or prediction tell.",
        kind="power",
        low=0.0,
        high=1e6,
        example='"92 W ± 3 W"',
    ),
    Given(
        "sound",
        "A-weighted level of one unit, background taken off, in place of what the test tells.",
        kind="sound level",
        low=0.0,
        high=160.0,
        example='"52 dB ± 2 dB"',
    ),
    Given(
        "sound_distance",
        "Distance at which that level was found.",
        kind="length",
        above=0.0,
        limits="never",
        example='"1.5 m"',
    ),
    Text("notes", "Speed setting, state of the filters, where figures are printed."),
)
HOW = OneOf((("test",), ("prediction",), ("clean_air_rate",)))
CLEANERS = Table(
    "cleaners",
    "Air cleaners of one sort; a further section for each further sort.",
    CLEANER,
    alternatives=(HOW,),
    checks=(cleaner_checks,),
)
