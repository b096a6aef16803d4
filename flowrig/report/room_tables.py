"""A room with its cleaners as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from flowrig import units
from flowrig.methods.room_cautions import ROOM
from flowrig.report.as_json import estimate_body, flag_body, heading_body, number, rows_body, tool_version
from flowrig.studies.building import Option
from flowrig.studies.result import Quantity, codes
from flowrig.studies.room import RoomResult
from flowrig.studies.room_over_time import Minutes
from flowrig.studies.room_targets import Case, Target
from flowrig.studies.room_units import UnitsFor
from flowrig.studies.room_verdict import achievable, answer, answers, sentences, verdict

CONTRACT = 2  # version of the JSON of a room; 2 adds `answers`, and of an option `why` and what is `not_known`
COLUMNS = (
    "about", "of", "ducts", "units", "minutes", "quantity", "unit", "value", "standard_uncertainty", "low", "high",
    "probability", "flags", "words",
)  # fmt: skip


def room_json(result: RoomResult) -> str:
    """The whole of it."""
    facts = result.facts
    body = {
        "contract": CONTRACT,
        "tool": {"name": "flowrig", "version": tool_version()},
        "record": heading_body(result.record),
        "coverage": result.coverage,
        "seed": result.asked.seed,
        "samples": result.asked.samples,
        "volume_si": number(facts.inputs["volume"].value),
        "assumed": [{"field": name, "value": shown, "basis": basis} for name, shown, basis in facts.assumed],
        "cleaners": [
            {
                "name": name,
                "count": result.counts.get(name),
                "how": sort.how,
                "particles": sort.particles,
                "sizes": sort.sizes_said,
                "clean_air": estimate_body(_rate(result, name), []),
                "sound_distance_si": sort.sound_distance,
            }
            for name, sort in result.sorts.items()
        ],
        "flow_lost": None if result.lost is None else estimate_body(result.lost, []),
        "answers": [
            {"asked": asked, "ducts": state or None, "answer": words} for asked, state, words in answers(result.targets)
        ],
        "targets": [_target(target) for target in result.targets],
        "options": [_option(option) for option in result.options],
        "times_si": result.times.tolist(),
        "flags": [flag_body(f) for f in result.findings],
        "cautions": [{"text": caution.text, "source": caution.source} for caution in ROOM],
    }
    return json.dumps(body, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _rate(result: RoomResult, name: str) -> Quantity:
    rate = result.sorts[name].clean_air
    return Quantity("clean_air", f"clean-air rate of {name}", "flow", result.asked.flow_unit, rate, result.bars[name])


def _target(target: Target) -> dict[str, Any]:
    guidance = target.guidance
    return {
        "kind": target.kind,
        "title": target.title,
        "said": target.said,
        "about_infection": target.infection,
        "about_smoke": not target.infection,
        "silent": target.silent,
        "particles": target.particles,
        "guidance": None
        if guidance is None
        else {"name": guidance.name, "source": guidance.source, "status": guidance.status, "note": guidance.note},
        "cases": [_case(target, case) for case in target.cases],
        "flags": [flag_body(f) for f in target.findings],
    }


def _case(target: Target, case: Case) -> dict[str, Any]:
    return {
        "ducts": case.state.name,
        "answer": answer(case),
        "needed": estimate_body(case.needed, case.findings),
        "met_without_units": case.without,
        "met_by_those_counted": case.there,
        "verdicts": list(sentences(target, case)),
        "units": [_units(case, found, verdict(target, case, found)) for found in case.units],
    }


def _units(case: Case, found: UnitsFor, said: str) -> dict[str, Any]:
    beside = {"power": found.power, "sound": found.sound}
    return {
        "name": found.name,
        "on_mean": found.told(found.on_mean),
        "sure": found.told(found.sure),
        "confidence": found.confidence,
        "probability_of_sure": number(found.of_sure),
        "most": found.most,
        "most_assumed": found.assumed,
        "achievable": achievable(case, found),
        "never_met": found.never,
        "verdict": said,
        "numbers": [int(n) for n in found.numbers],
        "probability": found.probability.tolist(),
        "reached": rows_body(found.reached, []),
        **{name: None if q is None else rows_body(q, []) for name, q in beside.items()},
    }


def _option(option: Option) -> dict[str, Any]:
    return {
        "title": option.title,
        "units": option.units,
        "why": option.why,
        "not_known": option.unknown,
        "ducts": option.state.name,
        "estimates": [estimate_body(q, []) for q in option.quantities.values()],
        "minutes_while_nothing_enters": [_minutes(m) for m in option.cleared],
        "minutes_while_more_enters": [_minutes(m) for m in option.come_down],
        "minutes_to_target": None if option.to_target is None else _minutes(option.to_target),
        "level_over_time": None if option.curve is None else rows_body(option.curve, []),
    }


def _minutes(m: Minutes) -> dict[str, Any]:
    """Null stands for never."""
    return {
        "removed": m.what,
        "value": number(m.time.value),
        "low": number(m.time.low),
        "high": number(m.time.high),
        "never": m.never,
    }


def room_csv(result: RoomResult) -> str:
    """A line a number: of each target what is needed and what each number of units reaches, of each option what it
    does and the level at each time."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for line in _csv_lines(result):
        writer.writerow({name: _cell(x) if isinstance(x, float) else x for name, x in line.items()})
    return out.getvalue()


