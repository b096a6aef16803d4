"""The air at a station: readings to density and viscosity, with error bars. A kernel that feeds the others."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flowrig.physics import air as physics
from flowrig.physics.si import Floats
from flowrig.records.causes import CauseMeaning
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Section
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

OUTPUTS = ("density", "viscosity", "temperature", "pressure", "vapour_fraction")
SOURCE = (
    "CIPM-2007, Picard et al., Metrologia 45 (2008) 149; AMCA 210 forms by name (from memory); viscosity after ISO 5801"
)

# What the equation itself may be off by, carbon dioxide of a lived-in room (400 to 1100 ppm) included: 0.03 %
FORMULA_LIMIT = {"cipm-2007": 3e-4, "fan-standard": 8e-4}
FORMULA = {
    name: Cause(f"method:air:density formula {name}", shape="rectangular", scope="method", label="density equation")
    for name in FORMULA_LIMIT
}
# The linear viscosity ignores humidity: up to 1.7 % high in hot damp air (compared with an open property library)
VISCOSITY = Cause("method:air:viscosity", shape="rectangular", scope="method", label="viscosity equation")
VISCOSITY_LIMIT = 0.017
# Day-to-day weather about the standard atmosphere: standard deviation of some 1 kPa at mid latitudes (from memory)
WEATHER = 1_000.0
HUMIDITY_UNKNOWN = (0.2, 0.8)

ALTITUDE_USED = FlagMeaning(
    "pressure from altitude",
    "warning",
    "No barometer was read: the standard atmosphere at the stated altitude stands in, and the weather's 1 kPa (1 %, "
    "half of that on the flow of a pressure-drop meter) is in the error bar. Read a barometer.",
    "US Standard Atmosphere 1976; spread of the weather from memory",
)
SEA_LEVEL = FlagMeaning(
    "sea-level pressure suspected",
    "alarm",
    "The pressure fits sea level but not the station's altitude: weather services report pressure reduced to sea "
    "level. Give the pressure at the station itself.",
)
HUMIDITY_ASSUMED = FlagMeaning(
    "humidity not read",
    "note",
    "No humidity was read; 20 to 80 % was assumed and is in the error bar.",
)
OUTSIDE_FORMULA = FlagMeaning(
    "air outside the equation's range",
    "note",
    "The density equation was agreed for 15 to 27 degC and 600 to 1100 hPa. Against an open property library it stays "
    "within 0.007 % from 0 to 45 degC; the error bar of the equation covers that.",
    "CIPM-2007 (range from memory)",
)
UNLIKELY_AIR = FlagMeaning(
    "unlikely air",
    "alarm",
    "Colder than 0 degC, hotter than 45 degC or under 600 hPa: nothing vouches for the density equation there, and in "
    "a workshop it is more likely a wrong unit (degF for degC, mmHg for hPa). Check the readings.",
)
NO_ALTITUDE = FlagMeaning(
    "altitude not stated",
    "note",
    "The pressure is one that is usual near sea level. If the station lies higher, it may have been reduced to sea "
    "level by a weather service, at some 1 % of density for every 85 m; with the altitude stated that would show.",
)
SATURATED = FlagMeaning(
    "air saturated",
    "warning",
    "The readings say that the air is saturated; water may condense on probes and in tubes.",
)
HEAT_ASSUMED = FlagMeaning(
    "temperature from fan power",
    "note",
    "The temperature at this station was not read: it may differ from the meter's by anything up to all the fan's "
    "power heating the air, P/(q_m c_p), an upper bound. The middle is used and the bound is in the error bar.",
)
FLAGS = (
    ALTITUDE_USED,
    SEA_LEVEL,
    HUMIDITY_ASSUMED,
    OUTSIDE_FORMULA,
    UNLIKELY_AIR,
    NO_ALTITUDE,
    SATURATED,
    HEAT_ASSUMED,
)

CAUSES = (
    CauseMeaning(
        FORMULA["cipm-2007"].label,
        "What the equation for the density of moist air may be off by, the carbon dioxide of a lived-in room included: "
        + ", ".join(f"{100 * limit:.2g} % for {name}" for name, limit in FORMULA_LIMIT.items())
        + ". One error shared by every use.",
        SOURCE,
    ),
    CauseMeaning(
        VISCOSITY.label,
        f"The viscosity leaves humidity out: a limit of {100 * VISCOSITY_LIMIT:.2g} %, shared by every use. It "
        "reaches the flow only through the Reynolds number.",
        "compared with an open property library",
    ),
    CauseMeaning(
        "weather",
        f"No barometer was read: the day's weather moves the pressure by some {WEATHER:.0f} Pa (standard deviation) "
        "about the standard atmosphere of the altitude. Read a barometer.",
        "US Standard Atmosphere 1976; spread of the weather from memory",
    ),
    CauseMeaning(HUMIDITY_ASSUMED.code, HUMIDITY_ASSUMED.meaning, HUMIDITY_ASSUMED.source),
    CauseMeaning("fan heat in the air", HEAT_ASSUMED.meaning, HEAT_ASSUMED.source),
)


@dataclass
class Station:
    """The air at one station.

    Attributes
    ----------
    name : str
    state : dict of str to Estimate
        density, viscosity, temperature, pressure, vapour_fraction.
    findings : list of Finding
    same_as : str
        The station whose air stands in, where this one was not described.
    """

    name: str
    state: dict[str, Estimate]
    findings: list[Finding] = field(default_factory=list)
    same_as: str = ""


def kernel(
    temperature: Array,
    pressure: Array,
    formula_error: Array,
    viscosity_error: Array,
    relative_humidity: Array | None = None,
    wet_bulb: Array | None = None,
    dew_point: Array | None = None,
    formula: str = "cipm-2007",
) -> dict[str, Floats]:
    """State of moist air from a barometer, a thermometer and one reading of humidity."""
    fraction: Floats
    if formula == "fan-standard" and wet_bulb is not None:
        vapour = physics.fan_standard_vapour_pressure(wet_bulb, temperature, pressure)
        density = physics.fan_standard_density(temperature, pressure, vapour)
        fraction = vapour / pressure
    else:
        if wet_bulb is not None:
            fraction = physics.vapour_fraction_from_wet_bulb(wet_bulb, temperature, pressure)
        elif dew_point is not None:
            fraction = physics.vapour_fraction_from_dew_point(dew_point, temperature, pressure)
        else:
            assert relative_humidity is not None
            fraction = physics.vapour_fraction_from_humidity(relative_humidity, temperature, pressure)
        if formula == "fan-standard":
            density = physics.fan_standard_density(temperature, pressure, fraction * pressure)
        else:
            density = physics.moist_air_density(temperature, pressure, fraction)
    return {
        "density": density * (1.0 + formula_error),
        "viscosity": physics.viscosity(temperature) * (1.0 + viscosity_error),
        "temperature": temperature,
        "pressure": pressure,
        "vapour_fraction": fraction,
        "relative_humidity": physics.relative_humidity(fraction, temperature, pressure),
    }


def model_errors(formula: str) -> dict[str, Estimate]:
    third = math.sqrt(3)
    return {
        "formula_error": Estimate(0.0, (), {FORMULA[formula]: [FORMULA_LIMIT[formula] / third]}),
        "viscosity_error": Estimate(0.0, (), {VISCOSITY: [VISCOSITY_LIMIT / third]}),
    }


def station(
    section: Section, readings: dict[str, Estimate], formula: str, record_id: str, batch: tuple[str, ...] = ()
) -> Station:
    """State of the air at one station.

    Parameters
    ----------
    section : Section
        A table ``[air.…]`` of a record.
    readings : dict of str to Estimate
        Its readings with their error.
    formula : {'cipm-2007', 'fan-standard'}
    record_id : str
    batch : tuple of str
        ``('row',)`` where any reading differs from row to row.
    """
    findings: list[Finding] = []
    inputs = {**readings, **model_errors(formula)}
    where = section.name
    altitude = section.value("altitude")
    if "pressure" not in inputs:
        inputs["pressure"] = pressure_at(given_estimate(section["altitude"], f"{record_id}:{where}"), where, record_id)
        findings.append(Finding(ALTITUDE_USED, f"{where}: pressure of the standard atmosphere at the altitude given"))
    else:
        findings += _of_altitude(where, inputs["pressure"].value, altitude, bool(batch))
    if not any(name in inputs for name in ("relative_humidity", "wet_bulb", "dew_point")):
        low, high = HUMIDITY_UNKNOWN
        cause = Cause(f"{record_id}:{where}:humidity", shape="rectangular", scope="setup", label="humidity not read")
        inputs["relative_humidity"] = Estimate((low + high) / 2, (), {cause: [(high - low) / 2 / math.sqrt(3)]})
        findings.append(Finding(HUMIDITY_ASSUMED, f"{where}: relative humidity of 20 to 80 % assumed"))
    outputs = linear(kernel, inputs, batch, dict.fromkeys(OUTPUTS, batch), formula=formula)
    node = outputs["density"].node
    assert node is not None
    temperature, pressure = outputs["temperature"].value, outputs["pressure"].value
    findings += _of_range(where, temperature, pressure, formula, bool(batch))
    humid = node.diagnostics["relative_humidity"].reshape(-1)
    if np.any(humid > 0.99):
        wet = f"relative humidity {100 * float(np.max(humid)):.0f} %"
        findings.append(Finding(SATURATED, f"{where}: {wet}", _mask(humid > 0.99, bool(batch))))
    return Station(section.name.split(".")[-1], outputs, findings)


def _of_altitude(where: str, pressure: Array, altitude: float | None, batch: bool) -> list[Finding]:
    """Pressures that look reduced to sea level; without an altitude that cannot be told."""
    near_sea = np.abs(np.atleast_1d(pressure) - 101_325.0)
    if altitude is None:
        rows, message = near_sea < 4 * WEATHER, "a pressure reduced to sea level would not be noticed"
        meaning = NO_ALTITUDE
    else:
        usual = float(physics.standard_pressure(altitude))
        # two and a half standard deviations of the weather; at 350 m the two are 4 kPa apart
        rows = (np.abs(np.atleast_1d(pressure) - usual) > 2.5 * WEATHER) & (near_sea < 2.5 * WEATHER)
        read = span(np.atleast_1d(pressure)[rows] / 100, 0) if np.any(rows) else ""
        message = f"{read} hPa read, about {usual / 100:.0f} hPa usual at {altitude:.0f} m"
        meaning = SEA_LEVEL
    return [Finding(meaning, f"{where}: {message}", _mask(rows, batch))] if np.any(rows) else []


def _of_range(where: str, temperature: Array, pressure: Array, formula: str, batch: bool) -> list[Finding]:
    """Air that the density equation was not agreed for, or that is more likely a wrong unit."""
    celsius, hectopascal = np.broadcast_arrays(np.atleast_1d(temperature) - 273.15, np.atleast_1d(pressure) / 100)
    unlikely = (celsius < 0.0) | (celsius > 45.0) | (hectopascal < 600.0) | (hectopascal > 1100.0)
    outside = (np.abs(celsius - 21.0) > 6.0) & ~unlikely if formula == "cipm-2007" else np.zeros_like(unlikely)
    findings = []
    for meaning, rows in ((UNLIKELY_AIR, unlikely), (OUTSIDE_FORMULA, outside)):
        if np.any(rows):
            said = f"{where}: {span(celsius[rows], 1)} degC, {span(hectopascal[rows], 0)} hPa"
            findings.append(Finding(meaning, said, _mask(rows, batch)))
    return findings


def _mask(rows: NDArray[np.bool_], batch: bool) -> NDArray[np.bool_] | None:
    """Which rows of a batch; none in particular where the station's air is the same for all."""
    return rows if batch and len(rows) > 1 else None


