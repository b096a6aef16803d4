"""The record of a fan to its curve: points with their causes, in one air, at one setting."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.physics.fan import fan_power_at_speed, fan_pressure_at_speed
from flowrig.progress import doing
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.fan_facts import SCATTER, STATED
from flowrig.records.files import near_name, quoted
from flowrig.records.instruments import all_findings
from flowrig.records.items import Array, Item, Section, as_written
from flowrig.records.points import SETTING
from flowrig.records.record import Record
from flowrig.studies.reference_flow import (
    AXIS,
    ReferenceFlow,
    as_points,
    by_reading,
    by_sections,
    joined,
    read_in_rows,
)
from flowrig.uncertainty.alongside import averaged
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

LEAST = 2
REPEATED = 0.01  # of the greatest flow: measured points nearer than this are repeats of one; own judgement, no source
OF_POINTS = ("flow", "pressure", "power", "speed", "voltage", "motor_temperature")
VOLTAGE = 0.02  # of the mean: how far the supply may wander over a curve; own judgement, no source

DIP = FlagMeaning(
    "fan curve with a dip",
    "warning",
    "The pressure of the fan falls and rises again as the flow goes down, by more than its errors explain: it stalls "
    "there. The dip is kept as it was measured. Near it a fan may run at one of several flows, and jump between them; "
    "choose a bank that crosses the curve well to the right of it.",
)
NAMEPLATE = FlagMeaning(
    "nameplate against curve",
    "warning",
    "The free-air flow that a nameplate claims is not what the curve says at zero pressure. It is held as a claim and "
    "is no point of the curve: a rating is seldom measured in the guards and the box that the fan will stand in.",
)
STATED_CURVE = FlagMeaning(
    "stated fan curve",
    "note",
    "The curve is a maker's or a printed one and was not measured on this fan: its limits are those stated, or else "
    "10 % of flow, pressure and power (ISO 13348, grade AN4, from memory). A fan of the shelf may be worse.",
)
VOLTAGE_WANDERS = FlagMeaning(
    "voltage not constant",
    "warning",
    "The voltage at the socket changed by more than 2 % while the curve was measured, so that its points are not of "
    "one setting. Measure again on a steady supply.",
    "own judgement, no source",
)
READ_ONCE = FlagMeaning(
    "scatter of the points not stated",
    "note",
    "Each point of the fan's curve was read once and nothing tells how readings scatter; the error bar holds the "
    "limits of the instruments alone. Read one point ten times and write the standard deviation as pressure_scatter "
    "and flow_scatter.",
)
AVERAGED = FlagMeaning(
    "repeated points averaged",
    "note",
    "Measured points of a fan that lie within one per cent of its greatest flow of each other were averaged, flow with "
    "flow and pressure with pressure: a curve through each of them would turn between them.",
    "one per cent: own judgement, no source",
)
FLOW_AS_SHOWN = FlagMeaning(
    "flow as the instrument showed it",
    "warning",
    "The flow or velocity at the points is what an instrument showed, taken as actual at the air of the meter and "
    "within the limits of that instrument alone. Swirl and unevenness under a hood, a plane read at few places, "
    "and a display that holds at another density are in no error bar. A [[flow]] section with the method that was used "
    "has them.",
)
FLAGS = (AVERAGED, FLOW_AS_SHOWN, DIP, NAMEPLATE, STATED_CURVE, VOLTAGE_WANDERS, READ_ONCE)


@dataclass
class FanCurve:
    """A fan at one setting.

    Attributes
    ----------
    record : Record
    setting : str
        Empty where the record holds one curve.
    points : dict of str to Estimate
        ``flow``, ``pressure`` and, where they are known, ``power`` and ``motor_temperature``, with the axis ``point``,
        in the order of rising flow. SI.
    density : float
        Of the air that pressure and power are for.
    speed : Estimate or None
        Of each point, with the axis ``point``. [1/s]
    straightness : Estimate
        Nothing, give or take what the smooth curve may differ from straight lines between its points.
    """

    record: Record
    setting: str
    points: dict[str, Estimate]
    density: float
    straightness: Estimate
    speed: Estimate | None = None
    findings: list[Finding] = field(default_factory=list)

    @property
    def section(self) -> Section:
        assert self.record.curve is not None
        return self.record.curve

    @property
    def nodes(self) -> Array:
        return self.points["flow"].value

    @property
    def title(self) -> str:
        named = str(self.record.heading.value("title"))
        return f"{named}, {self.setting}" if self.setting else named

    @property
    def electrical(self) -> bool:
        return str(self.section.value("power_is")) == "electrical"

    @property
    def free_air_inside(self) -> bool:
        """Whether the points reach down to zero pressure, as far as can be told of the last."""
        last = self.points["pressure"]
        return bool(last.value[-1] <= 2.0 * last.u[-1])

    @property
    def shut_off_inside(self) -> bool:
        """Whether a point is without flow."""
        return bool(self.nodes[0] <= 1e-6 * self.nodes[-1])


@doing("the fan's curve")
def fan_curve(record: Record, setting: str | None = None, named_by: str = "") -> FanCurve:
    """The curve of a fan's record.

    Parameters
    ----------
    record : Record
        With a table [fan].
    setting : str, optional
        Which curve, where there are several.
    named_by : str, optional
        Where the setting is named, or should be, if that is another record.

    Raises
    ------
    InputError
        If the points are no curve: fewer than two, two of one flow, pressures that only rise, or a setting that is not
        there.
    """
    section = record.curve
    assert section is not None
    points, density, findings = _stated(record) if section.value("figures") == STATED else _measured(record)
    every = len(points["flow"].value)
    rows = _of_setting(record, setting, every, named_by or record.name)
    order = rows[np.argsort(points["flow"].value[rows], kind="stable")]
    points = {name: x.take(AXIS, order) for name, x in points.items()}
    speed = _speed(record, every)
    speed = None if speed is None else speed.take(AXIS, order)
    if section.value("figures") != STATED and len(order) > 1:
        points, speed = _repeats_averaged(record, points, speed, findings)
    _check(record, points)
    findings += [*record.findings, *all_findings(record.instruments)]
    findings += _voltage(section, rows)
    cause = Cause(
        f"{record.id}:fan:{setting or ''}:between points",
        shape="rectangular",
        scope="method",
        label="fan curve between its points",
    )
    straightness = Estimate(0.0, (), {cause: [1 / math.sqrt(3)]})
    curve = FanCurve(record, setting or "", points, density, straightness, speed, findings)
    rise = _rise(points["pressure"])
    if rise is not None:
        unit = section["flow"].unit if "flow" in section else units.default_display("flow")
        ends = [float(units.from_si(points["flow"].value[k], unit, "flow")) for k in rise]
        curve.findings.append(Finding(DIP, f"{curve.title}: pressure rises from {ends[0]:.4g} to {ends[1]:.4g} {unit}"))
    return curve


def _rise(pressure: Estimate) -> tuple[int, int] | None:
    """Between which points the pressure rises the most, where any rises by more than chance."""
    rise, told = _rises(pressure)
    if not np.any(told):
        return None
    first, last = np.unravel_index(np.argmax(np.where(told, rise, 0.0)), rise.shape)
    return int(first), int(last)


def _rises(pressure: Estimate) -> tuple[Array, NDArray[np.bool_]]:
    """By how much the pressure of one point is above that of an earlier, and whether by twice what errors explain."""
    rise = pressure.value - pressure.value[:, np.newaxis]
    variance = np.zeros(rise.shape)
    for cause, part in pressure.parts.items():
        if cause.each == AXIS:
            own = np.square(part).sum(axis=0)
            variance += own + own[:, np.newaxis]
        else:
            variance += np.square(part[:, np.newaxis, :] - part[:, :, np.newaxis]).sum(axis=0)
    return rise, np.triu(rise > 2.0 * np.sqrt(variance), 1)


def settings_of(record: Record) -> list[str]:
    """Names of the curves that a record holds; empty where it is one without a name."""
    labels = record.points.labels.get(SETTING, []) if record.points is not None else []
    return list(dict.fromkeys(labels))


def _stated(record: Record) -> tuple[dict[str, Estimate], float, list[Finding]]:
    section = record.curve
    assert section is not None
    if "flow" not in section:
        remedy = "Give a flow beside each pressure."
        raise InputError(Fault(section.where, "no flow", "the flow of each point", remedy))
    lengths = {name: len(section.value(name)) for name in OF_POINTS if name in section}
    if len(set(lengths.values())) > 1:
        said = ", ".join(f"{n} of {name}" for name, n in lengths.items())
        raise InputError(Fault(section.where, said, "as many values of each", "Fill the gap, or leave the point out."))
    points = {}
    for name in ("flow", "pressure", "power", "motor_temperature"):
        if name not in section:
            continue
        value = np.asarray(section.value(name), dtype=float)
        limit = section.value(f"{name}_limit") * (1.0 if name == "motor_temperature" else np.abs(value))
        label = f"stated fan curve, {name.replace('_', ' ')}"
        cause = Cause(f"{record.id}:fan:{name}", shape="rectangular", scope="calibration", label=label)
        points[name] = Estimate(value, (AXIS,), {cause: [limit / math.sqrt(3) + 0.0 * value]})
    limits = [
        f"{as_written(section[f'{n}_limit'])} of {n.replace('_', ' ')} "
        f"{'assumed' if section[f'{n}_limit'].assumed else 'stated'}"
        for n in points
    ]
    limits.append(f"in air of {as_written(section['density'])} {'assumed' if section['density'].assumed else 'stated'}")
    return points, float(section.value("density")), [Finding(STATED_CURVE, ", ".join(limits))]


def _measured(record: Record) -> tuple[dict[str, Estimate], float, list[Finding]]:
    """Every point reduced: flow at the fan, and pressure and power brought to one density at the same speed."""
    section, table = record.curve, record.points
    assert section is not None
    if table is None:
        remedy = 'Add points = "points.csv"; or write figures = "stated", if a maker stated them.'
        raise InputError(Fault(section.where, "no points", "a table of points, each with its readings", remedy))
    if "flow" in section and record.flows:
        remedy = "Remove the column flow, or the [[flow]] sections."
        raise InputError(Fault(section["flow"].where, "a column flow and [[flow]]", "one flow for the points", remedy))
    if "flow" not in section and not record.flows:
        remedy = "Describe how the flow of each point was measured."
        raise InputError(Fault(section.where, "no flow", "[[flow]] sections, or a column flow", remedy))
    flows = flows_of(record, section.items.get("flow"))
    density = round(float(np.concatenate([flow.air()[0] for flow in flows]).mean()), 3)
    names = [name for name in ("pressure", "power", "motor_temperature") if name in section]
    found: dict[str, list[Estimate]] = {}
    for flow in flows:
        inputs = {"mass_flow": flow.mass_flow, "density": flow.state["density"]}
        inputs |= {name: flow.reading(section[name]) for name in names}
        kept = dict.fromkeys(("flow", *names), ("row",))
        for name, x in linear(_in_one_air, inputs, ("row",), kept, to_density=density).items():
            found.setdefault(name, []).append(x)
    points = {name: joined(pieces, flows) for name, pieces in found.items()}
    findings = [f for flow in flows for f in flow.findings]
    if not any(name in section for name in SCATTER):
        findings.append(Finding(READ_ONCE, str(record.heading.value("title"))))
    return _scattered(record, points), density, findings


def _scattered(record: Record, points: dict[str, Estimate]) -> dict[str, Estimate]:
    """Points with the scatter of a single reading, each its own."""
    section = record.curve
    assert section is not None
    found = dict(points)
    for name, share in (("pressure", False), ("flow", True)):
        size = section.value(f"{name}_scatter", 0.0)
        if size:
            x = points[name]
            label = f"scatter of a reading of the fan's {name}"
            cause = Cause(f"{record.id}:fan:{name}:scatter", each=AXIS, scope="reading", label=label)
            u = size * (np.abs(x.value) if share else np.ones(x.value.shape))
            found[name] = Estimate(x.value, x.axes, {**x.parts, cause: u[np.newaxis]})
    return found


def flows_of(record: Record, item: Item | None) -> list[ReferenceFlow]:
    """Flows of a table of points, by [[flow]] sections or as an instrument showed them in a column."""
    if item is None:
        return by_sections(record, record.points)
    if "meter" not in record.air:
        remedy = "Say in which air the flow was read, in a table [air.meter]."
        raise InputError(Fault(record.name, "no [air.meter]", "the air that was measured in", remedy))
    read = by_reading(record, item)
    if item.instrument:
        read.findings.append(Finding(FLOW_AS_SHOWN, f"{record.heading.value('title')}: {item.instrument}"))
    return [read]


def _in_one_air(
    *, mass_flow: Array, density: Array, pressure: Array, to_density: float, **others: Array
) -> dict[str, Array]:
    flow = mass_flow / density
    found = {"flow": flow, "pressure": fan_pressure_at_speed(pressure, 1.0, density, to_density)}
    if "power" in others:
        found["power"] = fan_power_at_speed(others["power"], 1.0, density, to_density)
    if "motor_temperature" in others:
        found["motor_temperature"] = others["motor_temperature"]
    return {name: np.asarray(x + 0.0 * flow) for name, x in found.items()}


def _of_setting(record: Record, setting: str | None, n: int, where: str) -> NDArray[np.intp]:
    known = settings_of(record)
    if setting is None and len(known) > 1:
        remedy = f'Add setting = "{known[0]}" to [predict], for instance.'
        read = f"no setting, and {record.name} holds {len(known)} curves"
        raise InputError(Fault(where, read, f"one of: {', '.join(map(quoted, known))}", remedy))
    if setting is not None and setting not in known:
        near = near_name(setting, known)
        expected = f"a setting of {record.name}: {', '.join(map(quoted, known)) or 'it names none'}"
        remedy = f"Did you mean {quoted(near)}?" if near else "Name one of them." if known else "Leave setting out."
        raise InputError(Fault(where, f"setting {quoted(setting)}", expected, remedy))
    if setting is None:
        return np.arange(n)
    return np.flatnonzero(np.asarray(record.points.labels[SETTING]) == setting)


def _speed(record: Record, every: int) -> Estimate | None:
    """Speed at each point, with what the tachometer may be off."""
    section = record.curve
    assert section is not None
    if "speed" not in section:
        return None
    if section.value("figures") == STATED:
        return Estimate(np.broadcast_to(section.value("speed"), (every,)), (AXIS,))
    return as_points(read_in_rows(record, section["speed"])[0], np.arange(every))


def _repeats_averaged(
    record: Record, points: dict[str, Estimate], speed: Estimate | None, findings: list[Finding]
) -> tuple[dict[str, Estimate], Estimate | None]:
    """Measured points of all but one flow are one point: a curve through both would turn between them."""
    flow = points["flow"].value
    if not np.all(np.isfinite(flow)):
        return points, speed
    groups = [0]
    first = flow[0]
    for x in flow[1:]:
        if x - first > REPEATED * np.max(np.abs(flow)):
            first = x
            groups.append(groups[-1] + 1)
        else:
            groups.append(groups[-1])
    if groups[-1] + 1 == len(groups):
        return points, speed
    findings.append(
        Finding(AVERAGED, f"{record.heading.value('title')}: {len(groups)} points at {groups[-1] + 1} flows")
    )
    found = {name: averaged(x, AXIS, groups) for name, x in points.items()}
    return found, None if speed is None else averaged(speed, AXIS, groups)


def _check(record: Record, points: Mapping[str, Estimate]) -> None:
    """The points can be a curve of a fan."""
    section = record.curve
    assert section is not None
    flow, pressure = points["flow"].value, points["pressure"].value
    item = section["pressure"]
    if len(flow) < LEAST:
        remedy = "A fan is known by points over its whole range: free air, the bank, and more resistance than that."
        raise InputError(Fault(item.where, f"{len(flow)} point", "at least two points of one setting", remedy))
    if not np.all(np.isfinite(flow)):
        raise InputError(Fault(item.where, "a point without a flow", "readings from which a flow follows", "Check it."))
    close = np.flatnonzero(np.diff(flow) <= 1e-9 * np.max(np.abs(flow)))
    if close.size:
        k = int(close[0])
        two = [f"{x:.4g} Pa" for x in pressure[k : k + 2]]
        read = f"two points at the flow {units.from_si(flow[k], 'm3/h', 'flow'):.5g} m3/h: {' and '.join(two)}"
        remedy = "Take the mean of repeated points; two settings are told apart by a column setting."
        raise InputError(Fault(item.where, read, "one pressure at each flow", remedy))
    if np.all(np.diff(pressure) >= 0):
        remedy = "Check the sign of the pressure and which column is which."
        said = "a pressure that falls towards free air"
        raise InputError(Fault(item.where, "a pressure that never falls as the flow grows", said, remedy))
    rises = _rises(points["pressure"])[1]
    if rises[-2, -1]:
        remedy = "Check the last point: no fan gives more pressure as it comes to free air."
        read = f"a pressure that rises at the last point, {pressure[-2]:.4g} to {pressure[-1]:.4g} Pa"
        raise InputError(Fault(item.where, read, "a pressure that falls towards free air", remedy))
    below = np.flatnonzero((pressure < 0.0) & np.any(rises, axis=1))
    if below.size:
        k = int(below[0])
        read = f"{pressure[k]:.4g} Pa at {units.from_si(flow[k], 'm3/h', 'flow'):.5g} m3/h, and more at greater flows"
        remedy = "Check the sign of this point, and whether the hoses were swapped."
        raise InputError(Fault(item.where, read, "pressures below zero beyond free air alone", remedy))


def _voltage(section: Section, rows: NDArray[np.intp]) -> list[Finding]:
    volts = section.value("voltage")
    if volts is None or len(volts) < 2:
        return []
    own = volts[rows]
    if np.ptp(own) <= VOLTAGE * np.mean(own):
        return []
    return [
        Finding(
            VOLTAGE_WANDERS, f"{as_written(section['voltage'])} on average, {np.min(own):.4g} to {np.max(own):.4g} V"
        )
    ]
