"""One mass flow as volume flow of each station's air and of standard air, every one with its interval."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np

from flowrig.errors import CalculationError
from flowrig.studies.result import Quantity
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Array, Axes, Estimate
from flowrig.uncertainty.interval import Interval, intervals
from flowrig.uncertainty.propagate import linear


def station_flows(
    mass_flow: Estimate,
    densities: Mapping[str, Estimate],
    standard: float,
    labels: Mapping[str, str],
    unit: str,
    batch: Axes,
    coverage: float,
    missing: str,
    **options: Any,
) -> dict[str, Quantity]:
    """The flow at every station, the one of the unit first, else the meter's.

    Parameters
    ----------
    mass_flow : Estimate
    densities : mapping of str to Estimate
        Of the air at each station.
    standard : float
        Density of standard air. [kg/m3]
    labels : mapping of str to str
        By the name of each quantity wanted, in words.
    unit : str
        In which volume flows are printed.
    batch : tuple of str
        ``('row',)`` for a table of tests.
    coverage : float
    missing : str
        What to say where a single result has no value.
    options
        `samples` and `seed` of the intervals.

    Raises
    ------
    CalculationError
        If a single result has no value.
    """
    kept = dict.fromkeys(labels, batch)
    out = linear(_station_flows, {"mass_flow": mass_flow, **densities}, batch, kept, standard=standard)
    if not batch and not all(np.isfinite(x.value) and np.isfinite(x.u) for x in out.values()):
        raise CalculationError(missing)
    first = f"actual_flow_{first_station(densities)}"
    wanted = {name: out[name] for name in (first, *(name for name in labels if name != first))}
    found: dict[str, tuple[Interval, Any]] = (
        batch_intervals(wanted, coverage, **options)
        if batch
        else {name: (interval, None) for name, interval in intervals(wanted, coverage, **options).items()}
    )
    quantities = {}
    for name, x in wanted.items():
        kind, shown = ("mass flow", "kg/h") if name == "mass_flow" else ("flow", unit)
        quantities[name] = Quantity(name, labels[name], kind, shown, x, *found[name])
    return quantities


def first_station(stations: Collection[str]) -> str:
    """Of whose air the first quantity of a result is."""
    return "unit" if "unit" in stations else "meter"


def through_unit(labels: Mapping[str, str]) -> dict[str, str]:
    """The same words of a flow that has its leakage put back."""
    return {name: label.replace("flow", "flow through the unit", 1) for name, label in labels.items()}


def _station_flows(mass_flow: Array, standard: float, **densities: Array) -> dict[str, Array]:
    actual = {f"actual_flow_{name}": mass_flow / density for name, density in densities.items()}
    return {**actual, "standard_flow": mass_flow / standard, "mass_flow": mass_flow}
