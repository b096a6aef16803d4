"""What a reduced flow must be told about: limits of the method, and findings about the numbers themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flowrig.errors import Fault
from flowrig.methods import flags
from flowrig.methods.method import Limit, Method, Situation
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.studies.result import Quantity
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import DOF_OF_SHAPE, NO_NARROWER, SHARE_OF_SHAPE


def of_limits(method: Method, situation: Situation, batch: bool) -> list[Finding]:
    """Limits of use that the situation is beyond; of a batch, with the rows concerned and in words about them."""
    findings = []
    for limit in method.limits:
        raised = np.asarray(limit.test(situation), dtype=bool)
        if not np.any(raised):
            continue
        rows = None
        if batch and raised.ndim and len(raised) > 1:
            rows = np.any(raised.reshape(len(raised), -1), axis=-1)
        shown = situation if rows is None else situation.at_rows(rows)
        findings.append(Finding(limit.flag, limit.message(shown), rows))
    return findings


def beyond(method: Method, situation: Situation) -> list[tuple[Limit, NDArray[np.bool_]]]:
    """Limits past which no number is given, and the rows of a batch that lie there."""
    found = []
    for limit in method.limits:
        raised = np.atleast_1d(np.asarray(limit.test(situation), dtype=bool)) if limit.refusal is not None else None
        if raised is not None and np.any(raised):
            found.append((limit, np.any(raised.reshape(len(raised), -1), axis=-1)))
    return found


def refusal(limit: Limit, situation: Situation) -> Fault:
    """What is said of a record that lies past such a limit."""
    assert limit.refusal is not None
    item = situation.section.items.get(limit.refusal.field)
    where = item.where if item is not None else situation.section.where
    return Fault(where, limit.message(situation), limit.refusal.expected(situation), limit.refusal.remedy)


def of_readings(method: Method, situation: Situation, rows: Mapping[str, NDArray[np.float64]]) -> list[Finding]:
    """Single readings of a run that lie past a limit beyond which no number is given, though their mean does not."""
    findings = []
    each = replace(situation, nominal=dict(rows))
    for limit, raised in beyond(method, each):
        message = f"{np.count_nonzero(raised)} of {len(raised)} readings: {limit.message(each.at_rows(raised))}"
        findings.append(Finding(limit.flag, message))
    return findings


def of_quantities(quantities: Mapping[str, Quantity]) -> list[Finding]:
    """Findings about the main quantity and its interval."""
    main = next(iter(quantities.values()))
    estimate, interval = main.estimate, main.interval
    batch = bool(estimate.axes)
    findings: list[Finding] = []

    def add(meaning: FlagMeaning, raised: ArrayLike, message: str) -> None:
        rows = np.broadcast_to(np.asarray(raised, dtype=bool), estimate.value.shape)
        if np.any(rows):
            findings.append(Finding(meaning, message, rows if batch else None))

    add(flags.NO_VALUE, ~np.isfinite(estimate.value) | ~np.isfinite(estimate.u), "no flow follows from the readings")
    with np.errstate(invalid="ignore"):
        add(flags.REVERSED, interval.high < 0, "the flow is below zero by more than its error bar")
        add(flags.BELOW_NOISE, (interval.low <= 0) & (interval.high >= 0), "the error bar reaches zero")
    drawn = main.drawn if main.drawn is not None else np.asarray(interval.source == "monte carlo")
    add(flags.CURVED, interval.curved & drawn, "the interval is from Monte Carlo draws and may be lopsided")
    add(flags.CURVED_LINEAR, interval.curved & ~drawn, "more rows bend than were drawn")
    kept = interval.coverage >= NO_NARROWER or bool(np.all(drawn | ~interval.shape))
    shape = _shape_in_words(estimate, bool(np.all(drawn)))
    add(flags.SHAPE if kept else flags.SHAPE_NARROW, interval.shape & ~interval.curved, shape)
    lost = np.broadcast_to(interval.lost, estimate.value.shape)
    add(flags.LOST, lost > 0.001, f"up to {100 * float(np.max(lost)):.1f} % of the draws")
    if not interval.stable:
        findings.append(Finding(flags.UNSTABLE, f"{interval.draws} draws"))
    return findings


def _shape_in_words(estimate: Estimate, drawn: bool) -> str:
    """Which causes decide the shape of the result, and what was done about it."""
    lines = [
        line
        for line in estimate.budget()
        if (line.cause.shape != "normal" and np.any(line.share > SHARE_OF_SHAPE))
        or (line.cause.dof < DOF_OF_SHAPE and np.any(line.share > 0.1))
    ]
    said = []
    for line in lines:
        hard = line.cause.shape != "normal"
        why = "a limit with hard ends" if hard else f"known from {line.cause.dof + 1:.3g} readings"
        said.append(f"{line.cause.name} ({why}) holds up to {100 * float(np.max(line.share)):.0f} % of the variance")
    return "; ".join(said) + ("; interval from Monte Carlo draws" if drawn else "; linear bar kept")
