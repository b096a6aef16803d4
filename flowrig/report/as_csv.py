"""A result as CSV: one line a quantity, or one line a row of a batch beside the columns it came from."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np

from flowrig.errors import CalculationError
from flowrig.records.declare import Finding
from flowrig.studies.result import Result, codes, interval_source, marked


def result_csv(result: Result) -> str:
    """A header line with units, then the lines."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    if result.rows is None:
        lines = list(result.lines())
        if not lines:
            raise CalculationError(f"{result.record.name}: no number follows from its readings")
        writer.writerow(lines[0])
        writer.writerows([_cell(v) for v in line.values()] for line in lines)
        return out.getvalue()
    heads = list(result.rows)
    several = len(result.flows) > 1
    columns: list[list[Any]] = [result.rows[h] for h in heads]
    for flow in result.flows:
        prefix = f"{flow.name}: " if several else ""
        for q in flow.quantities.values():
            n = len(np.atleast_1d(q.value))
            for word, array in (("", q.value), (" u", q.u), (" low", q.low), (" high", q.high)):
                heads.append(f"{prefix}{q.name}{word} [{q.unit}]")
                columns.append([_cell(x) for x in np.broadcast_to(array, (n,)).tolist()])
        main = flow.main
        heads += [f"{prefix}dof", f"{prefix}interval from", f"{prefix}flags"]
        dof = np.where(main.estimate.dof > 1e6, math.inf, main.estimate.dof)
        columns.append([_cell(x) for x in np.broadcast_to(dof, (n,)).tolist()])
        columns.append([interval_source(main, i) for i in range(n)])
        columns.append(["; ".join(c) for c in _codes_of_rows([*flow.findings, *result.findings], n)])
    writer.writerow(heads)
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def _codes_of_rows(findings: list[Finding], n: int) -> list[list[str]]:
    # notes about the whole batch would hide what is said of a row
    common = codes([f for f in findings if f.rows is None and f.severity != "note"])
    rows: list[list[str]] = [[] for _ in range(n)]
    for f in findings:
        if f.rows is None or marked(f) in common:
            continue
        for i in np.flatnonzero(f.rows):
            if marked(f) not in rows[i]:
                rows[i].append(marked(f))
    return [own + common for own in rows]


def _cell(value: Any) -> Any:
    if isinstance(value, float):
        return f"{value:.10g}" if math.isfinite(value) else ("" if math.isnan(value) else "inf")
    return value
