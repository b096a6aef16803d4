"""Simulated fans and filters, measured on a bench or stated, and the cleaner that flowrig predicts of them.

The truth is a smooth curve and a resistance that meet where a root finder says. Bench, instruments and their errors
are one for the fan and the filter; the noise of a point and the rounding of displays are not. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal

import numpy as np
from scipy.optimize import brentq

from flowrig.errors import CalculationError
from flowrig.studies.predict import predict
from tests.coverage.box_rigs import LIMIT
from tests.coverage.fit_rigs import Bench, Told, named
from tests.coverage.rigs import Air, AirErrors, Array, Drawn, Meter, Rig, Rng, Taken, air

DENSITY, VISCOSITY = 1.2, 18.2e-6  # of the air that the true laws are told in
FACE = 0.16  # of one filter [m2]
SHARES = np.array([0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9, 1.0, 1.03])  # of free air: where the fan is read
FLOW_LIMIT, PRESSURE_LIMIT, DROP_LIMIT, EFFICIENCY_LIMIT = 0.10, 0.10, 0.15, 0.05
GAP, GAP_LIMIT = 0.3e-3, 0.2e-3  # width all around [m]
Law = Callable[[Array], Array]


@dataclass(frozen=True)
class Cleaner:
    """A fan and a bank of filters.

    Attributes
    ----------
    fan, filters : {'measured', 'stated'}
        Points of the bench, or figures off by anything within their limits.
    count : int
    resistance : float
        Of the filters, over the usual.
    dip : float
        Depth of the fan's dip over its shut-off pressure; its middle is at 0.55 of free air.
    noise : float
        Standard deviation of one pressure reading at the fan. [Pa]
    said : bool
        The record states that scatter.
    power : bool
        The filters follow a power law, and the record says so.
    wanted : {'flow', 'clean_air'}
        The second with gaps beside the filters, and an efficiency that falls with velocity.
    spread : float
        Limit of how pieces differ, which the record states.
    """

    fan: Literal["measured", "stated"] = "measured"
    filters: Literal["measured", "stated"] = "measured"
    count: int = 2
    resistance: float = 1.0
    dip: float = 0.0
    noise: float = 0.03
    said: bool = False
    power: bool = False
    wanted: Literal["flow", "clean_air"] = "flow"
    spread: float = 0.05

    def draw(self, rng: Rng) -> Drawn:
        errors = AirErrors(rng)
        there, here = air(rng, errors), air(rng, errors, (830.0, 1015.0))
        bench = Bench().meter(rng)
        manometer = Meter(rng, *LIMIT)
        fan, fan_record = self._fan(rng, there, bench, manometer)
        drop, filter_record = self._filter(rng, there, bench, manometer)
        pieces = 1 + self.spread * rng.uniform(-1, 1, self.count)
        gap = (GAP + GAP_LIMIT * rng.uniform(-1, 1)) * (0.62 + 0.1 * rng.uniform(-1, 1)) * self.gaps
        flow, beside, velocity = self._meet(fan, drop, pieces, gap, here)
        record = here.record
        record["air"] = {"unit": record["air"]["meter"]}
        bank: dict[str, Any] = {"filter": filter_record, "count": self.count}
        truth = flow
        if self.wanted == "clean_air":
            bank |= {"gap_width": f"{1e3 * GAP:g} mm ± {1e3 * GAP_LIMIT:g} mm", "gap_coefficient": "0.62 ± 0.1"}
            truth = (flow - beside) * (0.88 - 0.06 * (velocity - 0.2) + EFFICIENCY_LIMIT * rng.uniform(-1, 1))
        record |= {"predict": {"fan": fan_record}, "filters": [bank]}
        return Drawn(record, truth, partial(_predicted, self.wanted))

    @property
    def gaps(self) -> float:
        """Length of the gaps of one filter, around its face. [m]"""
        return 4 * FACE**0.5 if self.wanted == "clean_air" else 0.0

    def _fan(self, rng: Rng, there: Air, bench: Told, manometer: Meter) -> tuple[Law, dict[str, Any]]:
        """Its pressure at a flow in the air of its law, and the record of it."""
        shut, free, bend = rng.uniform(60, 80), rng.uniform(0.14, 0.16), rng.uniform(1.4, 2.0)

        def curve(flow: Array) -> Array:
            share = np.maximum(flow, 0.0) / free
            return shut * (1 - share**bend - self.dip * np.exp(-(((share - 0.55) / 0.12) ** 2)))

        if self.fan == "stated":
            more, higher = 1 + FLOW_LIMIT * rng.uniform(-1, 1), 1 + PRESSURE_LIMIT * rng.uniform(-1, 1)
            flow = SHARES * free
            table = {
                "figures": "stated", "flow": [f"{x:.5f} m3/s" for x in flow],
                "pressure": [f"{x:.2f} Pa" for x in curve(flow)],
                "flow_limit": f"{100 * FLOW_LIMIT:g} %", "pressure_limit": f"{100 * PRESSURE_LIMIT:g} %",
            }  # fmt: skip
            return lambda flow: higher * curve(flow / more), _heading() | {"fan": table}
        flow_of, said = bench
        full = brentq(lambda drop: float(flow_of(np.asarray(drop), there)) - free, 1.0, 2000.0)
        drops = full * (SHARES if not self.dip else np.linspace(0.15, 1.03, 14)) ** 2
        pressure = curve(flow_of(drops, there)) * there.density / DENSITY
        points = {
            "pressure [Pa]": np.round(manometer.show(pressure + self.noise * rng.standard_normal(len(drops))), 6),
            "drop [Pa]": np.round(manometer.show(drops), 6),
        }
        record = _measured(there, said, manometer)
        scatter = {"pressure_scatter": f"{self.noise:g} Pa"} if self.said else {}
        return curve, record | {"fan": {"figures": "measured", "points": points} | scatter}

    def _filter(self, rng: Rng, there: Air, bench: Told, manometer: Meter) -> tuple[Callable[..., Array], Any]:
        """Drop of the sort at a velocity in some air, and the record of it."""
        linear, quadratic = (x * self.resistance * rng.uniform(0.85, 1.15) for x in (38.0, 14.0))
        exponent = rng.uniform(1.15, 1.5)

        def drop(velocity: Array, here: Air) -> Array:
            thick, dense = here.viscosity / VISCOSITY, here.density / DENSITY
            if self.power:
                return np.asarray(50.0 * self.resistance * thick ** (2 - exponent) * dense ** (exponent - 1)
                                  * velocity**exponent)  # fmt: skip
            return np.asarray(linear * thick * velocity + quadratic * dense * velocity**2)

        table: dict[str, Any] = {
            "figures": self.filters, "width": f"{FACE**0.5:g} m", "height": f"{FACE**0.5:g} m",
            "piece_spread": f"{100 * self.spread:g} %",
        }  # fmt: skip
        if self.power:
            table["law"] = "power"
        if self.wanted == "clean_air":
            table |= {"particles": "1 to 3 um", "efficiency": ["88 %", "82 %"],
                      "efficiency_velocity": ["0.2 m/s", "1.2 m/s"],
                      "efficiency_limit": f"{100 * EFFICIENCY_LIMIT:g} %"}  # fmt: skip
        if self.filters == "stated":
            usual = Air(DENSITY, VISCOSITY, 101325.0, {})
            off = 1 + DROP_LIMIT * rng.uniform(-1, 1)
            velocity = np.array([0.25, 0.5, 0.75, 1.0])
            table |= {"velocity": [f"{x:g} m/s" for x in velocity],
                      "drop": [f"{x:.3f} Pa" for x in drop(velocity, usual)],
                      "drop_limit": f"{100 * DROP_LIMIT:g} %"}  # fmt: skip
            return lambda velocity, here: off * drop(velocity, here), _heading() | {"filter": table}
        flow_of, said = bench
        drops = np.linspace(4.0, 15.0, 8) ** 2
        through = flow_of(drops, there) * (1 + 0.005 * rng.standard_normal(len(drops)))
        own = 1 + self.spread * rng.uniform(-1, 1)  # the piece that was measured is one of its sort
        shown = manometer.show(own * drop(through / FACE, there))
        table["points"] = {"drop [Pa]": np.round(shown, 6), "flow.drop [Pa]": np.round(manometer.show(drops), 6)}
        return drop, _measured(there, said, manometer) | {"filter": table}

    def _meet(
        self, fan: Law, drop: Callable[..., Array], pieces: Array, gap: float, here: Air
    ) -> tuple[float, float, float]:
        """Flow, what of it passes the gaps, and the mean face velocity, at the stable crossing of the greatest flow."""

        def parts(pressure: float) -> tuple[float, float]:
            velocities = [brentq(lambda v, f=f: float(f * drop(np.asarray(v), here)) - pressure, 0.0, 50.0)
                          for f in pieces]  # fmt: skip
            return FACE * sum(velocities), len(pieces) * gap * (2 * pressure / here.density) ** 0.5

        places = np.linspace(0.0, 0.3, 3001)
        bank = np.array([sum(parts(p)) for p in LEVELS])
        # along the flow first, as a fan with a dip has three flows at one pressure
        apart = fan(places) * here.density / DENSITY - np.interp(places, bank, LEVELS)
        [*_, k] = np.flatnonzero((apart[:-1] > 0) & (apart[1:] <= 0))
        middle = float(np.interp(places[k], bank, LEVELS))
        flow = brentq(
            lambda q: float(fan(np.asarray(q))) * here.density / DENSITY - self._pressure(q, parts, middle),
            places[k] - 1e-3, places[k + 1] + 1e-3,
        )  # fmt: skip
        through, beside = parts(self._pressure(flow, parts, middle))
        return flow, beside, through / FACE / len(pieces)

    def _pressure(self, flow: float, parts: Callable[[float], tuple[float, float]], near: float) -> float:
        return float(brentq(lambda p: sum(parts(p)) - flow, near / 3, 3 * near + 1.0))


LEVELS = np.concatenate([[0.0], np.geomspace(0.05, 400.0, 60)])


def _heading() -> dict[str, Any]:
    return {"title": "Simulated (invented)", "date": dt.date(2026, 8, 1), "invented": True}


def _measured(there: Air, said: dict[str, Any], manometer: Meter) -> dict[str, Any]:
    instruments = there.record["instruments"] | {"manometer": named(manometer, "own")}
    # each record has its own lists, as each is changed while it is read
    return there.record | said | {"instruments": instruments, "flow": [dict(flow) for flow in said["flow"]]}


def _predicted(wanted: str, record: dict[str, Any]) -> Taken | None:
    try:
        found = predict(record)
    except CalculationError:  # no crossing inside the points: nothing was told
        return None
    return found[wanted].estimate, found[wanted].interval, found.findings


RIGS: tuple[Rig, ...] = (
    Rig("fan and filter measured, flow", "normal", Cleaner(), slow=True),
    Rig("fan and filter measured, clean air", "rectangular", Cleaner(wanted="clean_air"), slow=True),
    Rig("fan and filter stated, limits filled, flow", "rectangular", Cleaner("stated", "stated"), slow=True),
    Rig("fan and filter stated, limits filled, clean air", "rectangular",
        Cleaner("stated", "stated", wanted="clean_air"), slow=True),
    Rig("fan with a dip measured, crossing near it", "rectangular",
        Cleaner(dip=0.25, count=1, resistance=0.75), slow=True),
    Rig("fan measured, crossing near free air", "normal", Cleaner(count=6, resistance=0.5), slow=True),
    Rig("fan measured, filter of a power law fitted by it", "normal", Cleaner(power=True), slow=True),
    Rig("fan's points scatter by 0.5 Pa, said", "normal", Cleaner(noise=0.5, said=True), slow=True),
    Rig("fan's points scatter by 0.5 Pa, not said", "misspecified", Cleaner(noise=0.5),
        ("scatter of the points not stated",), slow=True),
)  # fmt: skip
