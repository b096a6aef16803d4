"""One mass flow as the quantities people ask for: volume flow of each station's air, of standard air, and itself."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowrig.errors import CalculationError
from flowrig.records.items import Array, as_written
from flowrig.studies.result import Quantity, Result
from flowrig.uncertainty.batch import batch_intervals
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, intervals
from flowrig.uncertainty.propagate import linear


def quantities(
    mass_flow: Estimate,
    densities: dict[str, Estimate],
    result: Result,
    unit: str,
    method: str,
    through_unit: bool = False,
) -> dict[str, Quantity]:
    """Every quantity of a mass flow with its interval, the one the measurement is about first.

    Parameters
    ----------
    mass_flow : Estimate
        [kg/s]
    densities : dict of str to Estimate
        By station; ``meter`` is the metering plane. [kg/m3]
    result : Result
        For the standard density, and how intervals are wanted.
    unit : str
        Of volume flows, to print.
    method : str
        What the flow was measured with, for the message where there is none.
    through_unit : bool
        Leakage was put back, so that every quantity is of the unit.

    Raises
    ------
    CalculationError
        If a single result is not finite.
    """
    batch = mass_flow.axes
    standard = result.record.heading["standard_density"]
    labels = {f"actual_flow_{name}": f"actual flow, air at the {name}" for name in densities}
    labels["actual_flow_meter"] = "actual flow, air at the metering plane"
    labels |= {"standard_flow": f"standard flow, {as_written(standard)}", "mass_flow": "mass flow"}
    if through_unit:
        labels = {name: label.replace("flow", "flow through the unit", 1) for name, label in labels.items()}
    kept = dict.fromkeys(labels, batch)
    out = linear(_station_flows, {"mass_flow": mass_flow, **densities}, batch, kept, standard=standard.value)
    if not batch and not all(np.isfinite(x.value) and np.isfinite(x.u) for x in out.values()):
        raise CalculationError(
            f"{result.record.name}: no flow follows from these readings; some lie outside what the equations of "
            f"{method} have a meaning for. Check the air state and the readings."
        )
    first = "actual_flow_unit" if "unit" in densities else "actual_flow_meter"
    wanted = {name: out[name] for name in (first, *(name for name in labels if name != first))}
    options: dict[str, Any] = {"samples": result.samples, "seed": result.seed}
    found: dict[str, tuple[Interval, Any]] = (
        batch_intervals(wanted, result.coverage, **options)
        if batch
        else {name: (interval, None) for name, interval in intervals(wanted, result.coverage, **options).items()}
    )
    done = {}
    for name, x in wanted.items():
        kind, shown = ("mass flow", "kg/h") if name == "mass_flow" else ("flow", unit)
        done[name] = Quantity(name, labels[name], kind, shown, x, *found[name])
    return done


def _station_flows(mass_flow: Array, standard: float, **densities: Array) -> dict[str, Array]:
    """The same mass flow as volume flow of each station's air, and of standard air."""
    actual = {f"actual_flow_{name}": mass_flow / density for name, density in densities.items()}
    return {**actual, "standard_flow": mass_flow / standard, "mass_flow": mass_flow}
