"""A cleaner that is not built yet, as a mapping to be changed; every figure is invented."""

from __future__ import annotations

import copy
from typing import Any

FAN = {
    "title": "Fan of the workshop",
    "date": "2026-08-10",
    "invented": True,
    "fan": {
        "figures": "stated",
        "flow": ["0 m3/h", "400 m3/h", "800 m3/h", "1200 m3/h", "1600 m3/h", "2000 m3/h"],
        "pressure": ["72 Pa", "62 Pa", "52 Pa", "38 Pa", "20 Pa", "0 Pa"],
        "power": ["95 W", "94 W", "92 W", "89 W", "84 W", "79 W"],
        "motor_temperature": ["80 degC", "74 degC", "67 degC", "60 degC", "53 degC", "48 degC"],
        "power_is": "electrical",
    },
}
FILTER = {
    "title": "Panel of the workshop",
    "date": "2026-08-10",
    "invented": True,
    "filter": {
        "figures": "stated",
        "width": "495 mm",
        "height": "495 mm",
        "class": "panel",
        "linear": "38 Pa ± 3 Pa",
        "quadratic": "14 Pa ± 2 Pa",
        "particles": "1 to 3 um",
        "efficiency": ["86 %"],
        "efficiency_velocity": ["0.4 m/s"],
        "final_drop": "125 Pa",
        "final_velocity": "1.25 m/s",
    },
}
RECORD = {
    "title": "Two-filter cleaner of Larkspur Flats",
    "date": "2026-08-24",
    "invented": True,
    "air": {
        "unit": {"temperature": "24 degC ± 1 degC", "pressure": "836 hPa ± 1 hPa", "relative_humidity": "(40 ± 5) %"}
    },
    "predict": {},
    "filters": [{"count": 2}],
}
LIFE = {
    "run": "2000 h",
    "filter_price": "24 USD",
    "change_price": "15 USD",
    "energy_price": "0.17 USD/kWh",
}
NEW_DROP = 38.0 * 1.25 + 14.0 * 1.25**2  # of the filter at its final velocity [Pa]


def cleaner(
    *,
    fan: dict[str, Any] | None = None,
    filter: dict[str, Any] | None = None,
    predict: dict[str, Any] | None = None,
    entry: dict[str, Any] | None = None,
    **tables: Any,
) -> dict[str, Any]:
    """The record with some lines more or otherwise; a line that is None is left out."""
    record: dict[str, Any] = copy.deepcopy(RECORD)
    own: dict[str, Any] = {"fan": copy.deepcopy(FAN), "filter": copy.deepcopy(FILTER)}
    for sort, lines in (("fan", fan), ("filter", filter)):
        own[sort][sort] |= lines or {}
        own[sort][sort] = {k: v for k, v in own[sort][sort].items() if v is not None}
    record["predict"] = {"fan": own["fan"], **(predict or {})}
    record["filters"][0] |= {"filter": own["filter"], **(entry or {})}
    return {**record, **tables}
