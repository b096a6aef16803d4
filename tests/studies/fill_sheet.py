"""A person with a pencil: every blank of a sheet filled with an invented reading, nothing else touched."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Mapping
from pathlib import Path

CALIBRATIONS = Path(__file__).resolve().parents[2] / "calibrations"
BLANK = re.compile(r'^(\w+) = (""|\[""(?:, "")*\])$')

INVENTED = {
    "title": '"Invented rig, for a test"',
    "date": "2026-01-15",
    "temperature": '"21.0 degC"',
    "pressure": '"1000.0 hPa"',
    "relative_humidity": '"45 %"',
    "wet_bulb": '"14.0 degC"',
    "diameter": '"150 mm"',
    "pipe_diameter": '"250 mm"',
    "tappings": '"corner"',
    "type": '"long-radius"',
    "convergent": '"machined"',
    "straight_length": '"full"',
    "coefficient": '"0.97 ± 0.02"',
    "expansion": '"apart"',
    "tapping": '"as calibrated"',
    "clear_distance": '"1.5 m"',
    "chamber_width": '"900 mm"',
    "chamber_height": '"900 mm"',
    "drop": '"250.0 Pa"',
    "altitude": '"110 m"',
    "made": '"machined"',
    "thickness": '"1.5 mm"',
    "edge": '"sharp"',
    "kind": '"filter"',
    "edge_strip": '"20 mm"',
    "side": '"upstream"',
    "distance": '"50 mm"',
    "over": '"free-standing cleaner"',
    "reading": '"412 m3/h"',
    "sensor": '"vane"',
    "hood_pressure": '"3.1 Pa"',
    "throttled_reading": '"371 m3/h"',
    "throttled_pressure": '"9.4 Pa"',
    "cut": '"with care"',
    "yaw": '"0 deg"',
    "blockage_area": '"0 cm2"',
    "calibration": '"box-2-2026.toml"',
    "static": '"0.0 Pa"',
    "remount": '"remounted"',
    "by": '"night shift"',
    "formula": '"power law"',
    "due": "2027-01-15",
    "calibrated": "2026-01-02",
    "manometer.accuracy": '"0.5 % of reading + 0.25 Pa"',
    "manometer.resolution": '"0.1 Pa"',
    "flow_hood.accuracy": '"3 % of reading + 10 m3/h"',
    "flow_hood.resolution": '"1 m3/h"',
    "thermometer.accuracy": '"0.3 degC"',
    "thermometer.resolution": '"0.1 degC"',
    "barometer.accuracy": '"1 hPa"',
    "barometer.resolution": '"0.1 hPa"',
    "hygrometer.accuracy": '"3 %RH"',
    "hygrometer.resolution": '"1 %"',
    "anemometer.accuracy": '"2 % of reading + 0.02 m/s"',
    "anemometer.resolution": '"0.01 m/s"',
}


def fill(folder: Path, cells: Mapping[str, float] | None = None, **values: str) -> Path:
    """Fill the record in a folder, and its grid with `cells` by column; passes differ a little, about that mean."""
    path = folder / "record.toml"
    known = INVENTED | values
    table, lines = "", []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            table = line.strip("[]").split(".")[-1]
        blank = BLANK.match(line)
        if blank is None:
            lines.append(line)
            continue
        name = blank[1]
        value = f'"{table}-1"' if name == "serial" else known.get(f"{table}.{name}", known.get(name))
        assert value is not None, f"no invented value for {table}.{name}"
        count = blank[2].count('""')
        lines.append(f"{name} = [{', '.join([value] * count)}]" if blank[2].startswith("[") else f"{name} = {value}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    for named in CALIBRATIONS.glob("*.toml"):
        if any(named.name in line for line in lines):
            shutil.copy(named, folder)
    for grid in folder.glob("*.csv"):
        if grid.name != "points.csv":
            fill_grid(grid, cells or {})
    return path


def fill_grid(path: Path, cells: Mapping[str, float]) -> None:
    """Fill the empty columns of a grid, each pass 1 % of its own away from the mean."""
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    passes = [int(row["pass"]) for row in rows]
    middle = (min(passes) + max(passes)) / 2
    for row in rows:
        for head, value in row.items():
            if value == "":
                row[head] = f"{cells[head.split(' [')[0]] * (1 + 0.01 * (int(row['pass']) - middle)):.10g}"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(rows)
