"""Simulated boxes whose true curve is known: calibrated against a reference that errs, then used somewhere else.

The calibration is drawn like any test: points with scatter, a manometer with its error, a reference with a gain that is
wrong by one amount at every point. Its file is written by a plain fit in logarithms, each cause shifted by one standard
deviation and the fit made again. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from flowrig import units
from flowrig.methods.air import VISCOSITY_LIMIT
from flowrig.physics.air import viscosity
from flowrig.physics.box import box_flow
from flowrig.uncertainty.statement import parse
from tests.coverage.rigs import Air, Array, Drawn, Meter, Pair, Rig, Rng, air

PIVOT = 50.0  # [Pa]
LIMIT = (0.005, 0.25, 0.1)  # of a manometer: share of reading, fixed part [Pa], digit [Pa]
AIR_SHARE = 0.001  # density of the calibration's air


@dataclass(frozen=True)
class Box:
    """A box, its calibration and a test with it.

    Attributes
    ----------
    drop : float
        True mean drop of the test, but for up to 4 % either way. [Pa]
    density : float or None
        Of the calibration's air; that of the test where it is None. [kg/m3]
    gain : float
        Standard uncertainty of the reference's gain, which every point shares.
    scatter : float
        Of one point of the calibration.
    points : int
    remount : float
        Scatter of one mounting. The calibration stands for one, the test for another.
    remounts : int
        How many mountings the calibration file states that from; none: it states nothing.
    limit : float
        The box passes more or less after remounting by anything within this.
    same : bool
        The manometer of the test is that of the calibration.
    """

    drop: float
    density: float | None = None
    gain: float = 0.0075
    scatter: float = 0.005
    points: int = 8
    remount: float = 0.0
    remounts: int = 0
    limit: float = 0.0
    same: bool = False

    def draw(self, rng: Rng, reader: Rng | None = None) -> Drawn:
        """`reader` draws what differs from run to run of one box and one calibration."""
        here = air(rng)
        own, other = Meter(rng, *LIMIT), Meter(rng, *LIMIT)
        bench = own if self.same else other
        exponent, flow = rng.uniform(0.5, 0.62), rng.uniform(0.08, 0.2)
        kelvin = units.read(here.record["air"]["meter"]["temperature"], "temperature")
        density = self.density or here.density
        seen = viscosity(kelvin)  # the equation errs alike in both airs
        truth = {
            "calibrated_flow": flow, "calibrated_drop": PIVOT, "exponent": exponent, "calibrated_density": density,
            "calibrated_viscosity": here.viscosity,
        }  # fmt: skip
        mounted = self.remount * rng.standard_normal(2)
        calibration = self._calibration(rng, bench, truth, float(seen), mounted[0])
        if self.same:
            calibration["cause"][1]["id"] = identity(own)
        reader = reader or rng
        drop = self.drop * reader.uniform(0.96, 1.04)
        shown = own.show(drop + 0.3 * reader.standard_normal(8))
        record = here.record
        record["instruments"]["manometer"] = own.words("pressure difference", "Pa")
        record["flow"] = [
            {"method": "box", "static": "0 Pa", "drop": [f"{x:.6f} Pa" for x in shown], "calibration": calibration,
             "remount": "remounted" if self.remount or self.limit else "as calibrated"}
        ]  # fmt: skip
        other_mounting = 1 + mounted[1] + rng.uniform(-self.limit, self.limit)
        return Drawn(record, self._flow(drop, here, truth) * other_mounting)

    @staticmethod
    def _flow(drop: float, here: Air, truth: dict[str, float]) -> float:
        return float(box_flow(drop, here.density, here.viscosity, **truth))

    def _calibration(
        self, rng: Rng, bench: Meter, truth: dict[str, float], seen: float, mounted: float
    ) -> dict[str, Any]:
        """The file that the operator of the bench wrote."""
        drops = np.geomspace(10.0, 320.0, self.points)
        passed = truth["calibrated_flow"] * (drops / PIVOT) ** truth["exponent"]
        passed = passed * (1 + mounted) * (1 + self.scatter * rng.standard_normal(self.points))
        flows = passed * (1 + self.gain * rng.standard_normal())
        read = bench.show(drops)
        found, root, residuals = fit(read, flows)
        shifted = fit(read + (bench.relative * read + bench.absolute) / math.sqrt(3), flows)[0] - found
        density = truth["calibrated_density"] * (1 + AIR_SHARE * rng.standard_normal())
        return {
            "format": 1, "formula": "power law", "title": "Simulated box", "serial": f"B{rng.integers(10**9)}",
            "date": dt.date(2026, 8, 1), "due": dt.date(2027, 8, 1), "by": "nobody", "reference": "simulated",
            "invented": True, "causes": 5, "points": self.points, **self._stated(rng),
            "coefficients": {"drop": f"{PIVOT} Pa", "flow": f"{found[0]:.9g} m3/s", "exponent": float(found[1]),
                             "density": f"{density:.9g} kg/m3", "viscosity": f"{seen:.9g} Pa s"},
            "range": {"lowest": f"{read.min():.9g} Pa", "highest": f"{read.max():.9g} Pa"},
            "cause": [
                {"name": "reference", "flow": f"{found[0] * self.gain:.9g} m3/s"},
                {"name": "manometer", "shape": "rectangular", "flow": f"{shifted[0]:.9g} m3/s",
                 "exponent": float(shifted[1])},
                {"name": "scatter", "dof": self.points - 2, "flow": [f"{found[0] * x:.9g} m3/s" for x in root[0]],
                 "exponent": [float(x) for x in root[1]]},
                {"name": "air", "density": f"{density * AIR_SHARE:.9g} kg/m3"},
                {"name": "viscosity", "id": "method:air:viscosity", "shape": "rectangular", "scope": "method",
                 "viscosity": f"{seen * VISCOSITY_LIMIT / math.sqrt(3):.9g} Pa s"},
            ],
            "point": [
                {"drop": f"{x:.9g} Pa", "flow": f"{y:.9g} m3/s", "residual": float(r)}
                for x, y, r in zip(read, flows, residuals, strict=True)
            ],
        }  # fmt: skip

    def _stated(self, rng: Rng) -> dict[str, Any]:
        if not self.remounts:
            return {}
        found = float(np.std(self.remount * rng.standard_normal(self.remounts), ddof=1))
        return {"remount_scatter": f"{100 * found:.9g} %", "remounts": self.remounts}


def fit(drops: Array, flows: Array) -> tuple[Array, Array, Array]:
    """Flow at the pivot and exponent; a root of their covariance by scatter (of ln flow, exponent); residuals."""
    design = np.stack([np.ones(len(drops)), np.log(drops / PIVOT)], axis=1)
    (height, slope), *_ = np.linalg.lstsq(design, np.log(flows), rcond=None)
    residuals = flows / (math.exp(height) * (drops / PIVOT) ** slope) - 1
    variance = float(np.sum(np.log1p(residuals) ** 2)) / (len(drops) - 2)
    root = np.linalg.cholesky(variance * np.linalg.inv(design.T @ design))
    return np.array([math.exp(height), slope]), root, residuals


def identity(meter: Meter) -> str:
    """What the record knows the manometer's error by."""
    words = meter.words("pressure difference", "Pa")
    [component] = parse(words["accuracy"], lambda number, unit: number * (0.01 if unit == "%" else 1.0))
    return f"instrument:{words['serial']}|pressure difference|no date|{component.content}"


RIGS: tuple[Rig, ...] = (
    Rig("box, reference with a gain of 0.75 %", "normal", Box(80.0)),
    Rig("box, calibrated in air a sixth thinner", "normal", Box(80.0, density=0.97)),
    Rig("box, calibrated in air a sixth thinner, 15 Pa", "normal", Box(15.0, density=0.97)),
    Rig("box, manometer of the calibration", "normal", Box(25.0, gain=0.003, same=True)),
    Rig("box, remounted, scatter of 20 mountings", "normal", Box(80.0, remount=0.01, remounts=20)),
    Rig("box, remounted, scatter of 7 mountings", "few", Box(80.0, remount=0.01, remounts=7)),
    Rig("box, remounted, limit filled", "rectangular", Box(80.0, limit=0.05), slow=True),
    Rig("box, difference of two drops", "normal", Pair(Box(80.0), Box(70.0))),
)
