"""Words for the particles that a target is of, as a range of sizes, and whether a rate is of the same ones."""

from __future__ import annotations

import math
import re
from typing import Literal

from flowrig.physics.size_averages import CLEAN_AIR_RANGES
from flowrig.records.sizes import Sizes, micrometres, read_sizes
from flowrig.records.words import folded

Match = Literal["within", "partly", "apart", "not known"]

TEST_DUSTS = {name: Sizes(*ends) for name, ends in CLEAN_AIR_RANGES.items()}  # [m]
COUNTED_FROM = 0.3e-6  # m; smaller particles no handheld counter sees
ALIKE = 0.1  # of a size: ends this near are the same end; counters do not tell more
MASS_BELOW = re.compile(r"pm\s*(\d+(?:\.\d+)?)")
CLASS_AVERAGE = re.compile(r"\bepm\s*\d")


def is_class_average(words: str) -> bool:
    """Whether these are no particles but an average of ISO 16890 over its own mixture of sizes, such as ePM1."""
    return CLASS_AVERAGE.search(words.casefold()) is not None


def sizes_of(words: str) -> Sizes | None:
    """The range of sizes that some words stand for; None where they say none.

    Smoke, dust and pollen are those of the tests of air cleaners (ANSI/AHAM AC-1, from memory), PM2.5 and its like all
    particles below that size. A range may stand behind the word for smoke: ``smoke, 0.3 to 1 um``.
    """
    text = folded(words)
    named = next((word for word in TEST_DUSTS if text == word or text.startswith((f"{word} ", f"{word},"))), "")
    rest = text.removeprefix(named).strip(" ,:()")
    if not rest:
        return TEST_DUSTS.get(named)
    if found := MASS_BELOW.fullmatch(rest):
        return Sizes(0.0, float(found[1]) * 1e-6)
    try:
        sizes = read_sizes(rest)
    except ValueError:
        return None
    if named and math.isinf(sizes.upper) and sizes.lower < TEST_DUSTS[named].upper:
        return Sizes(sizes.lower, TEST_DUSTS[named].upper)
    return sizes


def in_words(sizes: Sizes) -> str:
    """A range as it is said, one without a lower end too."""
    return f"up to {micrometres(sizes.upper)} um" if sizes.lower == 0.0 else str(sizes)


def match(of: str, wanted: str) -> Match:
    """How far a rate that is of some particles holds for those that are wanted.

    Returns
    -------
    {'within', 'partly', 'apart', 'not known'}
        ``within``: it is of sizes that all belong to the wanted range, from its smallest on, or from the smallest that
        is counted: larger ones are held back better, so that a rate of them alone promises too much. ``not known``
        where words say no sizes and differ.
    """
    if folded(of) == folded(wanted):
        return "within"
    own, range_ = sizes_of(of), sizes_of(wanted)
    if own is None or range_ is None:
        return "not known"
    least, most = range_.lower * (1.0 - ALIKE), max(range_.lower, COUNTED_FROM) * (1.0 + ALIKE)
    if least <= own.lower <= most and own.upper <= range_.upper * (1.0 + ALIKE):
        return "within"
    apart = own.lower >= range_.upper * (1.0 - ALIKE) or own.upper <= range_.lower * (1.0 + ALIKE)
    return "apart" if apart else "partly"
