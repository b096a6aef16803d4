"""Filters of which the counts are invented: penetration by size as a counter would have it, and the words beside it."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowrig.records.clean_air_facts import CLEAN_AIR_FIELDS
from flowrig.records.declare import Table
from flowrig.records.items import Section
from flowrig.records.walk import Walker
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.counts import ratio_limits, ratio_upper
from flowrig.uncertainty.estimate import Estimate

COUNTING = Cause("test:counting", each=CHANNEL, label="counting")
SIX = (0.3, 0.5, 1.0, 2.5, 5.0, 10.0, np.inf)  # um, a handheld counter with an open last channel
TWELVE = (0.3, 0.4, 0.55, 0.7, 1.0, 1.3, 1.6, 2.2, 3.0, 4.0, 5.5, 7.0, 10.0)


def filter_by_size(
    counts: Any, edges: Any = SIX, *, shared: dict[Cause, Any] | None = None, coverage: float = 0.95
) -> BySize:
    """Pairs of counts before and behind, equal volumes; `shared` is by what share each cause moves the penetration."""
    counted = np.asarray(counts, dtype=float)
    before, behind = counted.T
    with np.errstate(all="ignore"):  # nothing before and nothing behind: no value
        value = behind / before
        own = value * np.sqrt(1 / np.maximum(behind, 1.0) + 1 / before)
    parts = {COUNTING: own[np.newaxis], **{c: (share * value)[np.newaxis] for c, share in (shared or {}).items()}}
    none = (behind == 0.0) & (before > 0.0)
    low, high = ratio_limits(behind, before, level=coverage)
    high = np.where(none, ratio_upper(behind, before, level=coverage), high)
    sizes = np.asarray(edges, dtype=float)[: len(counted) + 1] * 1e-6
    estimate = Estimate(value, (CHANNEL,), parts)
    return BySize(
        sizes[:-1].copy(), sizes[1:].copy(), estimate, np.where(none, 0.0, low), high, none, counted, coverage
    )


def efficient(efficiencies: Any, edges: Any = SIX, counts: Any = 1e6, **more: Any) -> BySize:
    """So many particles before the filter in each channel, and behind it what the efficiencies leave of them."""
    behind = np.round((1 - np.asarray(efficiencies, dtype=float)) * counts)
    return filter_by_size(np.stack([np.broadcast_to(counts, behind.shape), behind], axis=1), edges, **more)


def beside(**fields: Any) -> Section:
    """[particles] with these fields."""
    walker = Walker(lambda *path: f"record.toml, {path[-1]}")
    section = walker.section(Table("particles", "", CLEAN_AIR_FIELDS), fields, ("particles",))
    walker.complete(section)
    assert not walker.faults
    return section


CLEAN = {"filter_state": "clean", "measured_on": "system"}
