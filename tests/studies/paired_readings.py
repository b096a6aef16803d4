"""Paired readings for the tests, made from a known truth: what the nozzles showed, and what a box must then show."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from datetime import date
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

import flowrig
from flowrig.records.calibration import CalibrationFile
from flowrig.records.calibration_text import read_back
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.calibration_file import file_text
from tests.studies.records import nozzle

Floats = NDArray[np.float64]
DENSITY, VISCOSITY = 1.2, 18.2e-6  # air that the laws below hold for
DROPS = {"small": [60.0, 120.0, 240.0, 480.0], "large": [80.0, 160.0, 320.0, 640.0]}  # of the nozzles [Pa]
OPEN = {"small": ["B"], "large": ["A"]}


def power_law(drop: Any) -> Any:
    """Flow [m3/s] of an invented box in air of `DENSITY` and `VISCOSITY`."""
    return 0.13 * (drop / 50.0) ** 0.53


def cubic(drop: Any) -> Any:
    """The same of one that follows a cubic, rising all the way."""
    r = drop / 100.0
    return 0.05 + 0.08 * r - 0.02 * r**2 + 0.003 * r**3


@cache
def measured(name: str) -> tuple[Floats, float, float]:
    """Volume flow at the meter [m3/s] of some nozzles at their drops, and density and viscosity of that air."""
    rows = flowrig.reduce_rows(nozzle(open=OPEN[name], drop="1 Pa"), {"drop [Pa]": DROPS[name]})
    state = rows.flows[0].air["meter"]
    return rows.flow.estimate.value, *(float(np.ravel(state[what].value)[0]) for what in ("density", "viscosity"))


def in_air(law: Callable[[Any], Any], density: float, viscosity: float) -> Callable[[Any], Any]:
    """A law in other air: q rho/mu is a function of drop rho/mu^2 alone."""

    def there(drop: Any) -> Any:
        alike = drop * density / DENSITY * (VISCOSITY / viscosity) ** 2
        return law(alike) * (DENSITY / VISCOSITY) * (viscosity / density)

    return there


def inverse(law: Callable[[Any], Any], flow: Floats) -> Floats:
    """Drop [Pa] at which a rising law gives each flow, by bisection."""
    low, high = np.full(flow.shape, 1e-3), np.full(flow.shape, 2e4)
    for _ in range(200):
        middle = 0.5 * (low + high)
        below = law(middle) < flow
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def box_points(law: Callable[[Any], Any] = power_law, names: Sequence[str] = ("small", "large")) -> dict[str, Any]:
    """Columns of a table of points without noise: every drop of every set of nozzles, and that of the box."""
    columns: dict[str, Any] = {"section": [], "indication [Pa]": [], "drop [Pa]": []}
    for name in names:
        flow, density, viscosity = measured(name)
        columns["section"] += [name] * len(flow)
        columns["drop [Pa]"] += DROPS[name]
        columns["indication [Pa]"] += list(inverse(in_air(law, density, viscosity), flow))
    return columns


def box_record(points: Mapping[str, Any] | None = None, **changed: Any) -> dict[str, Any]:
    """A record that calibrates a box against two sets of nozzles; keywords replace fields of [calibration]."""
    points = box_points() if points is None else points
    record = deepcopy(nozzle())
    task = {"calibrates": "box", "serial": "BOX-1", "formula": "power law", "due": date(2027, 7, 14), "points": points}
    record |= {"title": "Invented box", "by": "nobody", "invented": True, "calibration": task | changed}
    for name, number in (("A", "LF-A"), ("B", "LF-B")):
        record["nozzles"][name]["serial"] = number
    sections = list(dict.fromkeys(points["section"])) if "section" in points else ["large"]
    record["flow"] = [{"name": name, "method": "nozzle", "open": OPEN[name], "static": "0 Pa"} for name in sections]
    record["calibration"] = {key: value for key, value in record["calibration"].items() if value is not None}
    return record


def instrument_record(points: Mapping[str, Any], kind: str = "pressure difference", **changed: Any) -> dict[str, Any]:
    """A record that calibrates an instrument against another by a column; keywords replace fields of [calibration]."""
    accuracy = {"pressure difference": "0.2 % of reading + 0.1 Pa", "velocity": "1 % of reading + 0.01 m/s"}[kind]
    task = {"calibrates": kind, "formula": "line", "due": date(2027, 7, 14), "points": points}
    task |= {"with": {"indication": "field", "reference": "standard"}}
    return {
        "title": "Invented instrument",
        "date": date(2026, 7, 14),
        "by": "nobody",
        "invented": True,
        "instruments": {
            "standard": {"measures": kind, "serial": "REF-1", "accuracy": accuracy},
            "field": {"measures": kind, "serial": "X-1", "accuracy": "2 % of reading", "resolution": STEP[kind]},
        },
        "calibration": {key: value for key, value in (task | changed).items() if value is not None},
    }


STEP = {"pressure difference": "0.1 Pa", "velocity": "0.01 m/s"}


def written(done: Calibrated) -> tuple[str, CalibrationFile]:
    """The file of a calibration as text, and as it is read again."""
    text = file_text(done)
    return text, read_back(text)
