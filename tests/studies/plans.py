"""Records to be planned, as mappings, and readings drawn about what a plan expects of them."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any
from unittest.mock import patch

import numpy as np

import flowrig
from flowrig.studies.plan import Outlook
from tests.records.calibrations import calibration
from tests.studies.records import nozzle

ZERO = {"zero_before": "0.1 Pa", "zero_after": "0.2 Pa"}
HOOD = {"measures": "flow", "serial": "H7", "accuracy": "3 % of reading + 10 m3/h", "density_corrected": True}
VANE = {"measures": "velocity", "serial": "V1", "accuracy": "2 % of reading + 0.02 m/s", "resolution": "0.01 m/s"}


def planned(flow: str = "600 m3/h", section: Mapping[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """A record of one nozzle of which no drop was read; keywords are fields of [plan], `section` is of the flow."""
    record = nozzle(**({"static": "0 Pa"} | dict(section or {})))
    record["instruments"]["manometer"] |= ZERO
    del record["flow"][0]["drop"]
    return record | {"plan": {"flow": flow, **more}}


def other(method: str, tables: Mapping[str, Any], flow: str, section: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    """The same of another method, with its hardware."""
    record = planned(flow, **more)
    del record["nozzles"]
    record["instruments"] |= {"hood": HOOD} if method == "hood" else {"vane": VANE} if "vane" in method else {}
    return record | deepcopy(dict(tables)) | {"flow": [{"method": method, **section}]}


PLATE = {"plates": {"A": {"diameter": "120 mm ± 0.1 mm", "pipe_diameter": "200 mm ± 0.4 mm", "tappings": "corner"}}}
DUCT = {"ducts": {"main": {"width": "400 mm ± 2 mm", "height": "300 mm ± 2 mm"}}}
ROUND = {"ducts": {"main": {"diameter": "315 mm ± 1 mm"}}}
RECTANGLE = {
    "duct": "main",
    "rule": "log-tchebycheff",
    "across": 5,
    "down": 5,
    "yaw": "3 deg",
    "blockage_area": "5 cm2",
}
CIRCLE = {"duct": "main", "rule": "log-linear", "per_radius": 3, "diameters": 2, "yaw": "3 deg"}


def record_of(kind: str, **more: Any) -> dict[str, Any]:
    """A record to be planned, by what it is of."""
    match kind:
        case "nozzle":
            return planned(**more)
        case "orifice plate":
            section = {"plate": "A", "straight_length": "full", "static": "0 Pa"}
            return other("orifice-plate", PLATE, "700 m3/h", section, **more)
        case "box":
            section = {"calibration": calibration(), "remount": "remounted", "static": "0 Pa"}
            return other("box", {}, "620 m3/h", section, **more)
        case "hood":
            section = {"over": "supply outlet", "sensor": "pressure grid", "backpressure_factor": "1.03 ± 0.01"}
            return other("hood", {}, "500 m3/h", section, **more)
        case "hood turned":
            section = {"over": "supply outlet", "sensor": "pressure grid", "orientations": 4}
            return other("hood", {}, "500 m3/h", section, **more)
        case "pitot traverse":
            return other("pitot-traverse", DUCT, "2200 m3/h", RECTANGLE, **more)
        case "round pitot traverse":
            return other("pitot-traverse", ROUND, "1500 m3/h", CIRCLE, **more)
        case "vane traverse":
            return other("vane-traverse", DUCT, "2000 m3/h", RECTANGLE, **more)
    raise KeyError(kind)


def alone(record: Any, **options: Any) -> Outlook:
    """The plan of a single measurement as it stands: no change of it is tried, which is most of the work of a plan."""
    with patch("flowrig.studies.plan.changes", lambda *_: iter(())):
        [outlook] = flowrig.plan(record, **options)
    return outlook


def deviates(shape: tuple[int, int], random: np.random.Generator, exact: bool) -> np.ndarray:
    """Random readings of groups; `exact` makes the means of the groups scatter by just what they should."""
    z = random.standard_normal(shape)
    if not exact:
        return z
    groups, within = shape
    if groups == 1:
        return z - np.mean(z)
    means = z.mean(axis=1, keepdims=True)
    wanted = (means - np.mean(means)) / np.std(means, ddof=1) / np.sqrt(within)
    inside = z - means
    if within > 1:
        inside = inside - inside.mean(axis=0)  # no place drifts against the others
        inside *= np.sqrt((within - 1) / np.mean(np.sum(inside**2, axis=1)))
    return wanted + inside


def taken(record: Mapping[str, Any], outlook: Outlook, seed: int = 4, exact: bool = True) -> dict[str, Any]:
    """The record with readings drawn about the expected ones, as they would be written; [plan] still stands in it."""
    random = np.random.default_rng(seed)
    done = deepcopy(dict(record))
    setup = outlook.setup
    n = setup.readings
    for name in setup.names:
        item = setup.flow.section[name]
        level = item.value[0]
        if item.field.grid:
            layout = setup.flow.layout
            z = deviates((n, len(layout)), random, exact)
            values = level * (1 + setup.scatter * z) ** setup.power
            grid = {"pass": np.repeat(np.arange(n) + 1, len(layout))}
            grid |= {key: np.tile([p[i] for p in layout.points], n) for i, key in enumerate(layout.keys)}
            grid[f"{name} [{'Pa' if name == 'drop' else 'm/s'}]"] = values.reshape(-1)
            done["flow"][0]["grid"] = grid
            continue
        turns = setup.flow.method.turns(setup.flow.section)
        z = deviates((turns if turns > 1 else n, 1), random, exact)[:, 0]
        z = np.tile(z, n) if turns > 1 else z
        unit = "m3/s" if item.field.kind == "flow" else "Pa"
        if n == 1 and turns == 1:  # as the plan says: its scatter stated beside it
            done["flow"][0][name] = f"{level:.9g} {unit} (u = {level * setup.power * setup.scatter:.9g} {unit})"
        else:
            done["flow"][0][name] = [f"{x:.9g} {unit}" for x in level * (1 + setup.scatter * z) ** setup.power]
    return done
