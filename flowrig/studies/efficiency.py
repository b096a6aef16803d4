"""What a bank holds back: each filter's efficiency at its own face velocity, and what passes beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.physics.resistance import efficiency_with_gap
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array
from flowrig.records.rate_sizes import weighed_by_volume
from flowrig.studies.balance import FILTER, ROW
from flowrig.studies.bank import Batch, Entry
from flowrig.studies.filter_law import FilterLaw
from flowrig.uncertainty.alongside import one_of, side_by_side
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

KNOWN = "known"  # axis of the velocities at which an efficiency is known
NEAR = 0.1  # of the velocity: nearer than this an efficiency is taken as known there; own judgement, no source

CARRIED = FlagMeaning(
    "efficiency carried to another velocity",
    "warning",
    "The efficiency of a filter is known at other face velocities than the one it will run at, and the nearest known "
    "value stands in. Small particles are held back better in slow air, large ones in fast: it may lie off either way, "
    "and by how much is not in the error bar.",
)
NO_EFFICIENCY = FlagMeaning(
    "efficiency not known",
    "note",
    "A filter of the bank has no efficiency in its record, so that no clean-air rate follows.",
)
MIXED_PARTICLES = FlagMeaning(
    "efficiencies of different particles",
    "warning",
    "The efficiencies of the filters in the bank are of different particles: they cannot be put together, and no "
    "clean-air rate follows.",
)
WEIGHED = FlagMeaning(
    "efficiency weighed by volume",
    "warning",
    "The efficiency of the filters is an ePM, which weighs particles by their volume. Flow times it is not a clean-air "
    "rate, and none is told. Write the efficiency for particles between two sizes.",
)
CHARGED = FlagMeaning(
    "efficiency with its charge",
    "warning",
    "The efficiency is of a new filter. Charged media lose much of it in use, smoke can take it in minutes, and the "
    "drop does not rise meanwhile: a low drop is no sign of life left. Write efficiency_conditioned for the lower "
    "bound.",
)
FLAGS = (CARRIED, NO_EFFICIENCY, MIXED_PARTICLES, WEIGHED, CHARGED)


@dataclass
class Held:
    """Efficiency of a bank.

    Attributes
    ----------
    each : Estimate
        Of each entry's medium at its face velocity; axis ``filter`` behind the batch's own.
    whole : Estimate
        Of all stages, gaps included.
    clean : Estimate
        Flow times that. [m3/s]
    particles : str
    """

    each: Estimate
    whole: Estimate
    clean: Estimate
    particles: str


def held_back(
    entries: Sequence[Entry],
    out: dict[str, Estimate],
    batch: Batch,
    *,
    conditioned: bool = False,
    in_use: bool = False,
) -> tuple[Held | None, list[Finding]]:
    """Efficiency and clean-air rate of a bank at its operating point.

    Parameters
    ----------
    entries : sequence of Entry
    out : dict of str to Estimate
        ``flow``, and ``velocity``, ``through`` and ``beside`` with the axis ``filter``.
    batch : tuple of str
    conditioned : bool
        With the charge of the media lost; None where that is not known of every filter that holds something back.
    in_use : bool
        With the share of the charge that each entry has left.
    """
    laws = [law for entry in entries for law in entry.laws]
    name = "efficiency_conditioned" if conditioned else "efficiency"
    missing = [law.title for law in laws if name not in law.section]
    if missing:
        told = [] if conditioned else [Finding(NO_EFFICIENCY, ", ".join(dict.fromkeys(missing)))]
        return None, told
    particles = list(dict.fromkeys(str(law.section.value("particles")) for law in laws))
    if len(particles) > 1:
        return None, [] if conditioned else [Finding(MIXED_PARTICLES, "; ".join(particles))]
    if weighed_by_volume(particles[0]):
        return None, [] if conditioned else [Finding(WEIGHED, particles[0])]
    findings: list[Finding] = []
    pieces = []
    for i, entry in enumerate(entries):
        velocity = one_of(out["velocity"], FILTER, i)
        found = []
        for k, law in enumerate(entry.laws):
            if conditioned:
                place = f"{law.record.id}:conditioned"
                found.append(given_estimate(law.section[name], place, "efficiency without charge"))
                continue
            found.append(_at_velocity(law, velocity, batch))
            rows = None if entry.order is None else np.asarray(entry.order, dtype=int) == k
            findings += _carried(law, velocity.value, rows)
        own = _chosen(found, entry, batch)
        pieces.append(_left(own, entry.charge, batch) if in_use and entry.charge is not None else own)
    each = side_by_side(pieces, FILTER)
    stages = tuple(entry.stage for entry in entries)
    inputs = {"each": each, **{n: out[n] for n in ("flow", "through", "beside")}}
    whole = linear(_whole, inputs, (*batch, FILTER), {"efficiency": batch, "clean": batch}, stages=stages)
    if not conditioned and any("efficiency_conditioned" not in law.section for law in laws):
        bare = [law.title for law in laws if "efficiency_conditioned" not in law.section]
        findings.append(Finding(CHARGED, ", ".join(dict.fromkeys(bare))))
    return Held(each, whole["efficiency"], whole["clean"], particles[0]), findings


def _left(new: Estimate, charge: Estimate, batch: Batch) -> Estimate:
    def kernel(new: Array, charge: Array) -> dict[str, Array]:
        return {"e": np.minimum(new * charge, 1.0)}

    return linear(kernel, {"new": new, "charge": charge}, batch, {"e": batch})["e"]


def _chosen(found: Sequence[Estimate], entry: Entry, batch: Batch) -> Estimate:
    """Of several filters that stand in different designs, each design's own."""
    if entry.order is None:
        return found[0]
    order = np.asarray(entry.order, dtype=int)

    def kernel(order: Array, **each: Array) -> dict[str, Array]:
        chosen = sum(np.where(order == k, each[f"e{k}"], 0.0) for k in range(len(each)))
        return {"e": np.asarray(chosen)}

    inputs = {"order": Estimate(order, (ROW,)), **{f"e{k}": x for k, x in enumerate(found)}}
    return linear(kernel, inputs, batch, {"e": batch})["e"]


