"""Records of decays in a room for the tests, as mappings, with invented counts."""

from __future__ import annotations

from copy import deepcopy
from datetime import date
from typing import Any

import numpy as np

VOLUME = 48.6  # m3
SAMPLE = 2.83e-3  # m3
FIRST = {"0.3 um": 12e6, "0.5 um": 3e6, "1 um": 0.6e6}  # of each channel [1/m3]
COUNTER = {
    "sample_flow": "2.83 L/min",
    "sample_time": "60 s",
    "counts": "by channel",
    "per": "sample",
    "serial": "C1",
    "max_concentration": "100000 1/cm3",  # far beyond what is counted here
}
ROOM = {
    "net_volume": "48.6 m3 ± 1 m3",
    "natural_run": "fan running without filters",
    "windows_and_doors": "unchanged",
    "mixing": "mixing fan",
    "mixing_limit": "2 %",
    "clock_limit": "0.1 %",
}
TWO, ALL = ("0.3 um", "0.5 um"), tuple(FIRST)
Columns = dict[str, Any]


def counted(
    loss: float, floor: float, minutes: int, *, seed: int | None = None, scatter: float = 0.0, first: float = 1.0,
    step: float = 1.0, channels: tuple[str, ...] = TWO, **columns: Any,
) -> Columns:  # fmt: skip
    """A table of counts: a loss [1/h] to a floor, as a share of the first level of each channel.

    Without a seed the counts are what is expected, rounded.
    """
    time = np.arange(0.0, minutes + step / 2, step)
    table: Columns = {"time [min]": time}
    rng = np.random.default_rng(seed)
    puffs = np.exp(scatter * rng.standard_normal(len(time)))
    for name in channels:
        mean = SAMPLE * first * FIRST[name] * (np.exp(-loss * time / 60.0) + floor) * puffs
        table[name] = np.round(mean) if seed is None else rng.poisson(mean)
    return table | columns


def background(floor: float, samples: int = 5, channels: tuple[str, ...] = TWO) -> Columns:
    """Samples of the level that a run falls to."""
    return {name: np.full(samples, round(SAMPLE * FIRST[name] * floor)) for name in channels}


def decays(
    *, on: float = 8.4, off: float = 0.4, seed: int | None = None, scatter: float = 0.0,
    channels: tuple[str, ...] = TWO,
) -> dict[str, Any]:  # fmt: skip
    """A record of two runs: the cleaner on, its floor fitted; off, with its background counted."""
    natural = counted(off, 0.05, 60, seed=None if seed is None else seed + 1, scatter=scatter, channels=channels)
    cleaned = counted(on, 0.01, 40, seed=seed, scatter=scatter, channels=channels)
    return {
        "title": "Decay (invented)",
        "date": date(2026, 7, 14),
        "counters": {"A": dict(COUNTER)},
        "decay": dict(ROOM),
        "decay_runs": [
            {"name": "on", "cleaner": "on", "counts": cleaned},
            {"name": "off", "cleaner": "off", "counts": natural, "background": background(0.05, channels=channels)},
        ],
    }


def changed(record: dict[str, Any], decay: dict[str, Any] | None = None, **runs: dict[str, Any]) -> dict[str, Any]:
    """A copy with fields of [decay], or of a run by its name, replaced; None takes a field away."""
    record = deepcopy(record)
    for section, fields in [(record["decay"], decay or {}), *((_run(record, name), f) for name, f in runs.items())]:
        for name, value in fields.items():
            if value is None:
                section.pop(name, None)
            else:
                section[name] = value
    return record


def _run(record: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(run for run in record["decay_runs"] if run["name"] == name)
    return found
