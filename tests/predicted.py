"""Predictions of the worked examples, each reckoned once for all tests that look at it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from flowrig.studies.predict import Predicted, predict


@cache
def example(path: Path) -> Predicted:
    """The record at a path, predicted as the command does."""
    return predict(path)
