"""Simulated meters between the flanges of a round pipe, on the pattern of `rigs`: only the error bars are on trial.

The errors of coefficient and expansibility are drawn as the standard states them: normal, with its uncertainty at 95 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from flowrig.methods import orifice_plate, pipe_nozzle, venturi_tube
from flowrig.physics.pipe import pipe_reynolds
from tests.coverage.rigs import Drawn, Meter, Rig, Rng, air

DEVICES = {
    "orifice-plate": ("plates", "plate", "tappings", orifice_plate.DEVICES),
    "pipe-nozzle": ("pipe_nozzles", "nozzle", "type", pipe_nozzle.DEVICES),
    "venturi-tube": ("venturi_tubes", "tube", "convergent", venturi_tube.DEVICES),
}


@dataclass(frozen=True)
class PipeMeter:
    """A meter with its pipe and manometer, and how it is read.

    Attributes
    ----------
    method, kind : str
    drop : float
        True drop, but for up to 4 % either way. [Pa]
    diameter, pipe : float
        As drawn: the bore true within 0.1 %, the pipe within 0.3 %. [mm]
    noise : float
        Scatter of one reading. [Pa]
    repeats : int
    manometer : tuple of float
        Share of reading, fixed part [Pa], digit [Pa].
    straight : {'full', 'reduced', 'too short'}
        What the record says. A reduced length adds 0.5 % to the uncertainty that the error is drawn from.
    short : float
        Too short a pipe: the coefficient is off by up to so much more, either way.
    """

    method: str
    kind: str
    drop: float
    diameter: float = 120.0
    pipe: float = 200.0
    noise: float = 0.5
    repeats: int = 12
    manometer: tuple[float, float, float] = (0.005, 0.25, 0.1)
    straight: str = "full"
    short: float = 0.0

    def draw(self, rng: Rng) -> Drawn:
        table, names, which, devices = DEVICES[self.method]
        here, device = air(rng), devices[self.kind]
        manometer = Meter(rng, *self.manometer)
        bore = self.diameter / 1e3 * (1 + rng.uniform(-1e-3, 1e-3))
        pipe = self.pipe / 1e3 * (1 + rng.uniform(-3e-3, 3e-3))
        static, drop = rng.uniform(-600, -200), self.drop * rng.uniform(0.96, 1.04)
        shown = manometer.show(drop + self.noise * rng.standard_normal(self.repeats))

        pressure, beta = here.pressure + static, bore / pipe
        density = here.density * pressure / here.pressure
        flow = float(device.flow(drop, density, pressure, here.viscosity, bore, beta))
        reynolds = pipe_reynolds(flow, density, here.viscosity, pipe)
        stated = float(device.coefficient_uncertainty(reynolds, beta, bore)) + 0.005 * (self.straight == "reduced")
        expansion = float(device.expansibility_uncertainty(1 - drop / pressure, beta))
        for uncertainty in (stated, expansion):
            flow *= 1 + uncertainty / 1.96 * rng.standard_normal()
        flow *= 1 + rng.uniform(-self.short, self.short)

        record = here.record
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        sizes = {"diameter": f"{self.diameter:g} mm ± 0.1 %", "pipe_diameter": f"{self.pipe:g} mm ± 0.3 %"}
        record[table] = {"A": {**sizes, which: self.kind, "serial": "A"}}
        record["flow"] = [
            {"method": self.method, names: "A", "drop": [f"{value:.6f} Pa" for value in shown],
             "static": f"{float(manometer.show(static)):.6f} Pa", "straight_length": self.straight}
        ]  # fmt: skip
        assert math.isfinite(flow)
        return Drawn(record, flow)


ORIFICE, NOZZLE, TUBE = DEVICES
RIGS: tuple[Rig, ...] = (
    Rig("plate, corner, 250 Pa", "normal", PipeMeter(ORIFICE, "corner", 250.0)),
    Rig("plate, flange, ratio 0.7, 1 kPa", "normal", PipeMeter(ORIFICE, "flange", 1000.0, diameter=140.0)),
    Rig("plate, D and D/2, pipe of 60 mm, 15 kPa", "normal",
        PipeMeter(ORIFICE, "d-and-half-d", 15e3, diameter=24.0, pipe=60.0)),
    Rig("plate, corner, 250 Pa, reduced length", "normal", PipeMeter(ORIFICE, "corner", 250.0, straight="reduced")),
    Rig("plate, corner, 25 Pa", "rectangular", PipeMeter(ORIFICE, "corner", 25.0), slow=True),
    Rig("plate, corner, 250 Pa, too short a length", "misspecified",
        PipeMeter(ORIFICE, "corner", 250.0, straight="too short", short=0.03), ("straight length too short",)),
    Rig("ISA 1932 nozzle, 500 Pa", "normal", PipeMeter(NOZZLE, "isa-1932", 500.0)),
    Rig("long-radius nozzle, 500 Pa", "normal", PipeMeter(NOZZLE, "long-radius", 500.0)),
    Rig("venturi nozzle, 3 kPa, reduced length", "normal",
        PipeMeter(NOZZLE, "venturi-nozzle", 3e3, straight="reduced")),
    Rig("venturi, as cast, 2 kPa", "normal", PipeMeter(TUBE, "as-cast", 2e3)),
    Rig("venturi, machined, 15 kPa", "normal", PipeMeter(TUBE, "machined", 15e3)),
    Rig("venturi, welded, 2 kPa", "normal", PipeMeter(TUBE, "welded", 2e3, diameter=180.0, pipe=300.0)),
)  # fmt: skip
