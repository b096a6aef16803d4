"""A sealed chamber left to itself: the fall of its pressure to leakage at several pressures."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from flowrig.errors import Fault, InputError
from flowrig.physics.leakage import decay_flow
from flowrig.physics.si import Floats
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate, reading_estimate
from flowrig.records.items import Array, Section
from flowrig.records.record import Record
from flowrig.studies.paired import Paired
from flowrig.studies.reference_flow import AXIS, air_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

BY_DECAY = FlagMeaning(
    "leakage by decay",
    "warning",
    "The leakage is from the fall of pressure in the sealed chamber. It needs the volume, how fast the walls take up "
    "heat (m from 1 to 1.4), and air that keeps its temperature: 0.1 K is 34 Pa. Make-up flow measured at several "
    "pressures is preferred.",
)
WARMED = FlagMeaning(
    "temperature rules the decay",
    "warning",
    "What the air in the chamber may have warmed or cooled moves its pressure by more than a tenth of the fall. Wait "
    "until it has settled, shade it, or start from a higher pressure.",
    "threshold: own judgement, no source",
)
FLAGS = (BY_DECAY, WARMED)

SAMPLES = 20  # over the fall
LEAST = 4  # in a stretch
STRETCHES = 10
END = 0.1  # of the highest pressure: below, temperature and zero decide


def decayed(record: Record) -> Paired:
    """Leakage against pressure, from stretches of the fall.

    Raises
    ------
    InputError
        If the pressure does not fall, fewer than 20 rows lie over the fall, or the air is not described.

    Notes
    -----
    The fall, from the highest pressure to a tenth of it, is cut into stretches of like ratio; in each a parabola
    gives pressure and rate in its middle. What the readings scatter about it is each stretch's own; the
    instrument's limit, volume, barometer, compression and a steady drift of temperature are shared by all.
    """
    section, points = record.calibration, record.points
    assert section is not None
    if record.flows or "reference" in section:
        both, remedy = "a decay, and a reference beside it", "Remove the decay, or the [[flow]] sections and reference."
        raise InputError(Fault(section.where, both, "the one or the other", remedy))
    if "meter" not in record.air:
        remedy = "Say in which air: temperature, pressure, humidity, in a table [air.meter]."
        raise InputError(Fault(record.name, "no [air.meter]", "the air in the chamber", remedy))
    item = section["indication"]
    instrument = record.instruments.get(item.instrument)
    read = reading_estimate(item, instrument, record).estimate
    stretches = _stretches(section, read.value)
    time = points.time
    used = np.concatenate(stretches)
    middle, rate, dof, noise = _curves(read.value, time, stretches, _rounding(instrument))
    pressures = _through(read, middle)
    rates = _through(read, rate)
    cause = Cause(f"{record.id}:decay:scatter", dof=dof, each=AXIS, scope="reading", label="scatter of the log")
    rates = Estimate(rates.value, rates.axes, {**rates.parts, cause: [noise]})
    duration = float(np.ptp(time[used]))
    state = air_of(record, "meter").state
    local = f"{record.id}:calibration"
    inputs = {
        "gauge": pressures,
        "rate": rates,
        "volume": given_estimate(section["volume"], local),
        "compression": given_estimate(section["compression"], local, "compression m"),
        "pressure": state["pressure"],
        "warming": _warming(section, state, duration, local),
    }
    kept = {"drop": (AXIS,), "flow": (AXIS,)}
    found = linear(_leakage, inputs, (AXIS,), kept)
    fall = float(np.ptp(np.abs(read.value[used])))
    findings = [Finding(BY_DECAY, f"{len(used)} rows, {fall:.4g} Pa in {duration:.4g} s, {len(stretches)} stretches")]
    moved = float(state["pressure"].value / state["temperature"].value) * section.value("temperature_drift")
    if moved > 0.1 * fall:
        findings.append(Finding(WARMED, f"up to {moved:.2g} Pa of {fall:.3g} Pa"))
    density, viscosity = (float(state[name].value) for name in ("density", "viscosity"))
    return Paired(
        record, "chamber", found["drop"], found["flow"], {}, density, viscosity, instrument,
        "the fall of its own pressure", findings,
    )  # fmt: skip


def _stretches(section: Section, gauge: Array) -> list[NDArray[np.intp]]:
    """Rows of the fall, in stretches over which the pressure falls by like ratios."""
    size = np.abs(gauge)
    first = int(np.argmax(size))
    where = section["indication"].where
    below = np.flatnonzero(size[first:] < END * size[first])
    last = first + int(below[0]) if below.size else len(size)
    n = last - first
    if size[first] <= 0.0 or not size[last - 1] < 0.8 * size[first]:
        said = "a pressure that falls by a fifth at least"
        remedy = "Log the sealed chamber from its highest pressure on, until little is left."
        raise InputError(Fault(where, "a pressure that hardly falls", said, remedy))
    if n < SAMPLES:
        said = f"{SAMPLES} rows at least from the highest pressure to a tenth of it"
        raise InputError(Fault(where, f"{n} rows over the fall", said, "Log faster, or seal the chamber better."))
    falling = np.log(np.minimum.accumulate(size[first:last]))
    edges = np.linspace(falling[0], falling[-1], STRETCHES + 1)[1:-1]
    cuts = np.searchsorted(-falling, -edges)
    pieces = [piece for piece in np.split(np.arange(first, last), cuts) if len(piece)]
    merged: list[NDArray[np.intp]] = []
    for piece in pieces:
        if merged and len(merged[-1]) < LEAST:
            merged[-1] = np.concatenate([merged[-1], piece])
        else:
            merged.append(piece)
    if len(merged) > 1 and len(merged[-1]) < LEAST:
        merged[-2:] = [np.concatenate(merged[-2:])]
    if len(merged) < 3:
        said = "a fall that is slow enough to be read at three pressures"
        raise InputError(Fault(where, "a fall within a few rows", said, "Log faster, or seal the chamber better."))
    return merged


def _rounding(instrument: object) -> float:
    resolution = getattr(instrument, "resolution", None)
    return float(resolution) / math.sqrt(12) if resolution else 0.0


def _curves(
    gauge: Array, time: Array, stretches: list[NDArray[np.intp]], rounding: float
) -> tuple[Array, Array, float, Array]:
    """Weights of the rows in the pressure and the rate in the middle of each stretch, by a parabola; degrees of freedom
    and noise of the rates."""
    middle, rate = np.zeros((len(stretches), len(gauge))), np.zeros((len(stretches), len(gauge)))
    squares, dof = 0.0, 0.0
    for k, at in enumerate(stretches):
        centred = time[at] - np.mean(time[at])
        design = np.stack([np.ones(len(at)), centred, centred**2], axis=1)
        weights = np.linalg.pinv(design)
        middle[k, at], rate[k, at] = weights[0], weights[1]
        squares += float(np.sum((gauge[at] - design @ (weights @ gauge[at])) ** 2))
        dof += len(at) - 3
    scatter = max(math.sqrt(squares / dof), rounding)
    return middle, rate, dof, scatter * np.sqrt(np.sum(rate**2, axis=1))


def _through(read: Estimate, weights: Array) -> Estimate:
    """Weighted sums of the rows; what is each row's own is in the scatter already."""
    parts = {cause: part @ weights.T for cause, part in read.parts.items() if cause.each is None}
    return Estimate(weights @ read.value, (AXIS,), parts)


def _warming(section: Section, state: dict[str, Estimate], duration: float, local: str) -> Estimate:
    """Rate at which the pressure may have moved because the air warmed or cooled steadily. [Pa/s]"""
    limit = float(state["pressure"].value / state["temperature"].value) * section.value("temperature_drift") / duration
    cause = Cause(f"{local}:temperature drift", shape="rectangular", scope="setup", label="temperature in the chamber")
    return Estimate(0.0, (), {cause: [limit / math.sqrt(3)]})


def _leakage(
    *, gauge: Array, rate: Array, volume: Array, compression: Array, pressure: Array, warming: Array
) -> dict[str, Floats]:
    sign = np.sign(gauge)
    leaving = -(rate - warming) * sign  # positive while the pressure falls towards that of the room
    held = np.clip(compression, 1.0, 1.4)
    flow = np.sign(leaving) * decay_flow(leaving, volume, pressure + gauge, held)
    return {"drop": np.abs(gauge) + 0.0 * flow, "flow": flow}
