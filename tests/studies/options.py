"""Options to be owned, as mappings for the tests; all invented but where a test says otherwise."""

from __future__ import annotations

from typing import Any

from tests.studies.cleaners import heading

EXACT = "± 0.0001 m3/h"  # a clean-air rate must have its ±


def record(*options: dict[str, Any], **own: Any) -> dict[str, Any]:
    """Options on terms without inflation, discount or tariff unless `own` has them; None leaves a line out."""
    terms = {"years": 10, "currency": "USD", "money": "real", "real_discount": "0 %", "hours": "1000 h"}
    terms |= {"energy_price": "0 USD/kWh"} | own
    return heading("Options") | {"own": {k: v for k, v in terms.items() if v is not None}, "options": list(options)}


def option(name: str = "A", **fields: Any) -> dict[str, Any]:
    """A unit of 400 m3/h and 60 W without filters that costs nothing unless `fields` has it; None leaves a line out."""
    stated = {"name": name, "clean_air_rate": f"400 m3/h {EXACT}", "particles": "0.3 to 1 um", "power": "60 W"}
    stated |= {"price": "0 USD", "filters": 0} | fields
    return {k: v for k, v in stated.items() if v is not None}
