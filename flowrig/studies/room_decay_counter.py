"""What a counter may get wrong of a decay. How many of the particles it sees, and its sample flow, cancel in a rate."""

from __future__ import annotations

import math

import numpy as np

from flowrig.physics.particles import coincidence_dead_time, coincidence_loss
from flowrig.records.items import Array, Section
from flowrig.records.record import Record
from flowrig.records.room_decay_table import Counted
from flowrig.studies.counter import DEAD_TIME_LIMIT, Counter


def counter_of(name: str, section: Section, record: Record) -> Counter:
    """A counter from the section that describes it."""
    serial, date = section.value("serial"), section.value("calibrated")
    identity = f"counter:{serial}|{date or 'no date'}" if serial else f"{record.id}:counters.{name}"
    flow = float(section.value("sample_flow"))
    most = float(section.value("max_concentration", math.nan))
    dead, limit = 0.0, DEAD_TIME_LIMIT
    if "dead_time" in section:
        item = section["dead_time"]
        dead = float(item.value)
        if item.components and dead > 0.0:
            limit = max(float(c.half_width(dead)) for c in item.components) / dead
    elif math.isfinite(most):
        dead = float(coincidence_dead_time(most, section.value("loss"), flow))
    return Counter(name, identity, flow=flow, dead_time=dead, dead_time_limit=limit, most=most)


def hidden_of(counter: Counter | None, counted: Counted) -> Array:
    """Particles within the dead time of one, on average, in each sample: a count is short by the factor exp of this.

    Parameters
    ----------
    counter : Counter or None
    counted : Counted
        In all channels: a particle hides another whatever their sizes.

    Returns
    -------
    hidden : array, shape (n,)
        1, the most that there can be, where no concentration would be counted as this.
    """
    if counter is None or counter.dead_time == 0.0 or counted.volume is None:
        return np.zeros(len(counted.time))
    concentration = counted.counts / counted.volume[:, np.newaxis]
    loss = np.asarray(coincidence_loss(concentration, counter.flow, counter.dead_time))[:, 0]
    return np.where(np.isfinite(loss), -np.log1p(-loss), 1.0)
