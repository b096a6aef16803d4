"""What any opening with a measured drop is told: a diameter without its ±, a drop that is no longer small."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flowrig.methods.method import Limit, Situation, Window, span
from flowrig.records.declare import FlagMeaning

EXACT = FlagMeaning(
    "opening without ±",
    "warning",
    "No ± stands beside the diameter of an opening, or of the pipe it is in, and it was taken as exact and round. The "
    "flow goes as the square of the opening's: 1 % of it is 2 % of flow, and more in a pipe. Measure it across at "
    "several angles and write the spread beside it.",
    "derivative of the flow equation",
)
LARGE_DROP = FlagMeaning(
    "large drop",
    "alarm",
    "The drop is more than a tenth of the absolute pressure: no fan in a workshop makes that, so the unit is in doubt. "
    "Where it is right, the expansion of the air matters and a coefficient found at small drops no longer holds.",
    "threshold: common practice, no source",
)
LEAST_RATIO = 0.9


def _exact(situation: Situation) -> list[str]:
    return [
        f"{name} of {piece.path[-1]}"
        for pieces in situation.hardware.values()
        for piece in pieces
        for name in ("diameter", "pipe_diameter")
        if name in piece and not piece[name].components
    ]


WITHOUT_LIMITS = Limit(EXACT, lambda s: bool(_exact(s)), lambda s: ", ".join(_exact(s)))
LIMITS = (
    WITHOUT_LIMITS,
    Limit(
        LARGE_DROP,
        lambda s: s.nominal["pressure_ratio"] < LEAST_RATIO,
        lambda s: f"pressure after over before {span(s.nominal['pressure_ratio'], '')}; {LEAST_RATIO:g} at least",
        window=Window("pressure_ratio", "pressure after over before", LEAST_RATIO, 1.0),
    ),
)


def widest(situation: Situation) -> float:
    """Diameter of the largest opening. [m]"""
    return float(np.max(situation.inputs["diameter"].value))


def closer(field: str, diameters: float) -> Callable[[Situation], bool]:
    """Whether a stated distance is less than so many diameters; one not stated is not."""
    return lambda s: field in s.section and bool(s.value(field) < diameters * widest(s))


def in_diameters(situation: Situation, field: str) -> str:
    """A stated distance in words, in diameters of the largest opening."""
    return f"{situation.value(field) / widest(situation):.2g} diameters"