def span(values: Array, decimals: int) -> str:
    """Smallest and largest in words, once where they print alike."""
    ends = [f"{float(x):.{decimals}f}" for x in (np.min(values), np.max(values))]
    return " to ".join(dict.fromkeys(ends))


def pressure_at(altitude: Estimate, where: str, record_id: str) -> Estimate:
    """Pressure of the standard atmosphere, the weather as its uncertainty."""
    weather = Cause(f"{record_id}:weather", scope="setup", label="weather (no barometer read)")
    return linear(
        lambda altitude, weather: {"pressure": physics.standard_pressure(altitude) + weather},
        {"altitude": altitude, "weather": Estimate(0.0, (), {weather: [WEATHER]})},
        outputs={"pressure": ()},
    )["pressure"]


def temperature_by_power(
    meter: Estimate, power: Estimate, mass_flow: Estimate, sign: float, where: str, record_id: str
) -> Estimate:
    """Temperature at a station before (sign −1) or after (+1) the fan: between the meter's and all power in the air."""
    share = Cause(f"{record_id}:{where}:heat", shape="rectangular", scope="setup", label="fan heat in the air")
    axes = mass_flow.axes
    return linear(
        lambda meter, power, mass_flow, share: {
            "temperature": meter + sign * share * physics.temperature_rise(power, mass_flow)
        },
        {
            "meter": meter,
            "power": power,
            "mass_flow": mass_flow,
            "share": Estimate(0.5, (), {share: [0.5 / math.sqrt(3)]}),
        },
        axes,
        {"temperature": axes},
    )["temperature"]
