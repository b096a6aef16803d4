"""The reference tables beside this file. Each row carries its own source and status."""

import csv
from pathlib import Path


def rows(name: str) -> list[dict[str, str]]:
    """Every row of a table, as text, by the names in its first line."""
    with Path(__file__).with_name(name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))
