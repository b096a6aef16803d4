"""Workshop readings of moving air, reduced to a flow with error bars.

Public names are imported on first use: `reduce`, `reduce_rows`, `calibrate`, `verify`, `plan`, `predict`, `room`,
`own`, `load_json`, `explain`, the equations in `physics`, and the errors `InputError`, `CalculationError` and their
parent `FlowrigError`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flowrig import physics
    from flowrig.errors import CalculationError, FlowrigError, InputError
    from flowrig.report.as_json import load_json
    from flowrig.report.explain import explain
    from flowrig.studies.calibrate import calibrate
    from flowrig.studies.own import own
    from flowrig.studies.plan import plan
    from flowrig.studies.predict import predict
    from flowrig.studies.reduce import reduce
    from flowrig.studies.room import room
    from flowrig.studies.rows import reduce_rows
    from flowrig.studies.verify import verify

__all__ = [
    "CalculationError",
    "FlowrigError",
    "InputError",
    "calibrate",
    "explain",
    "load_json",
    "own",
    "physics",
    "plan",
    "predict",
    "reduce",
    "reduce_rows",
    "room",
    "verify",
]

_HOMES = {
    "CalculationError": "flowrig.errors",
    "FlowrigError": "flowrig.errors",
    "InputError": "flowrig.errors",
    "calibrate": "flowrig.studies.calibrate",
    "explain": "flowrig.report.explain",
    "load_json": "flowrig.report.as_json",
    "own": "flowrig.studies.own",
    "plan": "flowrig.studies.plan",
    "predict": "flowrig.studies.predict",
    "reduce": "flowrig.studies.reduce",
    "reduce_rows": "flowrig.studies.rows",
    "room": "flowrig.studies.room",
    "verify": "flowrig.studies.verify",
}


def __getattr__(name: str) -> Any:
    if name == "physics":
        return import_module("flowrig.physics")
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'flowrig' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
