"""A result as JSON: a stable contract with a version number, complete enough to be loaded back correlated."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.studies.result import CONTRACT, PartResult, Quantity, Result, codes, interval_source
from flowrig.studies.together import Pair, Together
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate


def tool_version() -> str:
    try:
        return version("flowrig")
    except PackageNotFoundError:
        return "not installed"


def heading_body(record: Record) -> dict[str, Any]:
    """Of which record a document tells."""
    return {
        "title": record.heading.value("title"),
        "date": str(record.heading.value("date")),
        "invented": bool(record.heading.value("invented", False)),
        "files": record.digests,
    }


def result_json(result: Result) -> str:
    """The whole result."""
    body = {
        "contract": CONTRACT,
        "tool": {"name": "flowrig", "version": tool_version()},
        "record": {
            **heading_body(result.record),
            "standard_density_si": float(result.record.heading.value("standard_density")),
        },
        "coverage": result.coverage,
        "seed": result.seed,
        "samples": result.samples,
        "flags": [flag_body(f) for f in result.findings],
        "measurements": [
            {
                "name": flow.name,
                "of": flow.of,
                "method": flow.method.name,
                "source": flow.method.source,
                "conventions": list(flow.conventions),
                "summary": flow.summary,
                "corrections": {label: _plain(x) for label, x in flow.corrections.items()},
                "inputs_si": {name: _plain(x) for name, x in flow.inputs.items()} if result.rows is None else {},
                "diagnostics_si": {name: _plain(x) for name, x in flow.diagnostics.items()}
                if result.rows is None
                else {},
                "air": {
                    station: {name: _air(name, x) for name, x in state.items()} for station, state in flow.air.items()
                },
                "flags": [flag_body(f) for f in flow.findings],
                "estimates": [
                    rows_body(q, flow.findings) if result.rows is not None else estimate_body(q, flow.findings)
                    for q in flow.quantities.values()
                ],
            }
            for flow in result.flows
        ],
        "compared": [_together(group) for group in result.together],
        "parts": {name: part_body(part) for name, part in result.parts.items()},
        "claims": [
            {
                "name": claim.name,
                "stated": claim.stated,
                "stated_si": claim.value,
                "measured": bool(claim.ratios),
                "estimates": [estimate_body(q, []) for q in claim.ratios],
                "sentences": claim.sentences,
                "flags": [flag_body(f) for f in claim.findings],
            }
            for claim in result.claims
        ],
    }
    if result.rows is not None:
        body["rows"] = result.rows
    return json.dumps(body, indent=None if result.rows is not None else 1, ensure_ascii=False, allow_nan=False) + "\n"


def _together(group: Together) -> dict[str, Any]:
    combined = group.combined
    return {
        "of": group.of,
        "measurements": group.names,
        "basis": group.basis,
        "flows": [estimate_body(q, []) for q in group.flows],
        "pairs": [_pair(pair) for pair in group.pairs],
        "combined": None
        if combined is None
        else {
            "name": combined.name,
            "weights": combined.weights,
            "adds_nothing": combined.adds_nothing,
            "chi_square": number(combined.chi_square),
            "chi_square_dof": combined.dof,
            "flags": [flag_body(f) for f in combined.findings],
            "estimates": [estimate_body(q, combined.findings) for q in combined.quantities.values()],
        },
        "why_not_combined": group.why_not,
        "flags": [flag_body(f) for f in group.findings],
    }


def _pair(pair: Pair) -> dict[str, Any]:
    q = pair.difference
    unshared = units.from_si(pair.comparison.u_unshared / pair.density, q.unit, units.as_difference(q.kind))
    return {
        "first": pair.first,
        "second": pair.second,
        "verdict": pair.verdict,
        "sentence": pair.sentence,
        "e_n": number(pair.e_n),
        "e_n_unshared": number(pair.comparison.e_n_unshared),
        "expanded_uncertainty": number(pair.expanded),
        "standard_uncertainty_unshared": number(unshared),
        "share": number(pair.share),
        "difference": estimate_body(pair.difference, []),
    }


def part_body(part: PartResult) -> dict[str, Any]:
    """What stands beside the flows."""
    return {
        "title": part.title,
        "estimates": [estimate_body(q, []) for q in part.quantities.values()],
        "sentences": part.sentences,
        "flags": [flag_body(f) for f in part.findings],
    }


def number(x: Any) -> float | None:
    x = float(x)
    return x if math.isfinite(x) else None


def _numbers(array: Any) -> list[float | None]:
    return [number(x) for x in np.atleast_1d(array)]


def _plain(array: Any) -> Any:
    """Numbers as nested lists, one alone as itself, null where there is none."""
    array = np.squeeze(np.asarray(array, dtype=float))
    return number(array) if array.ndim == 0 else [_plain(x) for x in array]


def flag_body(f: Finding) -> dict[str, Any]:
    flag: dict[str, Any] = {"code": f.code, "message": f.message, "severity": f.severity}
    if f.rows is not None:
        flag["rows"] = (np.flatnonzero(f.rows) + 1).tolist()
    return flag


AIR_UNITS = {
    "density": "kg/m3",
    "viscosity": "Pa s",
    "temperature": "K",
    "pressure": "Pa",
    "vapour_fraction": "1",
}


def _air(name: str, x: Estimate) -> dict[str, Any]:
    one = not x.axes
    return {
        "value": number(x.value) if one else _numbers(x.value),
        "standard_uncertainty": number(x.u) if one else _numbers(x.u),
        "unit": AIR_UNITS[name],
    }


def estimate_body(q: Quantity, findings: list[Finding]) -> dict[str, Any]:
    scale = units.factor(q.unit, units.as_difference(q.kind))[0]
    return {
        "name": q.name,
        "label": q.label,
        "kind": q.kind,
        "value": number(q.value),
        "unit": q.unit,
        "standard_uncertainty": number(q.u),
        "dof": number(q.estimate.dof),
        "coverage": q.interval.coverage,
        "coverage_factor": number(q.interval.factor) if q.interval.source == "linear" else None,
        "draws": q.interval.draws,
        "standard_deviation_of_draws": _spread(q, scale),
        "interval": [number(q.low), number(q.high)],
        "interval_from": q.interval.source,
        **({"bound": q.bound} if q.bound else {}),
        "budget": [
            {
                "cause": line.cause.name,
                "scope": line.cause.scope,
                "contribution": number(line.u / scale),
                "share": number(line.share),
            }
            for line in q.estimate.budget()
        ],
        "parts": [
            {
                "cause": {
                    "id": cause.id,
                    "n": cause.n,
                    "dof": number(cause.dof),
                    "shape": cause.shape,
                    "each": cause.each,
                    "scope": cause.scope,
                    "label": cause.label,
                    **({"sized_with": cause.sized_with} if cause.sized_with else {}),
                },
                "part": (part / scale).tolist(),
            }
            for cause, part in q.estimate.parts.items()
        ],
        "flags": [flag_body(f) for f in findings],
    }


def _spread(q: Quantity, scale: float) -> float | None:
    """Nothing where a cause has two degrees of freedom or fewer: the variance of its draws has no limit."""
    if any(cause.dof <= 2 for cause in q.estimate.parts):
        return None
    return number(q.interval.spread / scale)


def rows_body(q: Quantity, findings: list[Finding]) -> dict[str, Any]:
    n = len(np.atleast_1d(q.value))
    return {
        "name": q.name,
        "label": q.label,
        "unit": q.unit,
        "coverage": q.interval.coverage,
        "value": _numbers(q.value),
        "standard_uncertainty": _numbers(q.u),
        "dof": _numbers(np.broadcast_to(q.estimate.dof, (n,))),
        "low": _numbers(q.low),
        "high": _numbers(q.high),
        "interval_from": [interval_source(q, i) for i in range(n)],
        "flags": [codes(findings, i) for i in range(n)],
    }


def load_json(path: str | Path) -> dict[str, dict[str, Estimate]]:
    """Stored results as estimates, still correlated with everything that shares their causes.

    Parameters
    ----------
    path : path
        A file written by `flowrig reduce --json`, of a single record.

    Returns
    -------
    dict of measurement name to dict of quantity name to Estimate, SI; a combined flow stands among them by its name,
    and so does what was found beside the flows.

    Raises
    ------
    TypeError
        If it is no path.
    InputError
        If the file is not such a result, or of a contract newer than this version knows.
    """
    if not isinstance(path, (str, os.PathLike)):
        raise TypeError(f"path is {path!r}; the path of a file is expected")
    name = str(path)
    try:
        body = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise InputError(Fault(name, str(error), "a result written with --json", "Check the file.")) from None
    contract = body.get("contract") if isinstance(body, Mapping) else None
    if not isinstance(contract, int) or contract > CONTRACT or "rows" in body:
        raise InputError(
            Fault(
                name,
                f"contract {contract!r}",
                f"a single result of contract {CONTRACT} or older",
                "Write it again with this version, without --rows.",
            )
        )
    combined = [group["combined"] for group in body.get("compared", []) if group["combined"] is not None]
    beside = [{"name": name, **part} for name, part in body.get("parts", {}).items()]
    told = (*body["measurements"], *combined, *beside)
    return {m["name"]: {e["name"]: _loaded(e) for e in m["estimates"]} for m in told}


def _loaded(body: dict[str, Any]) -> Estimate:
    kind = body.get("kind") or ("mass flow" if body["name"] == "mass_flow" else "flow")
    scale, offset = units.factor(body["unit"], kind)
    parts = {}
    for entry in body["parts"]:
        said = dict(entry["cause"])
        said["dof"] = math.inf if said["dof"] is None else said["dof"]
        parts[Cause(**said)] = np.asarray(entry["part"]) * scale
    return Estimate(body["value"] * scale + offset, (), parts)