def _at_velocity(law: FilterLaw, velocity: Estimate, batch: Batch) -> Estimate:
    """Between the velocities at which it is known on straight lines, beyond them as at the nearest."""
    section = law.section
    known = np.asarray(section.value("efficiency_velocity"), dtype=float)
    value = np.asarray(section.value("efficiency"), dtype=float)
    order = np.argsort(known)
    limit = float(section.value("efficiency_limit"))
    cause = Cause(
        f"{law.record.id}:efficiency", shape="rectangular", scope="calibration", label=f"efficiency of {law.title}"
    )
    parts = {cause: np.full((1, len(value)), limit / math.sqrt(3))}
    efficiency = Estimate(value[order], (KNOWN,), parts)

    def kernel(velocity: Array, efficiency: Array) -> dict[str, Array]:
        at = np.clip(velocity[..., 0], known[order][0], known[order][-1])
        result = efficiency[..., 0] + 0.0 * at
        for k in range(1, len(known)):
            left, right = known[order][k - 1 : k + 1]
            share = np.clip((at - left) / (right - left), 0.0, 1.0)
            result = result + share * (efficiency[..., k] - efficiency[..., k - 1])
        return {"e": np.minimum(result, 1.0)[..., np.newaxis]}

    inputs = {"velocity": velocity, "efficiency": efficiency}
    return linear(kernel, inputs, (*batch, KNOWN), {"e": batch})["e"]


def _carried(law: FilterLaw, velocity: Array, rows: Array | None) -> list[Finding]:
    known = np.asarray(law.section.value("efficiency_velocity"), dtype=float)
    with np.errstate(invalid="ignore"):
        off = (velocity < known.min() * (1 - NEAR)) | (velocity > known.max() * (1 + NEAR))
    off = np.atleast_1d(off & np.isfinite(velocity) & (velocity > 0.0))
    if rows is not None:
        off = off & rows
    if not np.any(off):
        return []
    unit = law.section["efficiency_velocity"].unit
    at = [float(units.from_si(x, unit, "velocity")) for x in np.atleast_1d(velocity)[off]]
    ends = " to ".join(dict.fromkeys(f"{x:.3g}" for x in (min(at), max(at))))
    told = " to ".join(dict.fromkeys(f"{units.from_si(x, unit, 'velocity'):.3g}" for x in (known.min(), known.max())))
    return [
        Finding(CARRIED, f"{law.title}: at {ends} {unit}; known at {told} {unit}", None if velocity.ndim == 0 else off)
    ]


def _whole(*, each: Array, flow: Array, through: Array, beside: Array, stages: tuple[int, ...]) -> dict[str, Array]:
    """What passes each stage is what its media let through and what goes beside them."""
    passed: Array | float = 1.0
    with np.errstate(all="ignore"):
        for stage in sorted(set(stages)):
            own = [j for j, s in enumerate(stages) if s == stage]
            each_flow = through + beside
            framed = efficiency_with_gap(each, beside, each_flow)  # NaN for a sort that is not there
            kept = np.where(each_flow == 0.0, 0.0 * each, each_flow * framed)
            all_ = np.sum((each_flow + 0.0 * each)[..., own], axis=-1, keepdims=True)
            let = all_ - np.sum(kept[..., own], axis=-1, keepdims=True)
            passed = passed * np.where(all_ == 0.0, np.where(flow > 0.0, 1.0, np.nan), let / all_)  # no filter: all
    efficiency = 1.0 - np.asarray(passed)
    return {"efficiency": efficiency, "clean": flow * efficiency}
