"""Simulated calibrations: points are drawn, flowrig fits the curve and writes its file, and a later test uses that.

Unlike `box_rigs`, whose file is written by the rig itself, all from the points to the file is on trial here. What every
instrument got wrong, and the reference, is drawn once a rig and stands in every point; the noise of a point, the
mounting and the rounding of displays do not. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Protocol

import numpy as np

from flowrig.physics.box import box_flow
from flowrig.physics.inlet import inlet_flow
from flowrig.physics.nozzle import nozzle_flow
from flowrig.records.declare import Finding
from flowrig.studies.calibrate import calibrate
from flowrig.studies.calibration_file import file_text
from tests.coverage.box_rigs import LIMIT, PIVOT
from tests.coverage.face_rigs import Face
from tests.coverage.inlet_rigs import Inlet
from tests.coverage.leak_rigs import DROP, Leaky
from tests.coverage.rigs import (
    COEFFICIENT,
    Air,
    AirErrors,
    Array,
    Drawn,
    Meter,
    Pair,
    Rig,
    Rng,
    Setup,
    Taken,
    air,
    main_flow,
)

SIZE = 0.1  # throat of the reference [m], known to 0.1 %
Told = tuple[Callable[[Array, Air], Array], dict[str, Any]]  # a meter's flows, and what a record says of it
ALOFT = (800.0, 850.0)  # barometer of a bench at some 1700 m [hPa]


@dataclass(frozen=True)
class Bench:
    """The meter that the points are held against: a nozzle, or an inlet whose coefficient has a certificate.

    Attributes
    ----------
    within : float
        Stated ± of the inlet's coefficient; with none it is a nozzle, as well known as its standard's equation.
    certificate : bool
        The ± has k = 2, in place of being a bare limit.
    """

    within: float = 0.0
    certificate: bool = True

    def meter(self, rng: Rng) -> Told:
        """From its drops to its flows, one error in all of them; and what the record says of it."""
        size = SIZE * (1 + rng.uniform(-1e-3, 1e-3))
        error = rng.standard_normal() / 2 if self.certificate else rng.uniform(-1, 1)
        piece: dict[str, Any] = {"diameter": f"{SIZE:g} m ± {1e-3 * SIZE:g} m", "serial": "N"}
        if self.within:
            k = " (k=2)" if self.certificate else ""
            piece |= {"coefficient": f"0.97 ± {self.within:g}{k}", "least_reynolds": 10000, "expansion": "apart",
                      "tapping": "as calibrated"}  # fmt: skip
            flow = {"method": "inlet", "inlet": "N", "clear_distance": "2 m"}
            return partial(_through_inlet, size, 0.97 + self.within * error), {"inlets": {"N": piece}, "flow": [flow]}
        flow = {"method": "nozzle", "open": ["N"]}
        piece["made"] = "machined"
        return partial(_through_nozzle, size, 1 + 2 * COEFFICIENT * error), {"nozzles": {"N": piece}, "flow": [flow]}


def _through_inlet(size: float, coefficient: float, drop: Array, here: Air) -> Array:
    return np.asarray(inlet_flow(drop, here.density, here.pressure, size, coefficient))


def _through_nozzle(size: float, factor: float, drop: Array, here: Air) -> Array:
    return factor * np.asarray(nozzle_flow(drop, here.density, here.pressure, here.viscosity, size, 0.6))


@dataclass(frozen=True)
class FittedBox:
    """A box, the calibration that flowrig makes of its points, and a test with it on another day.

    Attributes
    ----------
    drop : float
        True mean drop of the test, but for up to 4 % either way. [Pa]
    points : int
        Of each mounting.
    bench : Bench
    same : bool
        The manometer of the test read the box at its calibration.
    one : bool
        That manometer read the reference there too, and not a third.
    scatter : float
        Of the flow of one point.
    barometer : tuple of float
        Within which that of the calibration's day lies. [hPa]
    remount : float
        Scatter of one mounting.
    mountings : int
        How many were calibrated.
    told : bool
        The record of the test says that the box was mounted anew, where it was.
    left : bool
        The box still stands in the last of its mountings, and the record says so.
    limit : float
        The box passes more or less after remounting by anything within this, which the calibration states.
    half : bool
        It is a sharp hole: its exponent is 0.5, and the fit is told so.
    """

    drop: float = 80.0
    points: int = 15
    bench: Bench = field(default_factory=Bench)
    same: bool = True
    one: bool = True
    scatter: float = 0.005
    barometer: tuple[float, float] = (960.0, 1015.0)
    remount: float = 0.0
    mountings: int = 1
    told: bool = True
    left: bool = False
    limit: float = 0.0
    half: bool = False

    def draw(self, rng: Rng, reader: Rng | None = None) -> Drawn:
        """`reader` draws what differs from run to run of one box and one calibration."""
        errors = AirErrors(rng)
        there, here = air(rng, errors, self.barometer), air(rng, errors)
        own, other, third = (Meter(rng, *LIMIT) for _ in range(3))
        truth = {
            "calibrated_flow": rng.uniform(0.1, 0.16), "calibrated_drop": PIVOT,
            "exponent": 0.5 if self.half else rng.uniform(0.5, 0.62),
            "calibrated_density": here.density, "calibrated_viscosity": here.viscosity,
        }  # fmt: skip
        bench = (own, "own") if self.same else (other, "other")
        meter, mountings = self.bench.meter(rng), 1 + self.remount * rng.standard_normal(self.mountings)
        reference = bench if self.one else (third, "third")
        file, findings = self._calibration(rng, there, truth, meter, mountings, bench, reference)
        mounted = 1 + self.remount * rng.standard_normal() + rng.uniform(-self.limit, self.limit)
        mounted = mountings[-1] if self.left else mounted
        reader = reader or rng
        drop = self.drop * reader.uniform(0.96, 1.04)
        shown = own.show(drop + 0.3 * reader.standard_normal(8))
        record = here.record
        record["instruments"]["manometer"] = named(own, "own")
        anew = self.told and not self.left and bool(self.remount or self.limit)
        record["flow"] = [
            {"method": "box", "static": "0 Pa", "drop": [f"{x:.6f} Pa" for x in shown], "calibration": file,
             "remount": "remounted" if anew else "as calibrated"}
        ]  # fmt: skip
        flow = mounted * float(box_flow(drop, here.density, here.viscosity, **truth))
        return Drawn(record, flow, lambda record: with_findings(main_flow(record), findings))

    def _calibration(
        self,
        rng: Rng,
        there: Air,
        truth: dict[str, float],
        meter: Told,
        mountings: Array,
        box: tuple[Meter, str],
        reference: tuple[Meter, str],
    ) -> tuple[dict[str, Any], list[Finding]]:
        """The file of its calibration in the air `there`, by two manometers and their names."""
        flow_of, said = meter
        ends = np.array([10.0, 320.0]) / PIVOT
        drops = between(ends, truth["calibrated_flow"], truth["exponent"], there, self.points)
        drops = np.tile(drops, self.mountings)
        mounting = np.repeat(mountings, self.points)
        on_the_curve = flow_of(drops, there) / mounting / (1 + self.scatter * rng.standard_normal(len(drops)))
        through = box_drop(on_the_curve, there, truth)
        points = {
            "indication [Pa]": np.round(box[0].show(through), 6),
            "drop [Pa]": np.round(reference[0].show(drops), 6),
            "mounting": np.repeat(np.arange(self.mountings) + 1, self.points),
        }
        record = there.record | said | {"by": "nobody", "flow_unit": "m3/s", "title": "Simulated box"}
        task: dict[str, Any] = {
            "calibrates": "box", "serial": "BOX", "formula": "power law", "due": dt.date(2027, 8, 1), "points": points,
        }  # fmt: skip
        if self.half:
            task["exponent"] = 0.5
        if self.limit:
            task["remount_limit"] = self.limit
        record["instruments"] |= {name: named(meter, name) for meter, name in (box, reference)}
        record["flow"][0]["with"] = {"drop": reference[1]}
        task["with"] = {"indication": box[1]}
        return written(record | {"calibration": task})


def between(ends: Array, flow: float, exponent: float, here: Air, number: int) -> Array:
    """Drops of the reference that make what is calibrated stand about between two ends, over where it passes `flow`."""
    velocity = flow * ends**exponent / (0.25 * math.pi * SIZE**2)
    return np.geomspace(*(velocity**2 * here.density / 2), number)


def named(meter: Meter, name: str) -> dict[str, str]:
    return meter.words("pressure difference", "Pa") | {"serial": name}


def box_drop(flow: Array, here: Air, truth: dict[str, float]) -> Array:
    """Drop of the box at some flows; its power law the other way round."""
    at_pivot = box_flow(PIVOT, here.density, here.viscosity, **truth)
    return np.asarray(PIVOT * (flow / at_pivot) ** (1 / truth["exponent"]))


def written(record: dict[str, Any]) -> tuple[dict[str, Any], list[Finding]]:
    """The file that a calibration is kept in, as read again, and what was found on the way."""
    done = calibrate(record)
    return tomllib.loads(file_text(done)), done.findings


def with_findings(taken: Taken, more: list[Finding]) -> Taken:
    return taken[0], taken[1], [*taken[2], *more]


class Reference(Protocol):
    """What a meter is calibrated against."""

    def read(self, rng: Rng, ends: Array, number: int, own: dict[str, str]) -> tuple[Array, dict[str, Any]]:
        """True values between two ends; the record of it, its column of points under [calibration]."""
        ...


@dataclass(frozen=True)
class Certified:
    """An instrument of the same kind, with a certificate: share of reading, fixed part, digit in a unit; k = 2."""

    share: float
    fixed: float
    digit: float
    unit: str

    def read(self, rng: Rng, ends: Array, number: int, own: dict[str, str]) -> tuple[Array, dict[str, Any]]:
        reference = Meter(rng, self.share, self.fixed, self.digit, normal=True)
        true = np.linspace(*ends, number)
        words = reference.words(own["measures"], self.unit) | {"serial": "better"}
        points = {f"reference [{self.unit}]": np.round(reference.show(true), 6)}
        task = {"points": points, "with": {"indication": "own", "reference": "better"}}
        return true, {"instruments": {"better": words}, "calibration": task}


@dataclass(frozen=True)
class InDuct:
    """A nozzle that tells the flow of a duct where an anemometer stands: over its area, known to 2 %, a velocity."""

    area: float = 0.05

    def read(self, rng: Rng, ends: Array, number: int, own: dict[str, str]) -> tuple[Array, dict[str, Any]]:
        there, manometer = air(rng), Meter(rng, *LIMIT)
        flow_of, said = Bench().meter(rng)
        drops = between(ends, self.area, 1.0, there, number)
        true = flow_of(drops, there) / (self.area * (1 + rng.uniform(-0.02, 0.02)))
        there.record["instruments"]["manometer"] = named(manometer, "bench")
        points = {"drop [Pa]": np.round(manometer.show(drops), 6)}
        return true, there.record | said | {"calibration": {"points": points, "area": f"{self.area} m2 ± 2 %"}}


@dataclass(frozen=True)
class Corrected:
    """A measurement whose meter was calibrated: a line takes the place of its maker's limits.

    Attributes
    ----------
    setup : Setup
    name, unit : str
        Of the meter in the record.
    ends : tuple of float
        True values between which it was calibrated.
    reference : Reference
    scatter : float
        Of one point, in the unit of the reading.
    points : int
    """

    setup: Setup
    name: str
    unit: str
    ends: tuple[float, float]
    reference: Reference
    scatter: float
    points: int = 10

    def draw(self, rng: Rng) -> Drawn:
        drawn = self.setup.draw(rng)
        assert drawn.meter is not None
        own = drawn.record["instruments"][self.name]
        true, record = self.reference.read(rng, np.array(self.ends), self.points, own)
        shown = drawn.meter.show(true, self.scatter * rng.standard_normal(self.points))
        record |= {"title": "Simulated meter", "date": dt.date(2026, 8, 1), "by": "nobody", "invented": True}
        record["instruments"]["own"] = own
        task = record["calibration"]
        task |= {"calibrates": own["measures"], "formula": "line", "due": dt.date(2027, 8, 1)}
        task["points"][f"indication [{self.unit}]"] = np.round(shown, 6)
        file, findings = written(record)
        del own["accuracy"]
        own["calibration"] = file
        return replace(drawn, taken=lambda record: with_findings(main_flow(record), findings))


@dataclass(frozen=True)
class LeakTested(Leaky):
    """A leaky chamber whose leak test was paired readings, and its leakage a power law through them."""

    scatter: float = 0.01

    def _tested(self, rng: Rng, stated: float, leak: float, exponent: float) -> dict[str, str]:
        there, manometer = air(rng), Meter(rng, *LIMIT)
        flow_of, said = Bench().meter(rng)
        drops = between(np.array([10.0, 100.0]) / DROP, leak, exponent, there, 12)
        inside = flow_of(drops, there) / (1 + self.scatter * rng.standard_normal(len(drops)))
        # the air that leaks is denser than that of the room by the pressure it is under
        gauge = np.zeros(len(drops))
        for _ in range(4):
            gauge = DROP * (inside / (1 + gauge / there.pressure) / leak) ** (1 / exponent)
        points = {"indication [Pa]": manometer.show(gauge), "drop [Pa]": manometer.show(drops)}
        task = {
            "calibrates": "chamber", "serial": "receiving", "formula": "power law", "due": dt.date(2027, 8, 1),
            "points": {name: np.round(x, 6) for name, x in points.items()},
        }  # fmt: skip
        record = there.record | said | {"by": "nobody", "title": "Simulated chamber", "calibration": task}
        record["instruments"]["manometer"] = named(manometer, "tester")
        numbers = calibrate(record).numbers
        flow, power = numbers["flow"], numbers["exponent"]
        return {
            "leak": f"{flow.value:.9f} m3/s ± {2 * flow.u:.9f} m3/s (k=2)",
            "leak_drop": f"{numbers['drop'].value:g} Pa",
            "leak_exponent": f"{power.value:.6f} ± {2 * power.u:.6f} (k=2)",
        }


RIGS: tuple[Rig, ...] = (
    Rig("fitted box, 15 points, same manometer", "normal", FittedBox()),
    Rig("fitted box, 15 points, another manometer", "normal", FittedBox(same=False)),
    Rig("fitted box, 15 points, same manometer, 20 Pa", "normal", FittedBox(20.0)),
    Rig("fitted box, 15 points, another manometer, 20 Pa", "normal", FittedBox(20.0, same=False)),
    Rig("fitted box, 15 points, reference with its own manometer, 20 Pa", "normal", FittedBox(20.0, one=False)),
    Rig("fitted box, 5 points, same manometer", "normal", FittedBox(points=5)),
    Rig("fitted box, 5 points, another manometer", "normal", FittedBox(points=5, same=False)),
    Rig("fitted box, 5 scattered points", "few", FittedBox(points=5, scatter=0.03), slow=True),
    Rig("fitted box, reference's certificate larger than the noise", "normal",
        FittedBox(bench=Bench(0.02), scatter=0.003)),
    Rig("fitted box, reference within a bare limit of 3 %", "rectangular",
        FittedBox(bench=Bench(0.03, certificate=False)), slow=True),
    Rig("fitted box, calibrated in air a sixth thinner", "normal", FittedBox(barometer=ALOFT)),
    Rig("fitted box, sharp hole, exponent fixed", "normal", FittedBox(half=True)),
    Rig("fitted box, remounted, and said to stand as calibrated", "misspecified",
        FittedBox(remount=0.015, told=False), ("not remounted",)),
    Rig("fitted box, remounted, 3 mountings calibrated", "few",
        FittedBox(points=5, remount=0.015, mountings=3), slow=True),
    Rig("fitted box, remounted, 6 mountings calibrated", "few", FittedBox(points=5, remount=0.015, mountings=6)),
    Rig("fitted box, left in the last of 6 mountings calibrated", "few",
        FittedBox(points=5, remount=0.015, mountings=6, left=True)),
    Rig("fitted box, remounted, limit filled", "rectangular", FittedBox(limit=0.05), slow=True),
    Rig("fitted box, difference of two drops", "normal", Pair(FittedBox(80.0), FittedBox(60.0))),
    Rig("fitted line of a manometer, then an inlet", "normal",
        Corrected(Inlet(40.0, within=0.01, certificate=True, manometer=(0.03, 2.0, 0.1)), "manometer", "Pa",
                  (5.0, 200.0), Certified(0.005, 0.6, 0.1, "Pa"), 0.3)),
    Rig("fitted line of an anemometer, then a filter", "normal",
        Corrected(Face("vane", compared=True), "anemometer", "m/s", (0.3, 4.0), Certified(0.03, 0.05, 0.01, "m/s"),
                  0.03)),
    Rig("fitted line of an anemometer by a nozzle, then a filter", "normal",
        Corrected(Face("vane", compared=True), "anemometer", "m/s", (0.5, 4.0), InDuct(), 0.03)),
    Rig("fitted leakage of a chamber, put back", "normal", LeakTested(35.0, "downstream", share=0.3)),
)  # fmt: skip
