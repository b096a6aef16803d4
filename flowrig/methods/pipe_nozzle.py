"""Nozzle between the flanges of a round pipe."""

from __future__ import annotations

from flowrig.methods import pipe_meter
from flowrig.methods.pipe_device import Device, allowed_by, ends_by, kept_by
from flowrig.physics.nozzle import nozzle_expansibility
from flowrig.physics.pipe_nozzle import (
    ISA_1932_LIMITS,
    LONG_RADIUS_COEFFICIENT_UNCERTAINTY,
    LONG_RADIUS_LIMITS,
    isa_1932_coefficient,
    isa_1932_coefficient_uncertainty,
    isa_1932_flow,
    long_radius_coefficient,
    long_radius_flow,
    pipe_nozzle_expansibility_uncertainty,
)
from flowrig.physics.si import Floats
from flowrig.physics.venturi import (
    VENTURI_NOZZLE_LIMITS,
    venturi_expansibility_uncertainty,
    venturi_flow,
    venturi_nozzle_coefficient,
    venturi_nozzle_coefficient_uncertainty,
)
from flowrig.records.declare import Choice, Names


def _venturi_nozzle_flow(
    drop: Floats, density: Floats, pressure: Floats, viscosity: Floats, diameter: Floats, beta: Floats
) -> Floats:
    return venturi_flow(drop, density, pressure, diameter, beta, venturi_nozzle_coefficient(beta))


DEVICES = {
    "isa-1932": Device(
        equation="isa-1932",
        flow=isa_1932_flow,
        coefficient=lambda reynolds, beta, diameter: isa_1932_coefficient(reynolds, beta),
        coefficient_uncertainty=lambda reynolds, beta, diameter: isa_1932_coefficient_uncertainty(beta),
        expansibility=nozzle_expansibility,
        expansibility_uncertainty=lambda pressure_ratio, beta: pipe_nozzle_expansibility_uncertainty(pressure_ratio),
        kept=kept_by(ISA_1932_LIMITS),
        ends=ends_by(ISA_1932_LIMITS),
        allowed=allowed_by(ISA_1932_LIMITS),
        widest=ISA_1932_LIMITS.beta[1],
    ),
    "long-radius": Device(
        equation="long-radius",
        flow=long_radius_flow,
        coefficient=lambda reynolds, beta, diameter: long_radius_coefficient(reynolds, beta),
        coefficient_uncertainty=lambda reynolds, beta, diameter: LONG_RADIUS_COEFFICIENT_UNCERTAINTY,
        expansibility=nozzle_expansibility,
        expansibility_uncertainty=lambda pressure_ratio, beta: pipe_nozzle_expansibility_uncertainty(pressure_ratio),
        kept=kept_by(LONG_RADIUS_LIMITS),
        ends=ends_by(LONG_RADIUS_LIMITS),
        allowed=allowed_by(LONG_RADIUS_LIMITS),
        widest=LONG_RADIUS_LIMITS.beta[1],
    ),
    "venturi-nozzle": Device(
        equation="venturi-nozzle",
        flow=_venturi_nozzle_flow,
        coefficient=lambda reynolds, beta, diameter: venturi_nozzle_coefficient(beta),
        coefficient_uncertainty=lambda reynolds, beta, diameter: venturi_nozzle_coefficient_uncertainty(beta),
        expansibility=nozzle_expansibility,
        expansibility_uncertainty=venturi_expansibility_uncertainty,
        kept=kept_by(VENTURI_NOZZLE_LIMITS),
        ends=ends_by(VENTURI_NOZZLE_LIMITS),
        allowed=allowed_by(VENTURI_NOZZLE_LIMITS),
        widest=VENTURI_NOZZLE_LIMITS.beta[1],
    ),
}
PIPE_NOZZLES = pipe_meter.hardware(
    "pipe_nozzles",
    "A nozzle between the flanges of a round pipe, and that pipe.",
    "Diameter of the throat, at the temperature of the test.",
    Choice(
        "type",
        "Shape of the nozzle: isa-1932 (corner tappings), long-radius (tappings one pipe diameter before and half of "
        "one after the inlet), venturi-nozzle (an isa-1932 inlet, a tapping in the throat and a diffuser).",
        required=True,
        choices=tuple(DEVICES),
        example='"isa-1932"',
    ),
)
METHOD = pipe_meter.pipe_meter(
    name="pipe-nozzle",
    title="Nozzle in a pipe",
    help_="Static pressure drop across a nozzle between the flanges of a round pipe; the standard's coefficient, "
    "iterated on the pipe Reynolds number where it depends on it.",
    source="ISO 5167-3 (edition not to hand) with ISO 5167-1:2003; equations read in the documentation of an "
    "open-source library, limits of use and uncertainties from memory",
    table=PIPE_NOZZLES,
    names=Names(
        "nozzle",
        "The nozzle, described once under [pipe_nozzles.…].",
        required=True,
        table="pipe_nozzles",
        example='"A"',
    ),
    kind="type",
    devices=DEVICES,
    equations={
        "isa-1932": "ISA 1932 nozzle",
        "long-radius": "long-radius nozzle",
        "venturi-nozzle": "venturi nozzle",
    },
    sources=("ISO 5167-3 (from memory, the 0.5 % too)", "ISO 5167-3 (from memory)"),
    conventions=(
        "ISO 5167-3: coefficient iterated on the pipe Reynolds number; that of a venturi nozzle does not depend on it",
        "isentropic expansibility",
        "limits of use and uncertainties from memory",
    ),
)
