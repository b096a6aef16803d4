"""Limits of error that nobody can mean: a slipped digit, or the number of another field."""

from __future__ import annotations

from collections.abc import Iterable

from flowrig import units
from flowrig.uncertainty.statement import Component

# By kind, SI: decibels are short numbers, and one digit too many is a factor of a hundred thousand in energy. Even a
# telephone is within 10 dB; own judgement, no source.
LARGEST = {"sound level": 20.0}


def too_large(kind: str, value: float, components: Iterable[Component]) -> str:
    """What is expected in place of limits of error that nobody can mean, at a value; empty where they can be meant."""
    most = LARGEST.get(kind)
    if most is None or not any(float(c.half_width(value)) > most for c in components):
        return ""
    return no_more(kind)


def no_more(kind: str) -> str:
    unit = units.default_display(kind)
    return f"an error of no more than {LARGEST[kind]:g} {unit}: beyond that a {kind} tells nothing"
