"""What options cost over years as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

import numpy as np

from flowrig import units
from flowrig.report.as_json import estimate_body, flag_body, heading_body, number, tool_version
from flowrig.studies.own import Owned, OwnedOption
from flowrig.studies.pairs import Course, Meeting, Odds, Pair
from flowrig.studies.result import Quantity, codes
from flowrig.studies.tornado import Bar

CONTRACT = 1  # version of the JSON document


def own_json(owned: Owned) -> str:
    """The whole comparison."""
    terms = owned.terms
    words = ("years", "currency", "money", "payments", "last_change", "meets")
    body = {
        "contract": CONTRACT,
        "tool": {"name": "flowrig", "version": tool_version()},
        "record": heading_body(owned.record),
        "coverage": owned.coverage,
        "seed": owned.seed,
        "samples": owned.samples,
        "terms": {name: terms.value(name) for name in words},
        "need_si": terms.value("clean_air"),
        "leads": owned.leads,
        "order": [option.name for option in owned.ranked],
        "flags": [flag_body(f) for f in owned.findings],
        "options": [_option(option) for option in owned],
        "costs_nothing": owned.idle,
        "pairs": [_pair(pair) for pair in owned.pairs],
    }
    return json.dumps(body, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _option(option: OwnedOption) -> dict[str, Any]:
    return {
        "name": option.name,
        "sort": option.option.section.value("sort"),
        "units": option.units,
        "units_from_need": option.option.counted,
        "meets_need": not option.short,
        "clean_air_from": option.option.how,
        "particles": option.option.particles,
        "sets_after_first": option.sets,
        "units_after_first": option.anew,
        "cheapest": number(option.cheapest),
        "flags": [flag_body(f) for f in option.option.findings],
        "estimates": [estimate_body(q, []) for q in option.quantities.values()],
        "items": [estimate_body(q, []) for q in option.items.values()],
        "cost_over_time": _course(option.course),
    }


def _course(course: Course) -> dict[str, Any]:
    return {
        name: [number(x) for x in array]
        for name, array in (
            ("years", course.times),
            ("value", course.value),
            ("low", course.low),
            ("high", course.high),
        )
    }


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "present_value": _gap(pair.difference, pair.cheaper, pair.bars),
        "levelised": _gap(pair.by_air, pair.cheaper_by_air, pair.bars_by_air),
        "costs_meet": _meeting(pair.meeting),
    }


def _gap(q: Quantity, odds: Odds, bars: list[Bar]) -> dict[str, Any]:
    return {
        "difference": estimate_body(q, []),
        "first_cheaper": number(odds.share),
        "first_cheaper_standard_error": number(odds.error),
        "draws": odds.draws,
        "bars": [_bar(bar, q) for bar in bars],
    }


def _bar(bar: Bar, q: Quantity) -> dict[str, Any]:
    one = bar.input
    shown = {name: units.from_si(x, one.unit, one.kind) for name, x in (("low", bar.low), ("high", bar.high))}
    moved = (("difference", bar.middle), ("difference_at_low", bar.at_low), ("difference_at_high", bar.at_high))
    return {
        "input": one.name,
        "unit": one.unit,
        **{name: number(x) for name, x in shown.items()},
        **{name: number(units.from_si(x, q.unit, q.kind)) for name, x in moved},
    }


def _meeting(meeting: Meeting) -> dict[str, Any]:
    return {
        "years": number(meeting.years),
        "interval": [number(meeting.low), number(meeting.high)],
        "never": number(meeting.never),
        "cheaper_at_first": meeting.cheaper_at_first or None,
    }


def own_csv(owned: Owned) -> str:
    """A line a quantity of each option, then of each difference, then a line a time and option of the costs."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    heads = ["of", "quantity", "years", "unit", "value", "standard_uncertainty", "low", "high", "coverage"]
    writer.writerow([*heads, "interval_from", "probability_first_cheaper", "flags"])

    def line(of: str, q: Quantity, chance: float, said: str) -> None:
        told = [_cell(x) for x in (q.value, q.u, q.low, q.high)]
        writer.writerow([of, q.name, "", q.unit, *told, owned.coverage, q.interval.source, _cell(chance), said])

    common = codes([f for f in owned.findings if not any(f in option.option.findings for option in owned)])
    for option in owned:
        said = "; ".join(dict.fromkeys([*codes(option.option.findings), *common]))
        for q in (*option.quantities.values(), *option.items.values()):
            line(option.name, q, math.nan, said)
    for pair in owned.pairs:
        of = f"{pair.first} less {pair.second}"
        line(of, pair.difference, pair.cheaper.share, "; ".join(common))
        line(of, pair.by_air, pair.cheaper_by_air.share, "; ".join(common))
    for option in owned:
        unit, course = option["present_value"].unit, option.course
        for time, *told in zip(course.times, course.value, course.low, course.high, strict=True):
            value, low, high = (_cell(x) for x in told)
            cells = [option.name, "paid_so_far", _cell(time), unit, value, "", low, high, owned.coverage, "monte carlo"]
            writer.writerow([*cells, "", ""])
    return out.getvalue()


def _cell(value: Any) -> str:
    value = float(np.asarray(value))
    return f"{value:.10g}" if math.isfinite(value) else ""
