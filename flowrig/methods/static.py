"""The gauge static pressure in front of a meter: not stated, or not likely."""

from __future__ import annotations

import numpy as np

from flowrig.methods.method import Limit, Situation
from flowrig.records.declare import FlagMeaning
from flowrig.records.items import Array

UNKNOWN = FlagMeaning(
    "static pressure unknown",
    "note",
    "The static pressure in front of the meter was not given and is taken as the barometer's: 100 Pa of it are 0.1 % "
    "of the density.",
)
UNLIKELY = FlagMeaning(
    "unlikely static pressure",
    "alarm",
    "The static pressure in front of the meter is more than 3 % of the barometer's: more than fans and ducts of a "
    "workshop make, and more likely a wrong unit (hPa for Pa).",
    "threshold: common practice, no source",
)
MOST = 0.03


def _share(situation: Situation) -> Array:
    return np.abs(situation.inputs["static"].value / situation.inputs["pressure"].value)


LIMITS = (
    Limit(UNKNOWN, lambda s: "static" not in s.section, lambda s: "taken as zero gauge"),
    Limit(UNLIKELY, lambda s: _share(s) > MOST, lambda s: f"{100 * float(np.max(_share(s))):.1f} % of the barometer's"),
)
