"""The density at which a velocity display tells the truth."""

from __future__ import annotations

import math

import numpy as np

from flowrig.methods.method import Situation
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate

UNKNOWN = FlagMeaning(
    "display density unknown",
    "warning",
    "A velocity display is true at one density, and the record does not say at which (reference_density), nor that the "
    "instrument corrects itself (density_corrected = true). If it does, the flow is wrong by what its density differs "
    "from the air's (for a pitot display, by half of that), which is not in the error bar.",
)
FLAGS = (UNKNOWN,)
USUAL = (1.17, 1.23)  # datasheets refer to 20, 21.1 or 25 degC at sea level, dry or damp: common practice, no source


def reference_density(situation: Situation, reading: str) -> Estimate | None:
    """Reference density of the instrument behind a reading, or None where the display corrects itself.

    Where the datasheet is silent, the middle of the usual ones with their spread as a limit, with a warning.
    """
    instrument = situation.instruments.get(reading)
    if instrument is None:
        return None
    if instrument.section.value("density_corrected"):
        return None
    if "reference_density" in instrument.section:
        return given_estimate(
            instrument.section["reference_density"],
            instrument.identity,
            f"{instrument.label} reference density",
            "calibration",
        )
    low, high = USUAL
    cause = Cause(
        f"{instrument.identity}|reference density",
        shape="rectangular",
        scope="calibration",
        label=f"{instrument.label} reference density (not stated)",
    )
    away = (low + high) / 2 / float(np.mean(situation.air["density"].value)) - 1.0
    said = f"{instrument.name}: {low:g} to {high:g} kg/m3 assumed, {100 * abs(away):.0f} % from the air's"
    situation.findings.append(Finding(UNKNOWN, said))
    return Estimate((low + high) / 2, (), {cause: [(high - low) / 2 / math.sqrt(3)]})
