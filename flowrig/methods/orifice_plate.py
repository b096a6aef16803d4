"""Orifice plate between the flanges of a round pipe."""

from __future__ import annotations

from collections.abc import Callable

from flowrig.methods import pipe_meter
from flowrig.methods.pipe_device import Device
from flowrig.physics.orifice import (
    CORNER,
    D_AND_HALF_D,
    Positions,
    orifice_coefficient,
    orifice_coefficient_uncertainty,
    orifice_expansibility,
    orifice_expansibility_uncertainty,
    orifice_flange_position,
    orifice_flow,
    orifice_limit_ends,
    orifice_limits,
)
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Names

Placed = Callable[[Floats, Floats], Positions]
OTHERS = "5000 at least, above a diameter ratio of 0.56 also 16 000 times its square"
FLANGED = "5000 at least, and 170 times the square of the diameter ratio times the pipe in mm"


def _flange(beta: Floats, diameter: Floats) -> Positions:
    position = orifice_flange_position(beta, diameter)
    return position, position


def _plate(placed: Placed, *, flange: bool = False) -> Device:
    """`placed` says where the tappings are, from beta and the bore."""
    return Device(
        equation="orifice",
        flow=lambda drop, density, pressure, viscosity, diameter, beta: orifice_flow(
            drop, density, pressure, viscosity, diameter, beta, placed(beta, diameter)
        ),
        coefficient=lambda reynolds, beta, diameter: orifice_coefficient(
            reynolds, beta, diameter, placed(beta, diameter)
        ),
        coefficient_uncertainty=orifice_coefficient_uncertainty,
        expansibility=orifice_expansibility,
        expansibility_uncertainty=lambda pressure_ratio, beta: orifice_expansibility_uncertainty(pressure_ratio),
        kept=lambda reynolds, beta, diameter, pressure_ratio: orifice_limits(
            reynolds, beta, diameter, pressure_ratio, flange=flange
        ),
        ends=lambda beta, diameter: orifice_limit_ends(beta, diameter, flange=flange),
        allowed={
            "diameter": "12.5 mm at least",
            "pipe_diameter": "50 to 1000 mm",
            "beta": "0.1 to 0.75",
            "reynolds": FLANGED if flange else OTHERS,
            "pressure_ratio": "0.75 at least",
        },
        widest=0.75,
    )


DEVICES = {
    "corner": _plate(lambda beta, diameter: CORNER),
    "d-and-half-d": _plate(lambda beta, diameter: D_AND_HALF_D),
    "flange": _plate(_flange, flange=True),
}
PLATES = pipe_meter.hardware(
    "plates",
    "An orifice plate with a square upstream edge, and the pipe it stands in.",
    "Diameter of the bore, at the temperature of the test.",
    Choice(
        "tappings",
        "Where the pressures are taken: corner (in the corners of plate and pipe), d-and-half-d (one pipe diameter "
        "before and half of one after the upstream face), flange (25.4 mm before and after the plate).",
        required=True,
        choices=tuple(DEVICES),
        example='"corner"',
    ),
)
METHOD = pipe_meter.pipe_meter(
    name="orifice-plate",
    title="Orifice plate in a pipe",
    help_="Static pressure drop across a plate with a square-edged hole between the flanges of a round pipe; the "
    "standard's coefficient, iterated on the pipe Reynolds number.",
    source="ISO 5167-2:2003 with ISO 5167-1:2003; constants of the coefficient read in the documentation of an "
    "open-source library, uncertainty of the coefficient up to a diameter ratio of 0.6 and the least pressure ratio "
    "from memory",
    table=PLATES,
    names=Names("plate", "The plate, described once under [plates.…].", required=True, table="plates", example='"A"'),
    kind="tappings",
    devices=DEVICES,
    equations={"orifice": "orifice plate"},
    sources=(
        "ISO 5167-2:2003, 5.3.3.1 (read; up to a diameter ratio of 0.6 from memory); 0.5 %: 6.2 (clause from memory)",
        "ISO 5167-2:2003, 5.3.3.2 (read)",
    ),
    conventions=(
        "ISO 5167-2:2003: Reader-Harris/Gallagher coefficient, iterated on the pipe Reynolds number",
        "expansibility of the 2003 edition; that of 1991 is 0.04 % lower at a pressure ratio of 0.99",
    ),
)
