"""Limits of use of a meter in a round pipe, and what its record leaves open."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from flowrig.methods import opening
from flowrig.methods.method import Limit, Situation, Window, span
from flowrig.methods.pipe_device import bore_of, device_of
from flowrig.physics.si import Floats, Truth
from flowrig.records.declare import FlagMeaning
from flowrig.records.items import Array

OUT_OF_USE = "Coefficient and error bar are then an extrapolation, and how far they are off is not known."
READ = "ISO 5167-2:2003 (read in the documentation of an open-source library); ISO 5167-3 and -4 from memory"
BORE = FlagMeaning(
    "bore outside limits",
    "alarm",
    f"The bore or throat is smaller than the standard has a coefficient for. {OUT_OF_USE}",
    READ,
)
PIPE = FlagMeaning(
    "pipe outside limits",
    "alarm",
    f"The pipe is narrower or wider than the standard has a coefficient for. {OUT_OF_USE}",
    READ,
)
BETA = FlagMeaning(
    "diameter ratio outside limits",
    "alarm",
    "The diameter of the bore or throat over that of the pipe is smaller or greater than the standard has a "
    f"coefficient for. {OUT_OF_USE}",
    READ,
)
REYNOLDS = FlagMeaning(
    "pipe Reynolds number outside limits",
    "alarm",
    f"The Reynolds number of the pipe is outside what the standard has a coefficient for. {OUT_OF_USE} Where it is too "
    "low, take a smaller meter in a smaller pipe.",
    READ,
)
RATIO = FlagMeaning(
    "pressure ratio outside limits",
    "alarm",
    "The pressure after over the pressure before is lower than the standard has an expansibility for. " + OUT_OF_USE,
    "ISO 5167-2:2003, taken for ISO 5167-3 and -4 too (from memory)",
)
STRAIGHT_UNKNOWN = FlagMeaning(
    "straight length not stated",
    "warning",
    "The record does not say how the straight pipe before and after the meter compares with the standard's lengths, "
    "and it was taken as long enough. Close behind a bend, damper or fan the coefficient is another one, and the error "
    "bar does not hold it.",
    "ISO 5167-1:2003, installation conditions (from memory)",
)
STRAIGHT_SHORT = FlagMeaning(
    "straight length too short",
    "alarm",
    "The straight pipe is shorter than the shorter of the standard's lengths, or reduced on both sides. The standard "
    "has no figure for what that does to the coefficient; it is not in the error bar, and none was made up. Lengthen "
    "the pipe, fit a flow conditioner that the standard knows, or calibrate the meter where it stands.",
    "ISO 5167-2:2003, 6.2 (clause from memory)",
)

# limit of use -> its flag, its name in a message, what stands there, and that value's scale and unit
OF_USE: Mapping[str, tuple[FlagMeaning, str, Callable[[Situation], Array], float, str]] = {
    "diameter": (BORE, "bore", bore_of, 1e3, "mm"),
    "pipe_diameter": (PIPE, "pipe", lambda s: bore_of(s) / s.nominal["beta"], 1e3, "mm"),
    "beta": (BETA, "diameter ratio", lambda s: s.nominal["beta"], 1.0, ""),
    "reynolds": (REYNOLDS, "pipe Reynolds number", lambda s: s.nominal["reynolds"], 1.0, ""),
    "pressure_ratio": (RATIO, "pressure ratio", lambda s: s.nominal["pressure_ratio"], 1.0, ""),
}


def _missed(key: str) -> Callable[[Situation], Truth]:
    def missed(situation: Situation) -> Truth:
        n = situation.nominal
        kept = device_of(situation).kept(n["reynolds"], n["beta"], bore_of(situation), n["pressure_ratio"])[key]
        return np.logical_not(kept) & np.isfinite(OF_USE[key][2](situation))

    return missed


# what of it can be drawn as a range: name in the kernel, words, kind and unit
DRAWN: Mapping[str, tuple[str, str, str, str]] = {
    "diameter": ("diameter", "bore", "length", "mm"),
    "pipe_diameter": ("pipe_diameter", "pipe", "length", "mm"),
    "beta": ("beta", "diameter ratio", "ratio", "1"),
    "reynolds": ("reynolds", "pipe Reynolds number", "ratio", "1"),
    "pressure_ratio": ("pressure_ratio", "pressure after over before", "ratio", "1"),
}


def _window(key: str) -> Window:
    def end(which: int) -> Callable[[Situation], Floats]:
        return lambda s: device_of(s).ends(s.nominal["beta"], bore_of(s))[key][which]

    of, words, kind, unit = DRAWN[key]
    return Window(of, words, end(0), end(1), kind, unit, wide=key in ("reynolds", "diameter", "pipe_diameter"))


def _said(key: str) -> Callable[[Situation], str]:
    def said(situation: Situation) -> str:
        _, name, value, scale, unit = OF_USE[key]
        return f"{name} {span(scale * value(situation), unit, 4)}; standard: {device_of(situation).allowed[key]}"

    return said


LIMITS = (
    *(Limit(meaning, _missed(key), _said(key), window=_window(key)) for key, (meaning, *_) in OF_USE.items()),
    Limit(
        STRAIGHT_SHORT,
        lambda s: s.value("straight_length") == "too short",
        lambda s: "no figure for its error; the error bar is that of a full length",
    ),
    Limit(
        STRAIGHT_UNKNOWN,
        lambda s: s.value("straight_length") == "not stated",
        lambda s: "taken as the standard's full lengths",
    ),
    opening.WITHOUT_LIMITS,
)
