"""The kernels of a room: what enters and leaves its air, what a target takes, what a number of units reaches.

The axis ``along`` is a number of units or a time. What stands for the ducts is given to every kernel together or not at
all.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from flowrig.physics.clean_air import (
    clean_air_for_air_changes,
    clean_air_for_concentration,
    clean_air_for_persons,
)
from flowrig.physics.duct_filter import duct_clean_air, duct_gain, duct_loss
from flowrig.physics.room import concentration_at, removal_time, room_gain, room_loss, steady_concentration
from flowrig.physics.room import time_to_concentration as time_to
from flowrig.records.items import Array

ALONG = "along"  # not "row": what a cleaner was predicted by has an axis of that name
DUCT = ("runtime", "duct_flow", "duct_efficiency", "supply_leakage", "return_leakage", "leak_concentration")


def net_volume(*, displaced: Array, **sides: Array) -> dict[str, Array]:
    """Of a volume, or of an area and a height, less what stands in it."""
    size = sides["volume"] if "volume" in sides else sides["floor_area"] * sides["ceiling_height"]
    return {"volume": size * (1.0 - displaced)}


def flow_left(*, flow: Array, loss: Array) -> dict[str, Array]:
    """Flow of a fan behind a better filter that takes a share of it."""
    return {"duct_flow": flow * (1.0 - loss)}


def lost_share(*, flow: Array, duct_flow: Array) -> dict[str, Array]:
    return {"lost": 1.0 - duct_flow / flow}


def without_units(
    *,
    volume: Array,
    infiltration: Array,
    penetration: Array,
    deposition: Array,
    outdoor_concentration: Array,
    indoor_source: Array,
    outdoor_air: Array,
    outdoor_air_efficiency: Array,
    **duct: Array,
) -> dict[str, Array]:
    """What enters and what leaves, and the clean air that counts towards a target of infection."""
    gain = np.asarray(
        room_gain(
            outdoor_concentration, penetration, infiltration, indoor_source, volume, outdoor_air, outdoor_air_efficiency
        )
    )
    loss = np.asarray(room_loss(infiltration, deposition, 0.0, volume, outdoor_air))
    counted = outdoor_air + 0.0 * volume
    cleaned = 0.0 * volume
    if duct:
        runtime, flow, efficiency, out, into, dirty = (duct[name] for name in DUCT)
        gain = gain + duct_gain(runtime, flow, efficiency, out, into, volume, dirty, outdoor_concentration, penetration)
        loss = loss + duct_loss(runtime, flow, efficiency, out, into, volume)
        cleaned = np.asarray(duct_clean_air(runtime, flow, efficiency, out, into)) + cleaned
        counted = counted + cleaned
    return {"gain": gain, "loss": loss, "counted": counted, "cleaned": cleaned}


def of_units(*, mixing: Array, **each: Array) -> dict[str, Array]:
    """Clean air that a room has of the units in it: ``rate0`` times ``count0``, and so on."""
    number = sum(1 for name in each if name.startswith("rate"))
    return {"rate": mixing * sum(each[f"rate{i}"] * each[f"count{i}"] for i in range(number))}


def for_air_changes(*, air_changes: Array, volume: Array, counted: Array) -> dict[str, Array]:
    return {"needed": np.asarray(clean_air_for_air_changes(air_changes, volume, counted))}


def for_persons(*, persons: Array, per_person: Array, counted: Array) -> dict[str, Array]:
    return {"needed": np.asarray(clean_air_for_persons(persons, per_person, counted))}


def for_concentration(*, target: Array, gain: Array, loss: Array, volume: Array) -> dict[str, Array]:
    return {"needed": np.asarray(clean_air_for_concentration(target, gain, loss, volume))}


def larger(*, one: Array, other: Array) -> dict[str, Array]:
    return {"needed": np.maximum(one, other)}


def reached(
    *, number: Array, unit: Array, base: Array, volume: Array, counted: Array, gain: Array, loss: Array, **others: Array
) -> dict[str, Array]:
    """What so many units come to beside those that are there, in the words of each target."""
    added = base + number * unit
    clean = counted + added
    level = np.asarray(steady_concentration(gain, loss + added / volume))
    found = {"air_changes": clean / volume, "level": level, "added": added}
    if "persons" in others:
        found["per_person"] = clean / others["persons"]
    return found


def with_units(*, loss: Array, added: Array, volume: Array, counted: Array, gain: Array) -> dict[str, Array]:
    """Rate of loss and steady level of a room with a clean-air rate added, and its air changes of clean air."""
    whole = loss + added / volume
    return {
        "loss": whole,
        "level": np.asarray(steady_concentration(gain, whole)),
        "air_changes": (counted + added) / volume,
        "clean": counted + added,
    }


def level_over_time(*, time: Array, initial: Array, gain: Array, loss: Array) -> dict[str, Array]:
    return {"level": np.asarray(concentration_at(time, initial, gain, loss))}


def steady(*, gain: Array, loss: Array) -> dict[str, Array]:
    return {"level": np.asarray(steady_concentration(gain, loss))}


def cleared(*, loss: Array, share: float) -> dict[str, Array]:
    """Time in which a share is removed while nothing enters."""
    return {"time": np.asarray(removal_time(share, loss))}


def come_down(*, initial: Array, gain: Array, loss: Array, share: float) -> dict[str, Array]:
    """Time until a share of what was there at the start is gone, while more enters."""
    return {"time": np.asarray(time_to((1.0 - share) * initial, initial, gain, loss))}


def to_target(*, target: Array, initial: Array, gain: Array, loss: Array) -> dict[str, Array]:
    return {"time": np.asarray(time_to(target, initial, gain, loss))}


def times(*, one: Array, other: Array) -> dict[str, Array]:
    return {"x": one * other}


def power_of_runtime(*, power: Array, runtime: Array, runtime_now: Array) -> dict[str, Array]:
    """Mean power of a fan that runs for more of the time."""
    return {"power": power * (runtime - runtime_now)}


def sum_of(**each: Any) -> dict[str, Array]:
    return {"x": np.asarray(sum(each.values()))}
