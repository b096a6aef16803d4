"""What a prediction holds of sound: how loud one cleaner is, and what several slower ones may come to together."""

from __future__ import annotations

from collections.abc import Sequence

from flowrig.records.declare import Count, Described, Given, OneOf, Table, Text, Wrong
from flowrig.records.items import Section

MOST_UNITS = 8  # tried where nothing is said


def _checks(section: Section) -> Sequence[Wrong]:
    if "level" in section and "distance" not in section:
        return [
            Wrong("distance", "how far from the cleaner that level was read", 'Add distance = "1.5 m", for instance.')
        ]
    return []


NOISE = Table(
    "noise",
    "How loud one such cleaner is, to find how many slower ones give as much air without more noise. Fan and bank are "
    "brought into balance again at each lower speed; each cleaner has its own filters.",
    (
        Described(
            "test",
            "The record of its test: level and distance are what `flowrig reduce` makes of its [sound], and each cause "
            "of error stays known as what it is.",
            example='"four-filter.toml"',
            table="sound",
        ),
        Given(
            "level",
            "A-weighted level of one cleaner, its background taken off, at the distance below, in place of a test.",
            kind="sound level",
            limits="must",
            low=0.0,
            high=160.0,
            example='"57.0 dB ± 2 dB"',
        ),
        Given(
            "distance",
            "How far from the cleaner; of a test only where that does not say it. Several together are heard from as "
            "far away from each.",
            kind="length",
            limits="never",
            above=0.0,
            high=100.0,
            example='"1.5 m"',
        ),
        Given(
            "speed_ratio",
            "Speed at which the level was read, over that of the fan's curve.",
            kind="ratio",
            limits="never",
            default="100 %",
            above=0.0,
            high=2.0,
            example='"100 %"',
        ),
        Given(
            "slope",
            "By how much the level rises for ten times the speed. 50 dB is the usual rule of fans; the ± of 5 dB is "
            "own judgement. Levels of one cleaner at two settings, and their speeds, tell it better.",
            kind="sound level",
            default="50 dB ± 5 dB",
            low=20.0,
            high=80.0,
            example='"50 dB ± 5 dB"',
        ),
        Given(
            "limit",
            "Level that all together may not exceed at that distance. Without it: no louder than one at the speed of "
            "[predict].",
            kind="sound level",
            limits="never",
            low=0.0,
            high=160.0,
            example='"50 dB"',
        ),
        Given(
            "required_flow",
            "Flow that all together are to give; required_clean_air in [predict] goes before it. Without either: as "
            "much as one at the speed of [predict].",
            kind="flow",
            limits="never",
            above=0.0,
            example='"1200 m3/h"',
        ),
        Count("most", f"Up to how many cleaners to try; {MOST_UNITS} where nothing is said.", high=100, example="6"),
        Text("notes", "Where the level is from."),
    ),
    alternatives=(OneOf((("level",), ("test",))),),
    checks=(_checks,),
)
