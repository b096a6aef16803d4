"""Fans, filters and cleaners for the tests, as mappings; all invented but where a test says otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from flowrig.records.declare import Finding
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import air_of

UNIT = {"temperature": "20 degC ± 0.01 K", "pressure": "101325 Pa ± 1 Pa", "relative_humidity": "50 % ± 0.1 %"}
FLOWS = (0, 300, 600, 900, 1200, 1500, 1800)
PRESSURES = (72, 66, 57, 46, 33, 18, 0)  # falls all the way
DIP_FLOWS = (0, 300, 500, 650, 850, 1100, 1400, 1700, 2000)
DIP_PRESSURES = (72, 58, 47, 36, 46, 44, 33, 18, 0)


def heading(title: str) -> dict[str, Any]:
    return {"title": title, "date": date(2026, 8, 10), "invented": True}


def values(numbers: Iterable[float], unit: str) -> list[str]:
    return [f"{x:.10g} {unit}" for x in numbers]


def fan(
    flows: Sequence[float] = FLOWS, pressures: Sequence[float] = PRESSURES, units: Sequence[str] = ("m3/h", "Pa"),
    **fields: Any,
) -> dict[str, Any]:  # fmt: skip
    """A stated fan, without errors unless `fields` has them."""
    table = {"figures": "stated", "flow": values(flows, units[0]), "pressure": values(pressures, units[1])}
    table |= {"flow_limit": "0 %", "pressure_limit": "0 %"}
    return heading("A fan") | {"fan": {k: v for k, v in (table | fields).items() if v is not None}}


def panel(**fields: Any) -> dict[str, Any]:
    """A stated filter of 0.25 m2 with coefficients, without errors unless `fields` has them."""
    table = {"figures": "stated", "width": "500 mm", "height": "500 mm", "piece_spread": "0 %"}
    if not {"drop", "points"} & set(fields):
        table |= {"drop_limit": "0 %"}
    if not {"drop", "points", "linear"} & set(fields):
        table |= {"linear": "38 Pa", "quadratic": "14 Pa"}
    return heading("A panel") | {"filter": table | fields}


def cleaner(*filters: dict[str, Any], fan: dict[str, Any], **predict: Any) -> dict[str, Any]:
    """What is to be predicted; each of `filters` a [[filters]] section."""
    return heading("A cleaner") | {
        "air": {"unit": dict(UNIT)}, "predict": {"fan": fan} | predict, "filters": list(filters),
    }  # fmt: skip


def still_air() -> dict[str, str]:
    """Density and viscosity of the air that the cleaners run in, to be stated of a filter that was tested there."""
    state = air_of(load(cleaner({"filter": panel()}, fan=fan())), "unit").state
    return {
        "density": f"{state['density'].value:.12g} kg/m3",
        "viscosity": f"{1e6 * state['viscosity'].value:.12g} uPa s",
    }


def codes(findings: Iterable[Finding]) -> set[str]:
    return {finding.code for finding in findings}