def _csv_lines(result: RoomResult) -> Iterator[dict[str, Any]]:
    for name in result.sorts:
        yield {"about": "cleaner", "of": name, **_single(_rate(result, name))}
    if result.lost is not None:
        yield {"about": "ducts", **_single(result.lost)}
    for target in result.targets:
        for case in target.cases:
            head = {"about": target.kind, "ducts": case.state.name}
            said = "; ".join(codes([*case.findings, *target.findings]))
            yield {**head, **_single(case.needed), "flags": said}
            yield {**head, "quantity": "answer", "flags": said, "words": answer(case)}
            for found in case.units:
                told = achievable(case, found)
                yield {
                    **head, "of": found.name, "units": found.sure if told else "", "quantity": "number of units",
                    "probability": found.of_sure if told else "", "words": verdict(target, case, found),
                }  # fmt: skip
                for q in (x for x in (found.reached, found.power, found.sound) if x is not None):
                    for row, count in enumerate(found.numbers):
                        chance = float(found.probability[row]) if q is found.reached else ""
                        yield {**head, "of": found.name, "units": int(count), **_row(q, row), "probability": chance}
    for option in result.options:
        head = {"about": "option", "of": option.title, "ducts": option.state.name}
        if option.units:
            yield {**head, "quantity": "number of units", "units": sum(option.units.values()), "words": option.why}
        for q in option.quantities.values():
            yield {**head, **_single(q)}
        last = [option.to_target] if option.to_target is not None else []
        for m in (*option.cleared, *option.come_down, *last):
            line = _single(m.time)
            line["quantity"] = f"time to {m.what}, {m.time.label}" if m.what != "target" else "time to target"
            yield {**head, **line, "probability": 1.0 - m.never}
        for name, why in option.unknown.items():
            yield {**head, "quantity": name, "words": f"not known: {why}"}
    for option in result.options:
        head = {"about": "level over time", "of": option.title, "ducts": option.state.name}
        for row, time in enumerate(result.times if option.curve is not None else ()):
            assert option.curve is not None
            yield {**head, "minutes": float(units.from_si(time, "min", "time")), **_row(option.curve, row)}


def _single(q: Quantity) -> dict[str, Any]:
    numbers = dict(zip(("value", "standard_uncertainty", "low", "high"), (q.value, q.u, q.low, q.high), strict=True))
    shown = {name: float(x) for name, x in numbers.items()}
    return {"quantity": q.name, "unit": q.unit, **shown, "words": q.label}


def _row(q: Quantity, row: int) -> dict[str, Any]:
    numbers = (np.broadcast_to(x, q.estimate.value.shape)[row] for x in (q.value, q.u, q.low, q.high))
    names = ("value", "standard_uncertainty", "low", "high")
    shown = {n: float(x) for n, x in zip(names, numbers, strict=True)}
    return {"quantity": q.name, "unit": q.unit, **shown, "words": q.label}


def _cell(value: float) -> str:
    """Nothing where there is no number; never is said as such."""
    if math.isnan(value):
        return ""
    return f"{value:.10g}" if math.isfinite(value) else "never"
