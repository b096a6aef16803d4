"""What has to be known beside counts of particles to make a class or a clean-air rate of them."""

from __future__ import annotations

from flowrig.records.declare import Choice, Field, Given, Text

NOT_TOLD = "not told"
CLEAN, USED = "clean", "used"
SYSTEM, MEDIA = "system", "media"
CLEAN_AIR_FIELDS: tuple[Field, ...] = (
    Choice(
        "filter_state",
        "Whether the filters were clean or had been in use: a class of clean ones is at most an upper bound.",
        choices=(NOT_TOLD, CLEAN, USED),
        example='"clean"',
        asked=True,
    ),
    Choice(
        "measured_on",
        "Whether the air behind was taken from the outlet of the whole unit, what passes beside the filters mixed in, "
        "or from behind the filter media alone.",
        choices=(NOT_TOLD, SYSTEM, MEDIA),
        example='"system"',
        asked=True,
    ),
    Text(
        "of",
        "Which flow the counts were taken at, in the words of the [[flow]] sections' own field of, where the record "
        "holds several.",
        example='"speed 3"',
    ),
    Given(
        "flow",
        "Flow through the unit while the particles were counted, with its ±, where it was measured elsewhere and the "
        "record holds no [[flow]].",
        kind="flow",
        above=0.0,
        limits="must",
        example='"620 m3/h ± 30 m3/h"',
    ),
)
