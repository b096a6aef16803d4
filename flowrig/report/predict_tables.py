"""A prediction as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from typing import Any

import numpy as np

from flowrig.report.as_json import estimate_body, flag_body, heading_body, rows_body, tool_version
from flowrig.report.predict_text import bank_in_words
from flowrig.studies.equal_noise import EqualNoise
from flowrig.studies.heat import Heat
from flowrig.studies.life import Life
from flowrig.studies.predict import Predicted
from flowrig.studies.result import Quantity, codes, interval_source
from flowrig.studies.sweep import Swept

CONTRACT = 2  # version of the JSON prediction; 2 adds `noise`


def predict_json(predicted: Predicted) -> str:
    """The whole prediction."""
    setup = predicted.setup
    body = {
        "contract": CONTRACT,
        "tool": {"name": "flowrig", "version": tool_version()},
        "record": heading_body(predicted.record),
        "coverage": predicted.coverage,
        "seed": predicted.seed,
        "samples": predicted.samples,
        "cleaner": bank_in_words(setup),
        "fan": {
            "title": setup.curve.title,
            "density_si": setup.curve.density,
            "points_si": {name: x.value.tolist() for name, x in setup.curve.points.items()},
        },
        "flags": [flag_body(f) for f in predicted.findings],
        "crossings": [
            {"stable": c.stable, "estimates": [estimate_body(q, []) for q in c.quantities.values()]}
            for c in predicted.crossings
        ],
        "filters": [
            {
                "name": entry.name,
                "count": float(entry.counts),
                "stage": entry.stage,
                "law_si": {name: float(x.value) for name, x in entry.law.numbers.items()},
                "estimates": [estimate_body(q, []) for q in quantities.values()],
            }
            for entry, quantities in zip(setup.entries, predicted.entries, strict=True)
        ],
        "sweep": None if predicted.swept is None else _swept(predicted.swept),
        "life": None if predicted.life is None else _life(predicted.life),
        "noise": None if predicted.noise is None else _noise(predicted.noise),
        "winding": None if predicted.heat is None else _heat(predicted.heat),
    }
    return json.dumps(body, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _swept(swept: Swept) -> dict[str, Any]:
    gained = [swept.gained] if swept.gained is not None else []
    return {
        "designs": [swept.design(row) for row in range(len(swept))],
        "flags": [flag_body(f) for f in swept.findings],
        "estimates": [rows_body(q, swept.findings) for q in [*swept.quantities.values(), *gained]],
    }


def _life(life: Life) -> dict[str, Any]:
    return {
        "times_si": life.times.tolist(),
        "unit": life.unit,
        "flags": [flag_body(f) for f in life.findings],
        "estimates": [rows_body(q, life.findings) for q in life.quantities.values()],
        "to_final_drop": [
            None if q is None else {"name": name, **rows_body(q, [])}
            for name, q in zip(life.names, life.progress, strict=True)
        ],
        "changes": [vars(change) for change in life.changes],
        "first": None if life.ruled is None else life.ruled.name,
    }


def _noise(noise: EqualNoise) -> dict[str, Any]:
    return {
        "number": noise.number.tolist(),
        "one_as_it_is_in_front": bool(noise.tried),
        "limit": noise.section.value("limit"),
        "required_si": float(np.ravel(noise.need.total.value)[0]),
        "required_of": "clean air" if noise.need.of_clean_air else "flow",
        "required_stated": noise.need.stated,
        "flags": [flag_body(f) for f in noise.findings],
        "at_the_limit": [rows_body(q, noise.findings) for q in noise.quiet.values()],
        "for_what_is_required": [rows_body(q, noise.findings) for q in noise.enough.values()],
        "smallest_number": noise.answer,
        "verdict": noise.verdict,
    }


def _heat(heat: Heat) -> dict[str, Any]:
    return {
        "rise": estimate_body(heat.rise, heat.findings),
        "limit": heat.limit,
        "verdict": heat.verdict,
    }


def predict_csv(predicted: Predicted) -> str:
    """A line a design of a sweep; without one a line a time of a life; without either, a line a quantity."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    swept = predicted.swept
    if swept is None and predicted.life is not None:
        life = predicted.life
        held = list(life.quantities.values())
        writer.writerow([f"running [{life.unit}]", *_heads(held), "flags"])
        columns = [column for q in held for column in _columns(q, len(life))]
        for row, time in enumerate(life.times):
            said = "; ".join(codes(life.findings, row))
            numbers = [_cell(float(column[row])) for column in columns]
            writer.writerow([_cell(float(life.shown(time))), *numbers, said])
        return out.getvalue()
    if swept is None:
        heads = ["of", "quantity", "unit", "value", "standard_uncertainty", "low", "high", "coverage", "interval_from"]
        writer.writerow([*heads, "flags"])
        said = "; ".join(codes(predicted.findings))
        groups = [
            (f"crossing {i + 1}, {'stable' if c.stable else 'unstable'}", c.quantities, said)
            for i, c in enumerate(predicted.crossings)
        ]
        groups += [(e.name, q, said) for e, q in zip(predicted.setup.entries, predicted.entries, strict=True)]
        groups += _cleaners(predicted.noise)
        for name, quantities, said in groups:
            for q in quantities.values():
                numbers = [_cell(float(x)) for x in (q.value, q.u, q.low, q.high)]
                writer.writerow([name, q.name, q.unit, *numbers, predicted.coverage, q.interval.source, said])
        return out.getvalue()
    quantities_ = [*swept.quantities.values(), *([swept.gained] if swept.gained is not None else [])]
    writer.writerow([*swept.varied, *_heads(quantities_), "flags"])
    columns = [column for q in quantities_ for column in _columns(q, len(swept))]
    for row in range(len(swept)):
        said = "; ".join(codes(swept.findings, row))
        writer.writerow([*swept.design(row).values(), *(_cell(float(column[row])) for column in columns), said])
    return out.getvalue()


def _cleaners(noise: EqualNoise | None) -> list[tuple[str, dict[str, Quantity], str]]:
    """Every number of cleaners by itself, each quantity of one row."""
    if noise is None:
        return []
    found = []
    for row, number in enumerate(noise.number):
        said = "; ".join(codes(noise.findings, row))
        many = f"{number:.0f} cleaner{'' if number == 1 else 's'}"
        sorts = {"as loud as allowed": noise.quiet, "as fast as needed": noise.enough}
        for sort, group in sorts.items() if row >= noise.tried else [("as it is", noise.quiet)]:
            found.append((f"{many}, {sort}", {n: _row(q, row) for n, q in group.items()}, said))
    return found


def _row(q: Quantity, row: int) -> Quantity:
    """One row of a quantity, as one of a single result."""
    low, high = (np.asarray(x)[row] for x in (q.interval.low, q.interval.high))
    drawn = interval_source(q, row) == "monte carlo"
    bar = replace(q.interval, low=low, high=high, source="monte carlo" if drawn else "linear")
    return Quantity(q.name, q.label, q.kind, q.unit, q.estimate.single(row), bar)


def _heads(quantities: list[Quantity]) -> list[str]:
    return [f"{q.name}{part} [{q.unit}]" for q in quantities for part in ("", " u", " low", " high")]


def _columns(q: Quantity, n: int) -> list[Any]:
    return [np.broadcast_to(x, (n,)) for x in (q.value, q.u, q.low, q.high)]


def _cell(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
