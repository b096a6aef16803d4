"""Are the probabilities of a class true? Filters about a limit, counted by chance, are of it as often as is said."""

from __future__ import annotations

import numpy as np
import pytest

from flowrig.studies import size_classes
from flowrig.studies.twelve_channels import TwelveChannels
from tests.studies.counted_filters import TWELVE, filter_by_size

EDITION = "ANSI/ASHRAE 52.2-2017"


def told(number: int, before: float, about: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Probability of class 13 or more, and whether it was the true one, of filters with an E2 about its limit."""
    rng = np.random.default_rng(seed)
    said, true = np.empty(number), np.empty(number, dtype=bool)
    for i in range(number):
        e2 = 0.85 + about * rng.uniform(-1, 1)
        efficiency = np.repeat([0.75, e2, 0.97], 4)
        counts = np.stack([rng.poisson(before, 12), rng.poisson(before * (1 - efficiency))], axis=1)
        by_size = filter_by_size(np.maximum(counts, [1, 0]), TWELVE)
        found = size_classes.class_equivalents(by_size, TwelveChannels.of(by_size))
        said[i] = next(each.at_least(13) for each in found if each.edition == EDITION)
        true[i] = e2 >= 0.85
    return said, true


@pytest.mark.coverage
def test_a_class_is_the_true_one_as_often_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(size_classes, "DRAWS", 4096)
    said, true = told(120, 150.0, 0.05, 3)
    assert np.mean((said > 0.1) & (said < 0.9)) > 0.2  # a trial, not all settled
    for some in (said >= 0.0, (said > 0.05) & (said < 0.5), (said >= 0.5) & (said < 0.95)):
        error = np.sqrt(np.sum(said[some] * (1 - said[some]))) / np.sum(some)
        assert abs(np.mean(said[some]) - np.mean(true[some])) < 3 * error
    assert said[true].mean() - said[~true].mean() > 0.3
