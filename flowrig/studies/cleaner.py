"""A cleaner put together from its records: fan, air and bank as inputs of the balance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.instruments import all_findings
from flowrig.records.items import Array
from flowrig.records.predict_facts import IN_LINE
from flowrig.records.prediction import Prediction
from flowrig.records.record import Record
from flowrig.studies.balance import AXES, FILTER, Options, all_crossings, balance
from flowrig.studies.bank import Batch, Entry, in_place, put_together
from flowrig.studies.fan_curve import DIP, FanCurve, fan_curve
from flowrig.studies.filter_law import filter_law
from flowrig.studies.reference_flow import AXIS, air_of
from flowrig.uncertainty.alongside import averaged
from flowrig.uncertainty.estimate import Estimate, align
from flowrig.uncertainty.propagate import linear

OTHER_AIR = 0.03  # of the density: below this the power of a motor is told as it is; own judgement, no source

SPEED_TAKEN = FlagMeaning(
    "curve brought to another speed",
    "note",
    "The fan's curve was brought to another speed by the fan laws and the crossing was solved again. The laws hold for "
    "the wheel; a motor that is slowed by its voltage slips more, so that its speed is not known from the setting.",
)
POWER_AT_SPEED = FlagMeaning(
    "electrical power at another speed",
    "warning",
    "The electrical power was brought to another speed by the cube of the ratio, as the power at the shaft goes. What "
    "the motor itself loses follows no such law, so that it draws more than is told where it is slowed; by how much is "
    "not in the error bar. A watt meter at that speed tells it.",
)
PARALLEL_DIP = FlagMeaning(
    "fans side by side on a curve with a dip",
    "warning",
    "Two fans side by side share a pressure, and where their curve has a dip one may stall while the other runs: they "
    "do not share the flow evenly then.",
)
SHAFT_POWER = FlagMeaning(
    "shaft power",
    "note",
    "The power is that at the shaft: what is drawn from the socket is more, by the losses of the motor.",
)
POWER_IN_AIR = FlagMeaning(
    "electrical power in other air",
    "warning",
    "The electrical power was brought to the air of the unit in proportion to its density, as the power at the shaft "
    "goes. The losses of a small motor hardly change with the air, so that in thin air it draws more than is told; by "
    "how much is not in the error bar.",
)
HOT = FlagMeaning(
    "a throttled fan can run hot",
    "note",
    "Filters throttle a fan, and a throttled motor can run hotter than it was built for; how much cannot be told from "
    "a flow. Watch it on its first runs, do not leave it running unattended, keep the guards on and the cord free; "
    "unplug it before touching blades or filters. Measured winding resistances, in a table [winding], tell the rise.",
    "guidance of fire-safety laboratories and air agencies for home-made cleaners",
)
CAUTION = (
    "watch it on its first runs; guards on, cord clear of feet and water, no extension cord, not left running "
    "unattended; unplug it before touching blades or filters"
)
FLAGS = (SPEED_TAKEN, PARALLEL_DIP, SHAFT_POWER, POWER_AT_SPEED, POWER_IN_AIR, HOT)


@dataclass
class Setup:
    """Fan and bank as inputs of the balance.

    Attributes
    ----------
    record : Record
    curve : FanCurve
    entries : list of Entry
    inputs : dict of str to Estimate
    options : Options
    batch : tuple of str
    air : dict of str to Estimate
        State of the air at the unit.
    findings : list of Finding
    """

    record: Record
    curve: FanCurve
    entries: list[Entry]
    inputs: dict[str, Estimate]
    options: Options
    batch: Batch
    air: dict[str, Estimate] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def nominal(self) -> dict[str, Array]:
        return {n: align(x.value, x.axes, AXES) for n, x in self.inputs.items()}

    def crossings(self) -> list[list[tuple[float, bool]]]:
        """Of each design, the place along the curve and whether it is stable."""
        return all_crossings(self.options, self.nominal())

    def solved(self, near: Array, stable: bool = True) -> dict[str, Estimate]:
        """What holds at the crossing nearest to a place, of one kind."""
        inputs = {**self.inputs, "near": Estimate(near, self.batch)}
        names = ["flow", "fan_flow", "back", "pressure", "lost", "free_air", "shut_off", "share"]
        names += [name for name in ("power", "motor_temperature") if name in self.inputs]
        kept: dict[str, Batch] = dict.fromkeys(names, self.batch)
        kept |= dict.fromkeys(("drop", "velocity", "through", "beside"), (*self.batch, FILTER))
        return linear(balance, inputs, AXES, kept, options=self.options, falling=stable)


def all_of(*made: Callable[[], Any]) -> list[Any]:
    """What each of some calls returns; their faults together.

    Raises
    ------
    InputError
        With the faults of all, each said once.
    """
    found, faults = [], list[Fault]()
    for one in made:
        try:
            found.append(one())
        except InputError as error:
            faults += [fault for fault in error.faults if fault not in faults]
    if faults:
        raise InputError(faults)
    return found


def task_of(record: Record) -> Prediction:
    if record.prediction is None:
        said = "a record with a table [predict], which names a fan, and with [[filters]]"
        raise InputError(Fault(record.name, "no [predict]", said, "Describe what is to be predicted there."))
    return record.prediction


def setup(record: Record, entries: list[Entry] | None = None, speed: Array | None = None, batch: Batch = ()) -> Setup:
    """Fan, air and bank of a record; in a sweep with what changes from design to design."""
    task = task_of(record)
    if "unit" not in record.air:
        remedy = "Say in which air the cleaner is to run: temperature, and pressure or altitude, in a table [air.unit]."
        raise InputError(Fault(record.name, "no [air.unit]", "the air at the unit", remedy))
    section = task.task
    named_by = section["setting"].where if "setting" in section else section.where
    curve, *laws = all_of(
        lambda: fan_curve(section.value("fan"), section.value("setting"), named_by),
        *(partial(filter_law, own.value("filter")) for own in (task.filters if entries is None else ())),
    )
    entries = entries or [Entry(own, [law]) for own, law in zip(task.filters, laws, strict=True)]
    if not batch:
        _check_stages(task, entries)
    air = air_of(record, "unit")
    for entry in entries:
        entry.members = in_place(entry, record, air.state, batch)
    fans = float(section.value("fans", 1))
    line = section.value("arrangement") == IN_LINE
    inputs = {**curve.points, "straightness": curve.straightness, **put_together(entries)}
    inputs |= {
        "loss": _losses(task, record),
        "density": air.state["density"],
        "speed_ratio": Estimate(speed, batch) if speed is not None else _speed(task, curve, record),
        "backflow": _backflow(task, record),
        "abreast": Estimate(1.0 if line else fans),
        "in_line": Estimate(fans if line else 1.0),
    }
    options = Options(curve.nodes, curve.density, tuple(entry.stage for entry in entries))
    findings = [*record.findings, *all_findings(record.instruments), *air.findings, *curve.findings]
    findings += [f for entry in entries for law in entry.laws for f in law.findings]
    ratio = np.atleast_1d(inputs["speed_ratio"].value)
    if np.any(np.abs(ratio - 1.0) > 1e-9):
        shown = " to ".join(dict.fromkeys(f"{100 * x:.3g}" for x in (ratio.min(), ratio.max())))
        findings.append(Finding(SPEED_TAKEN, f"{shown} % of the speed of {curve.title}"))
        if "power" in inputs and curve.electrical:
            findings.append(Finding(POWER_AT_SPEED, f"told for {shown} % of the speed, in proportion to its cube"))
        inputs.pop("motor_temperature", None)
    if fans > 1 and not line and any(f.meaning == DIP for f in curve.findings):
        findings.append(Finding(PARALLEL_DIP, f"{fans:.0f} fans"))
    if "power" in inputs and not curve.electrical:
        findings.append(Finding(SHAFT_POWER, curve.title))
    thinner = float(air.state["density"].value) / curve.density
    if "power" in inputs and curve.electrical and abs(thinner - 1.0) > OTHER_AIR:
        findings.append(Finding(POWER_IN_AIR, f"{100 * thinner:.0f} % of the density that the curve holds for"))
    findings.append(Finding(HOT, CAUTION))
    return Setup(record, curve, entries, inputs, options, batch, air.state, findings)


def _check_stages(task: Prediction, entries: list[Entry]) -> None:
    """Every stage has a filter; only a sweep may start at none, which is then no stage."""
    stages = dict.fromkeys(entry.stage for entry in entries)
    for stage in stages:
        own = [i for i, entry in enumerate(entries) if entry.stage == stage]
        if not any(np.any(entries[i].counts > 0) for i in own):
            read = "no filter at all" if len(stages) == 1 else f"no filter in stage {stage}"
            remedy = "Write count = 1, for instance, or remove the section."
            raise InputError(Fault(task.filters[own[0]].where, read, "at least one filter", remedy))


def _losses(task: Prediction, record: Record) -> Estimate:
    """Sum of the loss coefficients, each over the square of its area."""
    if not task.losses:
        return Estimate(0.0)
    inputs = {}
    for i, section in enumerate(task.losses):
        place, name = f"{record.id}:{section.name}", section.value("name")
        inputs[f"c{i}"] = given_estimate(section["coefficient"], place, f"loss coefficient, {name}")
        inputs[f"a{i}"] = given_estimate(section["area"], place, f"loss area, {name}")

    def kernel(**given: Array) -> dict[str, Array]:
        return {"loss": np.asarray(sum(given[f"c{i}"] / given[f"a{i}"] ** 2 for i in range(len(task.losses))))}

    return linear(kernel, inputs, (), {"loss": ()})["loss"]


def _speed(task: Prediction, curve: FanCurve, record: Record) -> Estimate:
    section = task.task
    if "speed" in section:
        if curve.speed is None:
            remedy = "Write speed_ratio, or add a column speed to the fan's points."
            said = f"a fan whose record holds its speed; {curve.record.name} holds none"
            raise InputError(Fault(section["speed"].where, "a speed", said, remedy))
        wanted = given_estimate(section["speed"], f"{record.id}:predict", "speed of the fan")
        own = averaged(curve.speed, AXIS, [0] * len(curve.nodes)).single(0)  # the tachometer's limit is no noise
        return linear(_ratio, {"wanted": wanted, "own": own}, (), {"ratio": ()})["ratio"]
    if "speed_ratio" in section:
        return given_estimate(section["speed_ratio"], f"{record.id}:predict", "speed of the fan")
    return Estimate(1.0)


def _ratio(*, wanted: Array, own: Array) -> dict[str, Array]:
    return {"ratio": wanted / own}


def _backflow(task: Prediction, record: Record) -> Estimate:
    section = task.task
    if "backflow_area" not in section:
        return Estimate(0.0)
    place = f"{record.id}:predict"
    inputs = {
        name: given_estimate(section[f"backflow_{name}"], place, f"backflow {name}") for name in ("area", "coefficient")
    }
    return linear(lambda area, coefficient: {"x": np.maximum(area * coefficient, 0.0)}, inputs, (), {"x": ()})["x"]
