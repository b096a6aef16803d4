"""Particles that hide each other in a counter, over the samples of a decay."""

from __future__ import annotations

import numpy as np

from flowrig.physics.particles import coincidence_loss
from flowrig.records.items import Array
from flowrig.records.room_decay_table import Counted
from flowrig.studies.counter import Counter


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
