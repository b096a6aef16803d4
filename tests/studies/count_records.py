"""Records of particle counts, put together in Python; all numbers invented, but for those of a reference."""

from __future__ import annotations

import datetime as dt
from typing import Any

SIZES = ("0.3 um", "0.5 um", "1 um", "2.5 um", "5 um", "10 um")
COUNTER = {
    "serial": "PC-7",
    "calibrated": dt.date(2026, 2, 1),
    "sample_flow": "2.83 L/min ± 5 %",
    "sample_time": "60 s",
    "counts": "by channel",
    "per": "sample",
    "max_concentration": "70 1/cm3",
    "loss": "5 %",
    "size_error": "10 %",
}
UPSTREAM = (14200, 1210, 335, 120, 22, 9)
BEHIND = (4100, 260, 52, 11, 1, 0)
TUBE = {"tube_length": "2 m", "tube_diameter": "6 mm", "waiting_time": "30 s", "aspiration_limit": "5 %"}


def in_turn(pairs: int = 5, run: str = "in use", up: tuple[int, ...] = UPSTREAM, behind: tuple[int, ...] = BEHIND,
            **more: Any) -> list[dict[str, Any]]:  # fmt: skip
    """Rows of samples in turn, which begin and end upstream; their counts go up and down by a hundredth."""
    rows = []
    for i in range(2 * pairs + 1):
        counts = up if i % 2 == 0 else behind
        waver = 1 + 0.01 * ((i // 2) % 3 - 1)
        row = {"run": run, "place": "downstream" if i % 2 else "upstream", **more}
        rows.append(row | dict(zip(SIZES, (round(n * waver) for n in counts), strict=True)))
    return rows


def zero(counts: tuple[int, ...] = (1, 0, 0, 0, 0, 0), times: int = 3, **more: Any) -> list[dict[str, Any]]:
    row = {"run": "zero", "place": None, **more} | dict(zip(SIZES, counts, strict=True))
    return [row for _ in range(times)]


def record(rows: list[dict[str, Any]], counters: dict[str, dict[str, Any]] | None = None, **particles: Any
           ) -> dict[str, Any]:  # fmt: skip
    """A record of such rows by counter A."""
    columns = dict.fromkeys(key for row in rows for key in row)
    table = {key: [row.get(key) for row in rows] for key in columns}
    if counters is None:
        counters = {"A": COUNTER}
    return {
        "title": "Invented counts",
        "date": dt.date(2026, 8, 21),
        "particles": {**TUBE, "counts": table} | particles,
        "counters": counters,
    }
