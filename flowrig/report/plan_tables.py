"""A plan as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from flowrig.report.as_json import estimate_body, flag_body, heading_body, number, tool_version
from flowrig.studies.outlook import Line, Outlook, Plan, half_of, half_width
from flowrig.studies.result import marked

CONTRACT = 1  # version of the JSON plan


def plan_json(plan: Plan) -> str:
    """The whole plan."""
    body = {
        "contract": CONTRACT,
        "tool": {"name": "flowrig", "version": tool_version()},
        "record": heading_body(plan.record),
        "coverage": plan.coverage,
        "target": plan.target,
        "flags": [flag_body(f) for f in plan.findings],
        "measurements": [_outlook(plan, outlook) for outlook in plan.outlooks],
        "combined": [
            {
                "of": group.of,
                "half_width": None if group.combined is None else half_of(group.combined.main),
                "weights": None if group.combined is None else group.combined.weights,
                "why_not_combined": group.why_not,
            }
            for group in plan.together
        ],
    }
    return json.dumps(body, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _outlook(plan: Plan, outlook: Outlook) -> dict[str, Any]:
    expected = outlook.expected
    return {
        "name": outlook.name,
        "method": outlook.method.name,
        "readings": outlook.setup.readings,
        "scatter": outlook.setup.scatter,
        "expected_readings": outlook.readings,
        "summary": expected.summary,
        "half_width": outlook.half,
        "reached": None if plan.target is None else outlook.half <= plan.target,
        "expected": estimate_body(expected.main, expected.findings),
        "flags": [flag_body(f) for f in [*expected.findings, *outlook.findings]],
        "changes": [_line(line) for line in outlook.lines],
        "floor": {"half_width": half_width(outlook.floor), "expected": estimate_body(outlook.floor.main, [])},
        "fewest_readings": outlook.least,
        "route": None if plan.target is None else [_line(line) for line in outlook.route],
        "half_width_of_route": None if plan.target is None else number(outlook.end),
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        "sort": line.change.sort,
        "change": line.change.words,
        "half_width": number(line.half),
        "gain": number(line.gain),
        "reaches_target": line.reaches,
        "verdict": line.verdict,
        "reason": line.reason,
        "expected_readings": line.readings,
        "flags": [flag_body(f) for f in line.findings],
    }


HEADS = ("measurement", "sort", "change", "half-width [%]", "gain [%]", "reaches target", "verdict", "reason", "flags")


def plan_csv(plan: Plan) -> str:
    """A header, and for every measurement a line as it is planned, then one a change, then what would be left."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADS)
    for outlook in plan.outlooks:
        reached = "" if plan.target is None else _yes(outlook.half <= plan.target)
        said = "; ".join(f"{name} {value}" for name, value in outlook.readings.items())
        flags = "; ".join(dict.fromkeys(marked(f) for f in outlook.expected.findings))
        writer.writerow((outlook.name, "planned", "none", _percent(outlook.half), "", reached, "", said, flags))
        for line in outlook.lines:
            reached = "" if plan.target is None else _yes(line.reaches)
            flags = "; ".join(marked(f) for f in line.findings)
            writer.writerow(
                (outlook.name, line.change.sort, line.change.words, _percent(line.half), _percent(line.gain), reached,
                 line.verdict, line.reason, flags)
            )  # fmt: skip
        floor = _percent(half_width(outlook.floor))
        writer.writerow((outlook.name, "floor", "every reading and every ± perfect", floor, "", "", "", "", ""))
    return out.getvalue()


def _yes(said: bool) -> str:
    return "yes" if said else "no"


def _percent(share: float) -> str:
    return f"{100 * share:.6g}" if share == share else ""
