"""Of which particles an efficiency or a clean-air rate is said to be, and what no clean-air rate is of."""

from __future__ import annotations

import re
from collections.abc import Sequence

from flowrig.records.declare import Wrong
from flowrig.records.files import quoted
from flowrig.records.items import Section
from flowrig.records.particle_words import TEST_DUSTS, sizes_of

# ePM1, PM2.5, PM 10: whatever weighs particles by their volume
_WEIGHED = re.compile(r"\be?\s?PM[\s_]?(?:10|2[.,_]5|1)(?![\d.,])", re.IGNORECASE)
NAMES = ", ".join(quoted(name) for name in TEST_DUSTS)
EXPECTED = f'two sizes, as in "0.3 to 1 um", or one of {NAMES}'
BY_VOLUME = (
    "particles between two sizes: an ePM or PM weighs particles by their volume, and flow times ePM is not a "
    "clean-air rate"
)


def weighed_by_volume(text: str) -> str:
    """The ePM in a text about particles, as written; empty where there is none."""
    found = _WEIGHED.search(text)
    return found[0] if found is not None else ""


def refused_rate(section: Section) -> Sequence[Wrong]:
    """Check of a table whose ``particles`` are those of a clean-air rate: flow times ePM is refused under that name."""
    weighed = weighed_by_volume(section.value("particles", ""))
    if not weighed:
        return []
    remedy = f'Write the sizes that the rate is for, as in "0.3 to 1 um"; {weighed} may stand with an efficiency alone.'
    return [Wrong("particles", BY_VOLUME, remedy)]


def claimed_particles(section: Section) -> Sequence[Wrong]:
    """Check of a table whose ``particles`` are those of an efficiency or a clean-air rate."""
    said = section.value("particles", "")
    if not said or weighed_by_volume(said):
        return refused_rate(section) if "clean_air_rate" in section else []
    if sizes_of(said) is not None:
        return []
    expected = f"{EXPECTED}; for an efficiency ePM1, ePM2.5 or ePM10 as well"
    return [Wrong("particles", expected, "Write both sizes with their unit, the smaller first.")]
