"""What repeated or logged readings say about their mean: its noise, and the bias of averaging a root."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flowrig.methods import flags
from flowrig.records import flags as reading_flags
from flowrig.records.declare import Finding
from flowrig.records.items import Array
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.series import LOG_FROM, mean_of

FEW = 5
UNSTEADY = 0.10
APART = 2.0  # times what the points explain: chance alone does that once in 20
LABEL = "scatter of the readings"
DRIFTING = 4.0  # standard errors between the halves; chance alone does that once in 16 000 runs


@dataclass(frozen=True)
class Scatter:
    """Additions to a flow computed from mean readings. [kg/s]

    Attributes
    ----------
    bias, bias_limit : float
        From the flow of the mean readings to the mean of the flows, as far as it is known, and half-width of what
        is not.
    u, dof : float
        Standard uncertainty of the mean from scatter.
    size : float
        Mean of the flows.
    n : int
        Readings in the run.
    stretches : float
        Independent readings that they are worth.
    """

    bias: float
    bias_limit: float
    u: float
    dof: float
    size: float
    n: int
    stretches: float

    def inputs(self, record_id: str, run: str) -> dict[str, Estimate]:
        """Inputs of the finishing step of the run itself."""
        noise = Cause(f"{record_id}:{run}:scatter", dof=self.dof, scope="reading", label=LABEL)
        root = Cause(
            f"{record_id}:{run}:unsteadiness",
            shape="rectangular",
            scope="reading",
            label="unsteady flow or noisy sensor (not known which)",
        )
        parts = {root: [self.bias_limit / math.sqrt(3)]} if self.bias_limit else {}
        return {"bias": Estimate(self.bias, (), parts), "scatter": Estimate(0.0, (), {noise: [self.u]})}

    def shared_inputs(self, record_id: str, run: str) -> dict[str, Estimate]:
        """The same for rows of a batch that all rest on this run, in which they share its error."""
        inputs = self.inputs(record_id, run)
        size = self.size or math.inf
        scaled = {
            name: Estimate(x.value / size, (), {c: part / size for c, part in x.parts.items()})
            for name, x in inputs.items()
        }
        return {f"relative_{name}": x for name, x in scaled.items()}


def scatter_of(
    flows: Array, of_mean: float, known: str, grid: Array | None, what: str = "readings"
) -> tuple[Scatter, list[Finding]]:
    """Scatter of a run.

    Parameters
    ----------
    flows : array, shape (n,)
        Flow reduced from each repeat or row on its own. [kg/s]
    of_mean : float
        Flow of the mean readings. [kg/s]
    known : {'unknown', 'real', 'noise'}
        What the scatter is.
    grid : array, shape (passes, points), or None
        Readings of a grid; with fewer than three passes their differences point by point are pooled.
    what : str
        What each of the flows is from, in words.

    Notes
    -----
    With relative scatter s of a pressure, the mean of the roots lies s²/8 below the root of the mean. Real
    unsteadiness makes the former right, noise of the sensor the latter: where it is not known which, the middle is
    taken and the distance to either is a limit.
    """
    series = mean_of(flows)
    findings: list[Finding] = []
    gap = series.mean - of_mean
    share = {"real": 1.0, "noise": 0.0}.get(known, 0.5)
    limit = abs(gap) / 2 if known == "unknown" else 0.0
    u, dof = series.u, series.dof
    pooled = grid is not None and len(grid) < 3
    if grid is not None and pooled:
        # half the variance of the differences is the variance of one reading; the mean of two passes halves it again
        difference = grid[1] - grid[0]
        points = grid.shape[1]
        within = (
            float(np.std(difference, ddof=1)) / math.sqrt(4 * points) / abs(float(np.mean(grid))) * abs(series.mean)
        )
        between = abs(float(flows[1] - flows[0])) / 2
        # passes further apart than their points explain have something else against each other, of which one
        # difference is all that is known
        u, dof = (between, 1.0) if between > APART * within else (within, float(points - 1))
        findings.append(Finding(flags.POOLED, f"two passes, {100 * abs(flows[1] / flows[0] - 1):.2g} % apart"))
    elif series.few:
        findings.append(
            Finding(flags.FEW_STRETCHES, f"{series.n} readings are worth {series.stretches:.0f} independent ones")
        )
    if not pooled and series.n < FEW:
        findings.append(Finding(reading_flags.FEW_READINGS, f"{series.n} {'passes' if grid is not None else what}"))
    if series.n >= LOG_FROM and series.drift > DRIFTING:
        findings.append(Finding(flags.NOT_STEADY, f"the halves differ by {series.drift:.1f} standard errors"))
    size = abs(series.mean) or math.inf
    if series.s / size > UNSTEADY / 2 and series.n >= FEW:
        # a root halves the relative scatter of a pressure; 10 % rms of the pressure is 5 % of the flow
        findings.append(Finding(flags.UNSTEADY_RUN, f"the flow scatters by {100 * series.s / size:.0f} % rms"))
    return Scatter(share * gap, limit, u, dof, series.mean, series.n, series.stretches), findings
