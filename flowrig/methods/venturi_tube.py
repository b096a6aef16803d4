"""Classical venturi tube in a round pipe."""

from __future__ import annotations

import numpy as np

from flowrig.methods import pipe_meter
from flowrig.methods.pipe_device import Device, allowed_by, ends_by, kept_by
from flowrig.physics.nozzle import nozzle_expansibility
from flowrig.physics.venturi import (
    AS_CAST_VENTURI,
    MACHINED_VENTURI,
    WELDED_VENTURI,
    ClassicalVenturi,
    venturi_expansibility_uncertainty,
    venturi_flow,
)
from flowrig.records.declare import Choice, Names


def _tube(name: str, tube: ClassicalVenturi) -> Device:
    return Device(
        equation=name,
        flow=lambda drop, density, pressure, viscosity, diameter, beta: venturi_flow(
            drop, density, pressure, diameter, beta, tube.coefficient
        ),
        coefficient=lambda reynolds, beta, diameter: np.asarray(tube.coefficient),
        coefficient_uncertainty=lambda reynolds, beta, diameter: tube.coefficient_uncertainty,
        expansibility=nozzle_expansibility,
        expansibility_uncertainty=venturi_expansibility_uncertainty,
        kept=kept_by(tube.limits),
        ends=ends_by(tube.limits),
        allowed=allowed_by(tube.limits),
        widest=tube.limits.beta[1],
    )


TUBES = {"as-cast": AS_CAST_VENTURI, "machined": MACHINED_VENTURI, "welded": WELDED_VENTURI}
DEVICES = {name: _tube(name, tube) for name, tube in TUBES.items()}
VENTURI_TUBES = pipe_meter.hardware(
    "venturi_tubes",
    "A classical venturi tube, and the pipe before it.",
    "Diameter of the throat, at the temperature of the test.",
    Choice(
        "convergent",
        "How the convergent part was made: as-cast, machined, or welded (rough sheet iron).",
        required=True,
        choices=tuple(DEVICES),
        example='"machined"',
    ),
)
METHOD = pipe_meter.pipe_meter(
    name="venturi-tube",
    title="Classical venturi tube in a pipe",
    help_="Static pressure before a classical venturi tube less that in its throat; the standard's coefficient for how "
    "its convergent part was made.",
    source="ISO 5167-4:2003 with ISO 5167-1:2003; coefficients read in an open-source library, limits of use and "
    "uncertainties from memory",
    table=VENTURI_TUBES,
    names=Names(
        "tube",
        "The tube, described once under [venturi_tubes.…].",
        required=True,
        table="venturi_tubes",
        example='"A"',
    ),
    kind="convergent",
    devices=DEVICES,
    equations={
        "as-cast": "as-cast venturi",
        "machined": "machined venturi",
        "welded": "welded venturi",
    },
    sources=("ISO 5167-4:2003 (from memory, the 0.5 % too)", "ISO 5167-4:2003 (from memory)"),
    conventions=(
        "ISO 5167-4:2003: one coefficient for each kind of tube, within its limits of use",
        "isentropic expansibility",
        "limits of use and uncertainties from memory",
    ),
)
