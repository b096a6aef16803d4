"""Rooms for the tests, as mappings; all invented but where a test says otherwise."""

from __future__ import annotations

from datetime import date
from typing import Any

from flowrig.studies.building import Option
from flowrig.studies.room import RoomResult

PLAIN = {  # everything stated, and as good as exact
    "volume": "50 m3 ± 0.00001 m3",
    "infiltration": "0.5 1/h",
    "penetration": "0.8",
    "deposition": "0.4 1/h",
    "mixing": "1 ± 0.000001",
    "outdoor_concentration": "35 ug/m3",
    "combustion": "none",
}


def unit(name: str = "a cleaner", rate: str = "250 m3/h ± 0.0001 m3/h", **fields: Any) -> dict[str, Any]:
    """A cleaner with a stated rate, for smoke."""
    return {"name": name, "clean_air_rate": rate, "particles": "0.3 to 1 um"} | fields


def room(*cleaners: dict[str, Any], plain: bool = True, **tables: Any) -> dict[str, Any]:
    """A room with its tables; fields of [room] that are None are left out."""
    own = (PLAIN if plain else {}) | tables.pop("room", {})
    record: dict[str, Any] = {"title": "A room", "date": date(2026, 8, 24), "invented": True}
    record["room"] = {name: value for name, value in own.items() if value is not None}
    if cleaners:
        record["cleaners"] = list(cleaners)
    return record | tables


def smoke(level: str, particles: str = "smoke", **fields: Any) -> dict[str, Any]:
    """A target of a concentration."""
    return {"level": level, "particles": particles, "source": "a test"} | fields


def option(result: RoomResult, title: str) -> Option:
    [found] = [o for o in result.options if o.title == title]
    return found
