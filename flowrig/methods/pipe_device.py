"""One kind of meter in a round pipe, as its standard has it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from flowrig.methods.method import Situation
from flowrig.physics.pipe import Range, between, limit_ends, limits_kept
from flowrig.physics.si import Floats, Truth
from flowrig.records.items import Array

LEAST_RATIO = 0.75  # of the pressures, after over before; from memory


@dataclass(frozen=True)
class Device:
    """One kind of meter, as its standard has it. Every function takes SI arrays that broadcast.

    Attributes
    ----------
    equation : str
        What its coefficient comes from: kinds that share an equation share its error.
    flow : callable
        (drop, density, pressure, viscosity, diameter, beta) -> flow at the upstream tapping [m3/s]
    coefficient, coefficient_uncertainty : callable
        (reynolds, beta, diameter) -> discharge coefficient; its relative uncertainty at 95 %
    expansibility, expansibility_uncertainty : callable
        (pressure_ratio, beta) -> the same of the expansibility
    kept : callable
        (reynolds, beta, diameter, pressure_ratio) -> which limits of use are kept, by name
    ends : callable
        (beta, diameter) -> lowest and highest of the same, by name
    allowed : dict of str to str
        The same limits in words.
    widest : float
        Largest beta for which the standard states an uncertainty.
    """

    equation: str
    flow: Callable[[Floats, Floats, Floats, Floats, Floats, Floats], Floats]
    coefficient: Callable[[Floats, Floats, Floats], Floats]
    coefficient_uncertainty: Callable[[Floats, Floats, Floats], Floats]
    expansibility: Callable[[Floats, Floats], Floats]
    expansibility_uncertainty: Callable[[Floats, Floats], Floats]
    kept: Callable[[Floats, Floats, Floats, Floats], Mapping[str, Truth]]
    ends: Callable[[Floats, Floats], Mapping[str, tuple[Floats, Floats]]]
    allowed: Mapping[str, str]
    widest: float


def kept_by(limits: Range) -> Callable[[Floats, Floats, Floats, Floats], Mapping[str, Truth]]:
    """Limits of use of a nozzle or venturi tube, the pressure ratio among them."""

    def kept(reynolds: Floats, beta: Floats, diameter: Floats, pressure_ratio: Floats) -> Mapping[str, Truth]:
        ratio = between(pressure_ratio, LEAST_RATIO, 1.0)
        return {**limits_kept(limits, reynolds, beta, diameter), "pressure_ratio": ratio}

    return kept


def ends_by(limits: Range) -> Callable[[Floats, Floats], Mapping[str, tuple[Floats, Floats]]]:
    """The same as lowest and highest."""

    def ends(beta: Floats, diameter: Floats) -> Mapping[str, tuple[Floats, Floats]]:
        return {**limit_ends(limits, beta), "pressure_ratio": (LEAST_RATIO, 1.0)}

    return ends


def allowed_by(limits: Range) -> dict[str, str]:
    """The same in words."""
    slowest, fastest = limits.reynolds
    reynolds = f"{slowest:_.0f} to {fastest:_.0f}"
    if limits.wide_from:
        reynolds += f", below a diameter ratio of {limits.wide_from:g} {limits.slowest_narrow:_.0f} at least"
    return {
        "diameter": f"{1e3 * limits.diameter:g} mm at least",
        "pipe_diameter": " to ".join(f"{1e3 * end:g}" for end in limits.pipe_diameter) + " mm",
        "beta": " to ".join(f"{end:g}" for end in limits.beta),
        "reynolds": reynolds.replace("_", " "),
        "pressure_ratio": f"{LEAST_RATIO:g} at least",
    }


def device_of(situation: Situation) -> Device:
    device: Device = situation.options["device"]
    return device


def bore_of(situation: Situation) -> Array:
    return situation.inputs["diameter"].value
