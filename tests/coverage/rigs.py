"""Simulated rigs whose true flow is known: what every instrument got wrong is drawn once a rig, then its display read.

The equations are on trial elsewhere; here only the error bars are. A nozzle's truth is therefore the same equation at
the true values, its own error drawn; a traverse's truth is the mean of a continuous profile by fine quadrature.
Profiles, noise and drift are invented. A limit without a shape means an error anywhere within it, a k of 2 a normal
one.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import InitVar, dataclass, field
from functools import partial
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

import flowrig
from flowrig.methods.traverse import FLOOR, YAW_ASSUMED
from flowrig.physics.air import moist_air_density, vapour_fraction_from_humidity, viscosity
from flowrig.physics.nozzle import bank_beta, nozzle_coefficient, nozzle_flow
from flowrig.physics.traverse import diameter_positions, side_positions
from flowrig.records.declare import Finding
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, interval
from flowrig.uncertainty.propagate import linear
from tests.coverage.profiles import Profile, rectangle

Array = NDArray[np.float64]
Rng = np.random.Generator
Expected = Literal["normal", "rectangular", "few", "misspecified", "assumed limits", "counted"]
Taken = tuple[Estimate, Interval, list[Finding]]
COEFFICIENT = 0.012 / 1.96  # of a nozzle: 1.2 % at 95 %, normal


@dataclass(frozen=True)
class Drawn:
    """One rig as drawn: the record its operator wrote, and what that operator cannot know.

    Attributes
    ----------
    record : dict
    truth : float
        Of what is on trial. [m3/s, or kg/s where a mass flow is]
    taken : callable
        From the record to what is on trial: the main flow of the first measurement unless another is named. None
        where the reduction does not come to it.
    scale : float
        What 1 % of the width stands for a hundredth of; the truth itself unless that may be nothing.
    density : float
        True density at the metering plane. [kg/m3]
    meter : Meter or None
        What showed the flow, for whoever reads more with it.
    """

    record: dict[str, Any]
    truth: float
    taken: Callable[[dict[str, Any]], Taken | None] = field(default=lambda record: main_flow(record))
    scale: float = math.nan
    density: float = math.nan
    meter: Meter | None = None


def main_flow(record: dict[str, Any]) -> Taken:
    result = flowrig.reduce(record)
    return result.flow.estimate, result.flow.interval, [*result.findings, *result.flows[0].findings]


def difference_of_records(other: dict[str, Any], record: dict[str, Any]) -> Taken:
    """Main flow of the record less that of another, by what their causes have in common."""
    one, _, findings = main_flow(record)
    inputs = {"one": one, "other": main_flow(other)[0]}
    estimate = linear(_difference, inputs, outputs={"difference": ()})["difference"]
    return estimate, interval(estimate), findings


def _difference(one: Array, other: Array) -> dict[str, Array]:
    return {"difference": one - other}


class Setup(Protocol):
    """What is measured and with what: it draws one rig of its kind."""

    def draw(self, rng: Rng) -> Drawn: ...


@dataclass(frozen=True)
class Rig:
    """A kind of rig.

    Attributes
    ----------
    name : str
    expected : {'normal', 'rectangular', 'few', 'misspecified', 'assumed limits', 'counted'}
        Which acceptance it falls under, see `study.BANDS`.
    setup : Setup
    flags : tuple of str
        Codes of which one should fire where a misspecified rig is not covered.
    slow : bool
        Its intervals are mostly Monte Carlo, which is ten times the work.
    """

    name: str
    expected: Expected
    setup: Setup
    flags: tuple[str, ...] = ()
    slow: bool = False


@dataclass
class Meter:
    """An instrument with one error of calibration, shared by all its readings, and a display of so many digits."""

    rng: Rng
    relative: float
    absolute: float
    step: float
    normal: bool = False
    error: float = field(init=False)

    def __post_init__(self) -> None:
        self.error = self.rng.standard_normal() / 2 if self.normal else self.rng.uniform(-1, 1)

    def show(self, true: Any, offset: Any = 0.0) -> Array:
        true = np.asarray(true, dtype=float)
        seen = true + self.error * (self.relative * np.abs(true) + self.absolute) + offset
        return np.asarray(np.round(seen / self.step) * self.step)

    def words(self, measures: str, unit: str) -> dict[str, str]:
        """The instrument as the record describes it."""
        width = f"{self.absolute:g} {unit}"
        if self.relative:
            width = f"({100 * self.relative:g} % of reading + {width})"
        accuracy = f"U = {width} (k=2)" if self.normal else width
        return {
            "measures": measures, "serial": f"{measures} meter", "accuracy": accuracy,
            "resolution": f"{self.step:g} {unit}",
        }  # fmt: skip


@dataclass
class AirErrors:
    """What the instruments of the air are off by, and the equations of its density and viscosity, on any day."""

    rng: InitVar[Rng]
    thermometer: Meter = field(init=False)
    barometer: Meter = field(init=False)
    hygrometer: Meter = field(init=False)
    density: float = field(init=False)
    viscosity: float = field(init=False)

    def __post_init__(self, rng: Rng) -> None:
        self.thermometer, self.barometer = Meter(rng, 0, 0.3, 0.1), Meter(rng, 0, 1.0, 0.1)
        self.hygrometer = Meter(rng, 0, 3.0, 1.0)
        self.density, self.viscosity = rng.uniform(-3e-4, 3e-4), rng.uniform(-0.015, 0.015)


@dataclass
class Air:
    """True air at the meter, and the part of a record that describes it."""

    density: float
    viscosity: float
    pressure: float
    record: dict[str, Any]


def air(rng: Rng, errors: AirErrors | None = None, barometer: tuple[float, float] = (960, 1015)) -> Air:
    """The air of a day; `errors` where it is read by the instruments of another day, `barometer` in hPa."""
    temperature, pressure, humidity = rng.uniform(18, 27), rng.uniform(*barometer), rng.uniform(25, 65)
    off = errors or AirErrors(rng)
    kelvin, pascal = temperature + 273.15, 100 * pressure
    fraction = vapour_fraction_from_humidity(humidity / 100, kelvin, pascal)
    record = {
        "title": "Simulated rig (invented)",
        "date": dt.date(2026, 8, 21),
        "invented": True,
        "air": {
            "meter": {
                "temperature": f"{off.thermometer.show(temperature):.6f} degC",
                "pressure": f"{off.barometer.show(pressure):.6f} hPa",
                "relative_humidity": f"{off.hygrometer.show(humidity):.6f} %",
            }
        },
        "instruments": {
            "thermometer": off.thermometer.words("temperature", "degC"),
            "barometer": off.barometer.words("pressure", "hPa"),
            "hygrometer": off.hygrometer.words("relative humidity", "%RH"),
        },
    }
    density = float(moist_air_density(kelvin, pascal, fraction)) * (1 + off.density)
    return Air(density, float(viscosity(kelvin)) * (1 + off.viscosity), pascal, record)


# nozzles


@dataclass(frozen=True)
class Nozzle:
    """A chamber with nozzles, its manometer, and how it is read.

    Attributes
    ----------
    drop : float
        True mean drop, but for up to 4 % either way, lest it always stand at the same place of a digit. [Pa]
    noise : float
        Scatter of one reading. [Pa]
    repeats : int
    diameters : tuple of float
        As drawn, each true within 0.1 %. [mm]
    manometer : tuple of float
        Share of reading, fixed part [Pa], digit [Pa].
    normal : bool
        The manometer has a certificate with k = 2 in place of a limit.
    follows : float
        Correlation of each reading with the one before.
    real : bool
        The scatter is the flow's own, so that the mean flow lies below the flow of the mean drop.
    said : str
        What the record says about that.
    log : bool
    drift : float
        The zero steps once, at any time of the run, by up to so much. [Pa]
    zero : {'not read', 'read', 'holds the error'}
        Whether the record has it, and whether the fixed part of the calibration error stands in it too.
    """

    drop: float
    noise: float = 0.5
    repeats: int = 12
    diameters: tuple[float, ...] = (150.0,)
    manometer: tuple[float, float, float] = (0.005, 0.25, 0.1)
    normal: bool = False
    follows: float = 0.0
    real: bool = False
    said: str = "unknown"
    log: bool = False
    drift: float = 0.0
    zero: str = "not read"

    def draw(self, rng: Rng, reader: Rng | None = None) -> Drawn:
        """`reader` draws what differs from run to run of one rig: another gives another run of the same."""
        here = air(rng)
        manometer = Meter(rng, *self.manometer, normal=self.normal)
        sizes = np.asarray(self.diameters)
        true_sizes = sizes * (1 + rng.uniform(-1e-3, 1e-3, len(sizes))) / 1e3
        static, coefficient = rng.uniform(-60, -20), 1 + COEFFICIENT * rng.standard_normal()
        reader = reader or rng
        drop = self.drop * reader.uniform(0.96, 1.04)
        scatter = self.noise * correlated(reader, self.repeats, self.follows)
        drift, moment = reader.uniform(-self.drift, self.drift), reader.uniform()
        moved = np.where((np.arange(self.repeats) + 0.5) / self.repeats > moment, drift, 0.0)
        shown = manometer.show(drop + scatter, moved)

        record = here.record
        record["instruments"]["manometer"] = manometer.words("pressure difference", "Pa")
        if self.zero != "not read":
            own = manometer.error * manometer.absolute if self.zero == "holds the error" else 0.0
            before, after = np.round(np.array([own, own + drift]) / manometer.step) * manometer.step
            record["instruments"]["manometer"] |= {"zero_before": f"{before:.6f} Pa", "zero_after": f"{after:.6f} Pa"}
        record["nozzles"] = {
            f"N{i + 1}": {"diameter": f"{size:g} mm ± {1e-3 * size:g} mm", "serial": f"N{i + 1}"}
            for i, size in enumerate(sizes)
        }
        readings = {"log": {"drop [Pa]": shown}} if self.log else {"drop": [f"{value:.6f} Pa" for value in shown]}
        record["flow"] = [
            {"method": "nozzle", "open": list(record["nozzles"]), "static": f"{manometer.show(static):.6f} Pa",
             "chamber_width": "1200 mm", "chamber_height": "1200 mm", "fluctuation": self.said, **readings}
        ]  # fmt: skip
        truth = self._flow(here, drop, static, true_sizes) * coefficient
        return Drawn(record, truth, density=here.density * (1 + static / here.pressure), meter=manometer)

    def _flow(self, here: Air, drop: float, static: float, sizes: Array) -> float:
        drops, shares = np.array([drop]), np.array([1.0])
        if self.real:  # mean over the scatter, by Gauss-Hermite quadrature
            nodes, weights = np.polynomial.hermite_e.hermegauss(21)
            drops, shares = drop + self.noise * nodes, weights / np.sum(weights)
        pressure = here.pressure + static
        density = here.density * pressure / here.pressure
        each = nozzle_flow(drops[:, np.newaxis], density, pressure, here.viscosity, sizes, 0.6)
        reynolds = np.abs(each) * density / (math.pi / 4 * sizes * here.viscosity)
        beta = bank_beta(sizes, 1.2 * 1.2, nozzle_coefficient(reynolds, 0.6))
        return float(np.sum(shares * np.sum(each, axis=-1) / np.sqrt(1 - np.reshape(beta, -1) ** 4)))


class Rerun(Protocol):
    """A set-up that may be read again: `reader` draws what differs from run to run of one rig."""

    def draw(self, rng: Rng, reader: Rng | None = None) -> Drawn: ...


@dataclass(frozen=True)
class Pair:
    """Two runs with the same air, manometer and hardware, at different drops."""

    one: Rerun
    other: Rerun

    def draw(self, rng: Rng) -> Drawn:
        shared = int(rng.integers(2**32))
        one, other = (setup.draw(np.random.default_rng(shared), rng) for setup in (self.one, self.other))
        taken = partial(difference_of_records, other.record)
        return Drawn(one.record, one.truth - other.truth, taken, scale=one.truth)


def correlated(rng: Rng, n: int, follows: float) -> Array:
    """A first-order autoregressive series of unit variance from its first reading on."""
    series = rng.standard_normal(n)
    if follows:
        series[1:] *= math.sqrt(1 - follows**2)
        for i in range(1, n):
            series[i] += follows * series[i - 1]
    return series


def following(time: float) -> float:
    """Correlation from one second to the next for an integrated autocorrelation time. [s]"""
    return (time - 1) / (time + 1)


# traverses


@dataclass(frozen=True)
class Traverse:
    """A duct with a probe moved over it.

    Attributes
    ----------
    probe : {'vane', 'pitot', 'thermal'}
    speed : float
        True mean velocity, but for up to 4 % either way. [m/s]
    filled : bool
        Flow angle, unseen structure of the profile and the error of a vane or thermal probe in a duct lie anywhere
        within the limits that the method assumes; else a straight duct, without any of these.
    meter : tuple of float
        Share of reading, fixed part, digit. [m/s or Pa]
    turbulence : float
        Scatter of one reading of velocity, over the velocity.
    passes : int
    common : float
        What a whole pass has in common, over the velocity.
    profile : callable
    angle : float or None
        Flow angle, whatever the record says. [deg]
    stated_yaw : bool
        The record states the angle.
    equal_area : bool
        Points by equal areas, in place of the rule that knows of walls.
    """

    probe: str
    speed: float
    filled: bool
    meter: tuple[float, float, float]
    turbulence: float = 0.03
    passes: int = 3
    common: float = 0.005
    profile: Callable[[Rng], Profile] = rectangle
    angle: float | None = None
    stated_yaw: bool = False
    equal_area: bool = False

    def draw(self, rng: Rng) -> Drawn:
        here = air(rng)
        meter = Meter(rng, *self.meter)
        profile = self.profile(rng)
        speed = self.speed * rng.uniform(0.96, 1.04)
        record = here.record
        rule = "equal-area" if self.equal_area else "log-linear" if profile.round else "log-tchebycheff"
        if profile.round:
            size = 0.315 + rng.uniform(-1e-3, 1e-3)
            area = math.pi / 4 * size**2
            record["ducts"] = {"main": {"diameter": "315 mm ± 1 mm"}}
            depth = diameter_positions(rule, 4)
            keys = {"diameter": np.repeat([1, 2], len(depth)), "point": np.tile(np.arange(len(depth)) + 1, 2)}
            places = (np.concatenate([2 * depth - 1, 0 * depth]), np.concatenate([0 * depth, 2 * depth - 1]))
            plan = {"rule": rule, "per_radius": 4, "diameters": 2}
        else:
            area = (0.6 + rng.uniform(-2e-3, 2e-3)) * (0.4 + rng.uniform(-2e-3, 2e-3))
            record["ducts"] = {"main": {"width": "600 mm ± 2 mm", "height": "400 mm ± 2 mm"}}
            x, y = side_positions(rule, 6), side_positions(rule, 5)
            keys = {"row": np.repeat(np.arange(5) + 1, 6), "column": np.tile(np.arange(6) + 1, 5)}
            places = (np.tile(x, 5), np.repeat(y, 6))
            plan = {"rule": rule, "across": 6, "down": 5}

        floor = FLOOR["ordinary"]
        unseen = rng.uniform(-floor, floor) if self.filled else 0.0
        local = profile.at(*places) / profile.mean * speed / (1 + unseen)
        cosine = rng.uniform(math.cos(YAW_ASSUMED["ordinary"]), 1.0) if self.filled else 1.0
        if self.angle is not None:
            cosine = math.cos(math.radians(self.angle))
        local = local / cosine
        local = local * (1 + rng.uniform(0.5, 1.0) * 20e-4 / area)  # blockage
        static = 35 + rng.uniform(-5, 5)
        shown, unit = self._shown(rng, here, here.density * (1 + static / here.pressure), meter, local)

        number = np.repeat(np.arange(self.passes) + 1, len(local))
        name = "drop" if self.probe == "pitot" else "velocity"
        grid = {"pass": number, **{k: np.tile(v, self.passes) for k, v in keys.items()}}
        grid[f"{name} [{unit}]"] = np.round(shown, 6).reshape(-1)
        measures = "pressure difference" if self.probe == "pitot" else "velocity"
        record["instruments"][self.probe] = meter.words(measures, unit)
        if self.probe == "thermal":
            record["instruments"]["thermal"]["reference_density"] = "1.2 kg/m3"
        record["flow"] = [
            {"method": f"{self.probe}-traverse", "duct": "main", **plan, "plane": "ordinary", "grid": grid,
             "static": "35 Pa ± 5 Pa", "blockage_area": "20 cm2"}
        ]  # fmt: skip
        if self.stated_yaw:
            record["flow"][0]["yaw"] = f"{self.angle:g} deg"
        return Drawn(record, speed * area, density=here.density * (1 + static / here.pressure))

    def _shown(self, rng: Rng, here: Air, density: float, meter: Meter, local: Array) -> tuple[Array, str]:
        """What the display says at every point in every pass."""
        swing = rng.standard_normal((self.passes, len(local))) * self.turbulence
        swing = swing + rng.standard_normal((self.passes, 1)) * self.common
        moving = local * (1 + swing)
        if self.probe == "vane":
            bearing = rng.uniform(-0.005, 0.005) if self.filled else 0.0
            return meter.show(moving * (1 + bearing)), "m/s"
        if self.probe == "thermal":
            response = rng.uniform(-0.03, 0.03) if self.filled else 0.0
            return meter.show(moving * (1 + response) * density / 1.2), "m/s"
        felt = moving / (1 + rng.uniform(-0.01, 0.01))  # coefficient of the probe
        pressure = 0.5 * density * felt * np.abs(felt)
        return meter.show(pressure * (1 + np.abs(pressure) / here.pressure / 2.8)), "Pa"
