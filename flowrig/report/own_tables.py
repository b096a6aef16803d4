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
from flowrig.studies.drawn import MEDIAN, Drawn
from flowrig.studies.own import BY, Owned, OwnedOption
from flowrig.studies.pairs import Course, Meeting, Odds, Pair
from flowrig.studies.result import codes
from flowrig.studies.tornado import Bar

CONTRACT = 2  # version of the JSON document; 2 names numbers as the text does, and tells what was left out


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
        "leads": BY[owned.leads],
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
        "clean_air_is": "of new filters" if option.option.of_new_filters else "mean over the life of filters",
        "left_out": option.left_out,
        "sets_after_first": option.sets,
        "units_after_first": option.anew,
        "cheapest": number(option.cheapest),
        "flags": [flag_body(f) for f in option.option.findings],
        "estimates": [_estimate(q) for q in option.quantities.values()],
        "items": [_estimate(q) for q in option.items.values()],
        "cost_over_time": _course(option.course),
    }


def _estimate(q: Drawn) -> dict[str, Any]:
    """Named in the words of the text; `key` is its name in Python."""
    body = {**estimate_body(q, []), "name": q.label, "key": q.name, "value_from": q.value_from}
    if not q.is_straight:  # slopes tell nothing of steps
        body |= {"budget": [], "parts": []}
    return body


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
        "cost_of_clean_air": _gap(pair.by_air, pair.cheaper_by_air, pair.bars_by_air),
        "not_like_for_like": pair.lives or None,
        "costs_meet": _meeting(pair.meeting),
    }


def _gap(q: Drawn, odds: Odds, bars: list[Bar]) -> dict[str, Any]:
    return {
        "difference": _estimate(q),
        "first_cheaper": number(odds.share),
        "first_cheaper_standard_error": number(odds.error),
        "draws": odds.draws,
        "bars": [_bar(bar, q) for bar in bars],
    }


def _bar(bar: Bar, q: Drawn) -> dict[str, Any]:
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
        "value_from": MEDIAN,
        "interval": [number(meeting.low), number(meeting.high)],
        "never": number(meeting.never),
        "cheaper_at_first": meeting.cheaper_at_first or None,
        "cheaper_at_first_share": number(meeting.at_first),
    }


def own_csv(owned: Owned) -> str:
    """A line a quantity of each option, then of each difference, then a line a time and option of the costs."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    heads = ["of", "quantity", "years", "unit", "value", "value_from", "standard_uncertainty", "low", "high"]
    writer.writerow([*heads, "coverage", "interval_from", "probability_first_cheaper", "flags"])

    def line(of: str, q: Drawn, chance: float, said: str) -> None:
        told = [_cell(q.value), q.value_from, *(_cell(x) for x in (q.u, q.low, q.high))]
        writer.writerow([of, q.label, "", q.unit, *told, owned.coverage, q.interval.source, _cell(chance), said])

    def plain(of: str, name: str, value: float, unit: str = "1") -> None:
        writer.writerow([of, name, "", unit, _cell(value), *[""] * 8])

    common = codes([f for f in owned.findings if not any(f in option.option.findings for option in owned)])
    for option in owned:
        said = "; ".join(dict.fromkeys([*codes(option.option.findings), *common]))
        for q in (*option.quantities.values(), *option.items.values()):
            line(option.name, q, math.nan, said)
        plain(option.name, "units", option.units)
        plain(option.name, "sets of filters after the first", option.sets)
        plain(option.name, "units after the first", option.anew)
        plain(option.name, f"the cheapest by {BY[owned.leads]}, share of the draws", option.cheapest)
        for name in option.left_out:
            writer.writerow([option.name, f"left out: {name}", *[""] * 11])
    for pair in owned.pairs:
        of, met = f"{pair.first} less {pair.second}", pair.meeting
        line(of, pair.difference, pair.cheaper.share, "; ".join(common))
        line(of, pair.by_air, pair.cheaper_by_air.share, "; ".join(common))
        told = [_cell(met.years), MEDIAN, "", _cell(met.low), _cell(met.high), owned.coverage, "monte carlo"]
        writer.writerow([of, "costs meet after", "", "years", *told, "", "; ".join(common)])
        plain(of, "costs do not meet, share of the draws", met.never)
    for option in owned:
        unit, course = option["present_value"].unit, option.course
        for time, *told in zip(course.times, course.value, course.low, course.high, strict=True):
            value, low, high = (_cell(x) for x in told)
            ends = [low, high, owned.coverage, "monte carlo"]
            writer.writerow([option.name, "paid so far", _cell(time), unit, value, "", "", *ends, "", ""])
    return out.getvalue()


def _cell(value: Any) -> str:
    value = float(np.asarray(value))
    return f"{value:.10g}" if math.isfinite(value) else ""
