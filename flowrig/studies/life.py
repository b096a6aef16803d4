"""A cleaner as its filters load and lose their charge: flow and clean air over its running time, and when to change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.progress import doing
from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Section, as_written
from flowrig.records.record import Record
from flowrig.studies import filter_change as change
from flowrig.studies.balance import ROW
from flowrig.studies.cleaner import SPEED_TAKEN, Setup, setup, task_of
from flowrig.studies.efficiency import CHARGED, held_back
from flowrig.studies.filter_change import Change
from flowrig.studies.loading import Worn, entries_of, knots, worn
from flowrig.studies.operating_point import LABELS as AT_A_POINT
from flowrig.studies.operating_point import LOST_DRAWS, beyond_tested
from flowrig.studies.result import Quantity
from flowrig.studies.sweep import NOWHERE, SEVERAL_HERE
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

TIMES = 25  # evenly over the run, both ends included
MOST_KNOTS = 75  # further times, from the records of the filters
SAME = 1e-9  # of the run: one time
DRAWS = 4000  # a time: its ends are then good to about 0.05 u
KEPT, IN_USE, LOST = "clean_air_kept", "clean_air_in_use", "clean_air_lost"
EXPECTED, LOWER = (IN_USE, LOST, KEPT), (LOST, IN_USE, KEPT)  # the first that is known
PRICES = ("filter_price", "change_price", "energy_price")

NOT_EVEN_NEW = FlagMeaning(
    "required clean air not met",
    "alarm",
    "Even with new filters and all of their charge the clean air that is required is not reached at the lower end of "
    "its error bar. Changing filters earlier does not help: take more filters, better ones, or a further cleaner.",
)
ONLY_CHARGED = FlagMeaning(
    "required clean air needs the charge",
    "warning",
    "At the lower end of its error bar the clean air that is required is reached only while the filters hold their "
    "charge, which smoke can take in minutes, without any rise of the drop. Count on it no longer than that.",
)
MOTOR_ROOM = FlagMeaning(
    "temperature of the motor in another room",
    "note",
    "The temperature of the motor is that of the room in which the fan's curve was measured; in a warmer room it is "
    "warmer by as much. It says nothing of a winding inside.",
)
COST_PARTS = FlagMeaning(
    "price of the change not told",
    "note",
    "No price of the labour of a change was given, and none is in the cost of the clean air.",
)
FLAGS = (NOT_EVEN_NEW, ONLY_CHARGED, MOTOR_ROOM, COST_PARTS)
LABELS = {
    **{name: AT_A_POINT[name] for name in ("flow", "pressure", "power", "motor_temperature")},
    KEPT: ("clean-air rate, charge kept", "flow", ""),
    IN_USE: ("clean-air rate, charge as told", "flow", ""),
    LOST: ("clean-air rate, charge lost", "flow", ""),
}


@dataclass
class Life:
    """A cleaner over its running time.

    Attributes
    ----------
    record : Record
    setup : Setup
    times : array
        Of running. [s]
    unit : str
        Unit of time, as the run was told.
    quantities : dict of str to Quantity
        With the axis ``row``, one value a time: ``flow``, ``pressure``, ``power``, ``motor_temperature``,
        ``clean_air_kept``, ``clean_air_in_use`` (by the tables of charge), ``clean_air_lost`` and ``cost`` (of clean
        air, were the filters changed then), each where it is known. NaN where nothing is told.
    progress : list of Quantity or None
        Of each [[filters]] section, how far on the way to the final drop; None where that is not known.
    names : list of str
        Of the [[filters]] sections.
    changes : list of Change
    ruled : Change or None
        The earliest of them.
    held : dict of str to Change
        Of each clean-air rate that is known, when the required one is lost at the lower end of its error bar.
    findings : list of Finding
    coverage : float
    """

    record: Record
    setup: Setup
    times: Array
    unit: str
    quantities: dict[str, Quantity]
    progress: list[Quantity | None]
    names: list[str]
    changes: list[Change] = field(default_factory=list)
    held: dict[str, Change] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    coverage: float = 0.95

    def __len__(self) -> int:
        return len(self.times)

    def __getitem__(self, name: str) -> Quantity:
        return self.quantities[name]

    @property
    def section(self) -> Section:
        task = self.record.prediction
        assert task is not None
        assert task.life is not None
        return task.life

    @property
    def ruled(self) -> Change | None:
        return change.ruling(self.changes)

    @property
    def lower(self) -> str | None:
        """The lower branch of the clean air that is known."""
        return next((name for name in LOWER if name in self.quantities), None)

    def shown(self, time: float | Array) -> float | Array:
        """A time in `unit`."""
        found: float | Array = units.from_si(time, self.unit, "time")
        return found


@doing("filters over their life")
def life(record: Record, *, coverage: float = 0.95, draws: int = DRAWS, seed: int = 1, unit: str | None = None) -> Life:
    """A cleaner over the running time that its record's table [life] tells, and when its filters are to be changed.

    Parameters
    ----------
    record : Record
        With tables [predict] and [life].
    coverage : float
    draws : int
        Behind the interval of each time.
    seed : int
    unit : str, optional
        Unit of flow, before the record's own.

    Raises
    ------
    InputError
        If there is no table [life], or it and the records of the filters do not fit together.
    """
    section = task_of(record).life
    if section is None:
        remedy = 'Add it, with run = "2000 h" for instance.'
        raise InputError(Fault(record.name, "no [life]", "a table [life]: how long the cleaner is to run", remedy))
    entries = entries_of(record)
    times = _times(float(section.value("run")), knots(entries, section))
    aged = [worn(entry, record, times) for entry in entries]
    found = setup(record, [each.entry for each in aged], None, (ROW,))
    findings = [*found.findings, *(f for each in aged for f in each.findings)]
    near = _near(found, times, min(each.loading_end for each in aged), findings)
    out = found.solved(near)
    wanted, more = _wanted(found, out, aged)
    findings += more
    expected = next((wanted[name] for name in EXPECTED if name in wanted), None)
    cost, without = _cost(found, out, expected, section, times, findings)
    progress = {f"progress {i}": each.progress for i, each in enumerate(aged) if each.progress is not None}
    together = {**wanted, **({"cost": cost} if cost is not None else {}), **progress}
    bars = batch_intervals(together, coverage, samples=draws, seed=seed, most=0)
    flow_unit = unit or record.heading.value("flow_unit") or "m3/h"

    def quantity(name: str, label: str, kind: str, shown: str) -> Quantity:
        interval, drawn = bars[name]
        return Quantity(name.partition(" ")[0], label, kind, shown, together[name], interval, drawn)

    made = {name: quantity(name, LABELS[name][0], LABELS[name][1], LABELS[name][2] or flow_unit) for name in wanted}
    if cost is not None:
        kind = f"price of air {section.value('currency')}"
        made["cost"] = quantity("cost", "cost of clean air up to a change", kind, units.default_display(kind))
    ways = [
        quantity(f"progress {i}", f"on the way to the final drop, {each.entry.name}", "ratio", "%")
        if f"progress {i}" in progress
        else None
        for i, each in enumerate(aged)
    ]
    names = [each.entry.name for each in aged]
    result = Life(record, found, times, section["run"].unit or "h", made, ways, names, coverage=coverage)
    _judge(result, aged, without, findings)
    findings += beyond_tested(found.entries, out["velocity"].value)
    findings += _lost(made)
    result.findings = sorted(findings, key=lambda f: SEVERITIES.index(f.severity))
    return result


def _times(run: float, further: Array) -> Array:
    even = np.linspace(0.0, run, TIMES)
    inside = further[(further > 0.0) & (further < run)]
    inside = inside[np.min(np.abs(inside[:, np.newaxis] - even), axis=-1) > SAME * run]
    if len(inside) > MOST_KNOTS:
        inside = inside[np.unique(np.linspace(0, len(inside) - 1, MOST_KNOTS).astype(int))]
    return np.unique(np.concatenate([even, inside]))


def _near(found: Setup, times: Array, told: float, findings: list[Finding]) -> Array:
    """Where fan and bank meet at each time, the stable crossing of the greatest flow; NaN where there is none."""
    crossings = found.crossings()
    crossings = crossings * len(times) if len(crossings) == 1 else crossings
    near = np.array([max((t for t, falls in own if falls), default=np.nan) for own in crossings])
    near[times > told] = np.nan
    none, several = ~np.isfinite(near) & (times <= told), np.array([len(own) > 1 for own in crossings])
    for meaning, rows in ((NOWHERE, none), (SEVERAL_HERE, several & (times <= told))):
        if np.any(rows):
            task = found.record.prediction
            assert task is not None
            assert task.life is not None
            unit = task.life["run"].unit or "h"
            ends = [float(units.from_si(times[rows][k], unit, "time")) for k in (0, -1)]
            findings.append(Finding(meaning, f"from {ends[0]:.4g} to {ends[1]:.4g} {unit} of running", rows))
    return near


def _wanted(found: Setup, out: Mapping[str, Estimate], aged: list[Worn]) -> tuple[dict[str, Estimate], list[Finding]]:
    """What is told of every time."""
    wanted = {name: out[name] for name in ("flow", "pressure", "power", "motor_temperature") if name in out}
    held, findings = held_back(found.entries, dict(out), (ROW,))
    if held is not None:
        wanted[KEPT] = held.clean
    charged = [each for each in aged if each.entry.charge is not None]
    if held is not None and charged:
        in_use, _ = held_back(found.entries, dict(out), (ROW,), in_use=True)
        assert in_use is not None
        wanted[IN_USE] = in_use.clean
    lost, _ = held_back(found.entries, dict(out), (ROW,), conditioned=True)
    if held is not None and lost is not None:
        wanted[LOST] = lost.clean
    if len(charged) == len(aged):  # what becomes of the charge is known
        findings = [f for f in findings if f.meaning != CHARGED]
    return wanted, findings


def _cost(
    found: Setup,
    out: Mapping[str, Estimate],
    clean: Estimate | None,
    section: Section,
    times: Array,
    findings: list[Finding],
) -> tuple[Estimate | None, str]:
    """Cost of clean air up to a change at each time, and what is missing where it cannot be told."""
    lacking = [name for name in ("filter_price", "energy_price") if name not in section]
    if lacking:
        return None, f"no {' and no '.join(lacking)} in [life]"
    if clean is None:
        return None, "no efficiency of the filters"
    if "power" not in out:
        return None, f"no power in {found.curve.record.name}"
    if not found.curve.electrical:
        return None, f"the power in {found.curve.record.name} is not said to be electrical"
    if "change_price" not in section:
        findings.append(Finding(COST_PARTS, "counted as nothing"))
    place = f"{found.record.id}:life"
    inputs = {name: given_estimate(section[name], place, name.replace("_", " ")) for name in PRICES if name in section}
    inputs |= {"clean": clean, "power": out["power"], "times": Estimate(times, (ROW,))}
    count = float(sum(np.sum(entry.counts) for entry in found.entries))
    return linear(_per_volume, inputs, (ROW,), {"cost": (ROW,)}, count=count)["cost"], ""


def _per_volume(
    *,
    clean: Array,
    power: Array,
    times: Array,
    filter_price: Array,
    energy_price: Array,
    count: float,
    change_price: Array | float = 0.0,
) -> dict[str, Array]:
    """Filters, labour and energy up to each time, over the clean air delivered by then; the first time has none."""
    step = np.diff(times, axis=-1)

    def so_far(x: Array) -> Array:
        x = x + 0.0 * times
        pieces = (x[..., 1:] + x[..., :-1]) / 2.0 * step
        return np.concatenate([0.0 * pieces[..., :1], np.cumsum(pieces, axis=-1)], axis=-1)

    spent = count * filter_price + change_price + energy_price * so_far(power)
    with np.errstate(all="ignore"):
        delivered = so_far(clean)
        return {"cost": np.where(delivered > 0.0, spent / delivered, np.nan)}


def _judge(result: Life, aged: list[Worn], without: str, findings: list[Finding]) -> None:
    """When the filters are to be changed, by each limit."""
    result.changes = [
        _clean_air(result, findings),
        _final_drop(result, aged),
        _temperature(result, findings),
        _cheapest(result) if "cost" in result.quantities else change.missing(change.CHEAPEST, without),
    ]


def _cheapest(result: Life) -> Change:
    cost = np.asarray(result["cost"].estimate.value)
    basis = next(name for name in EXPECTED if name in result.quantities)
    return change.cheapest(result.times, cost, f"by the {LABELS[basis][0]}")


def _clean_air(result: Life, findings: list[Finding]) -> Change:
    task = task_of(result.record).task
    if "required_clean_air" not in task:
        return change.missing(change.CLEAN_AIR, "no required_clean_air in [predict]")
    if result.lower is None:
        return change.missing(change.CLEAN_AIR, "no efficiency of the filters")
    item = task["required_clean_air"]
    required = float(item.value)
    for name in (KEPT, IN_USE, LOST):
        if name in result.quantities:
            q = result[name]
            bars = -np.asarray(q.interval.low), -np.asarray(q.interval.low), -np.asarray(q.interval.high)
            why = f"lower end of the {q.label}"
            result.held[name] = change.at_limit(change.CLEAN_AIR, result.times, bars, -required, why)
    kept, lower = result[KEPT], result[result.lower]
    if result.held[KEPT].time == 0.0:
        findings.append(Finding(NOT_EVEN_NEW, f"{_band(kept)}, new; {as_written(item)} required"))
    elif result.held[result.lower].time == 0.0:
        findings.append(Finding(ONLY_CHARGED, f"{_band(lower)}, charge lost; {as_written(item)} required"))
    return result.held[result.lower]


def _band(q: Quantity) -> str:
    value, low, high = (float(np.asarray(x)[0]) for x in (q.value, q.low, q.high))
    return f"{value:.4g} {q.unit}, {low:.4g} to {high:.4g}"


def _final_drop(result: Life, aged: list[Worn]) -> Change:
    """The earliest of the entries; the final drop is told at its own velocity, where it is reached at a load of 1."""
    found, unknown = [], []
    for each, q in zip(aged, result.progress, strict=True):
        if q is None:
            unknown.append(each.entry.law.title)
            continue
        value, low, high = (np.asarray(x) for x in (q.estimate.value, q.interval.low, q.interval.high))
        why = f"{each.entry.name}, at its final_velocity"
        found.append(change.at_limit(change.FINAL_DROP, result.times, (value, high, low), 1.0, why))
    if not found:
        said = f"no loading with a final_drop of {', '.join(dict.fromkeys(unknown))}"
        return change.missing(change.FINAL_DROP, said)
    best = min(found, key=lambda c: math.inf if c.time is None else c.time)
    if unknown:
        best.why += f"; not known of {', '.join(dict.fromkeys(unknown))}"
        best.status = change.NOT_KNOWN if best.time is None else best.status
    return best


def _temperature(result: Life, findings: list[Finding]) -> Change:
    section, found = result.section, result.setup
    if "temperature_limit" not in section:
        return change.missing(change.TEMPERATURE, "no temperature_limit in [life]")
    if "motor_temperature" not in result.quantities:
        why = f"no motor_temperature in {found.curve.record.name}"
        if any(f.meaning == SPEED_TAKEN for f in found.findings):
            why = "the temperature of the motor is not known at another speed"
        return change.missing(change.TEMPERATURE, why)
    q, item = result["motor_temperature"], section["temperature_limit"]
    findings.append(Finding(MOTOR_ROOM, f"limit {as_written(item)}"))
    low, high = np.asarray(q.interval.low), np.asarray(q.interval.high)
    why = "upper end of the temperature of the motor"
    return change.at_limit(change.TEMPERATURE, result.times, (high, high, low), float(item.value), why)


def _lost(made: Mapping[str, Quantity]) -> list[Finding]:
    share = np.asarray(made["flow"].interval.lost)
    rows = np.isfinite(made["flow"].estimate.value) & (share > 0.01)
    if not np.any(rows):
        return []
    return [Finding(LOST_DRAWS, f"up to {np.max(share[rows]):.1%} of the draws".replace("%", " %"), rows)]
