"""Lines of a record that were left blank."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def written(raw: Any) -> Any:
    """A record without what was left blank: a line that holds ``""``, or a list of nothing else, is not written."""
    if isinstance(raw, Mapping):
        return {key: written(value) for key, value in raw.items() if not _blank(value)}
    return [written(value) for value in raw] if isinstance(raw, list) else raw


def _blank(value: object) -> bool:
    return (isinstance(value, str) and not value) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, str) and not v for v in value)
    )
