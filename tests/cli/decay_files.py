"""A sound record of decays in a room with its files of counts, for tests of the command line; invented counts."""

from __future__ import annotations

import math

RECORD = """title = "Workshop, cleaner on speed 3"
date = 2026-07-14
invented = true

[counters.A]
sample_flow = "2.83 L/min"
sample_time = "60 s"
counts = "cumulative"
per = "sample"
serial = "C1"
max_concentration = "70 1/cm3"

[decay]
net_volume = "48.6 m3 ± 1 m3"
natural_run = "fan running without filters"
windows_and_doors = "unchanged"
mixing = "mixing fan"

[[decay_runs]]
name = "on"
cleaner = "on"
counts = "on.csv"

[[decay_runs]]
name = "off"
cleaner = "off"
counts = "off.csv"
background = "before.csv"
"""


def counts(loss: float, floor: float, minutes: int) -> str:
    """A file of cumulative counts that fall at a rate [1/h]."""
    lines = ["time [min],0.3 um,1 um,note"]
    for minute in range(minutes + 1):
        left = math.exp(-loss * minute / 60.0) + floor
        lines.append(f"{minute},{round(36000 * left)},{round(2000 * left)},")
    return "\n".join(lines) + "\n"


FILES = {
    "record.toml": RECORD,
    "on.csv": counts(8.4, 0.01, 40),
    "off.csv": counts(0.4, 0.05, 60),
    "before.csv": "0.3 um,1 um\n1800,100\n1790,101\n",
}
