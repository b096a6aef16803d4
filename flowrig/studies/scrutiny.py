"""What the points of a calibration say against their curve: mountings, directions, runs, repeats, and odd ones."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.formulas import BOX, Formula
from flowrig.records.points import DIRECTION, DIRECTIONS, MOUNTING, RUN
from flowrig.studies.paired import Paired
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.fit import Fit
from flowrig.uncertainty.significance import f_tail, t_both_tails

LACK_OF_FIT = FlagMeaning(
    "curve does not fit",
    "warning",
    "The points lie off the curve by more than repeated points lie off one another: the curve bends where they do not. "
    "Chance alone does that once in 20 calibrations. Take another formula, or calibrate a shorter range.",
    "F test of lack of fit against pure error; any textbook of regression",
)
HYSTERESIS = FlagMeaning(
    "up and down differ",
    "warning",
    "Points that were approached from below lie off those approached from above by more than their scatter explains "
    "(once in 20 by chance): something gives way, sticks or warms up. Half the difference is added as a limit to the "
    "error of every later result.",
    "two-sample t test",
)
RUNS_DIFFER = FlagMeaning(
    "runs differ",
    "warning",
    "The runs lie further apart than the scatter within them explains (once in 20 by chance): something moved between "
    "them that was not a remounting, a zero or a hose. The error bars take the points for independent.",
    "F test between and within runs",
)
MOUNTED_ONCE = FlagMeaning(
    "not remounted",
    "note",
    "Fewer than three mountings were calibrated: how far a remounting moves the flow is not known from this box. Once "
    "it is taken down, a limit is added to every flow: the remount_limit stated, else 5 %.",
    "2 to 5 %: common practice, no source",
)
SCATTERS = FlagMeaning(
    "scatter beyond known errors",
    "note",
    "The points scatter about the curve by more than resolution, zero and stated noise explain. What is beyond is "
    "added to every point as one more error, and through the fit to every later result.",
    "Paule and Mandel, J. Res. NBS 87 (1982) 377 (from memory)",
)
FEW_POINTS = FlagMeaning(
    "few points",
    "warning",
    "Fewer than five points more than the curve has numbers: how far they scatter is hardly known, and error bars that "
    "rest on it are wide. Ten points or more over the range are usual.",
    "common practice, no source",
)
ODD_POINT = FlagMeaning(
    "odd point",
    "alarm",
    "A point lies so far off the curve of the others that a slipped digit, another unit or a changed opening is "
    "likelier than chance. Look it up; if it was wrong, measure it again.",
    "more than eight robust standard deviations and 5 % of the flow (of the range, for an instrument): own judgement",
)
FLAGS = (LACK_OF_FIT, HYSTERESIS, RUNS_DIFFER, MOUNTED_ONCE, SCATTERS, FEW_POINTS, ODD_POINT)

LEVEL = 0.05  # of the tests
ALIKE = 0.02  # repeated points: of the argument for a flow, of the range for an instrument
FAR, FAR_SHARE = 8.0, 0.05
ENOUGH_MOUNTINGS = 3
ENOUGH_DOF = 5


@dataclass(frozen=True)
class Trial:
    """A test of significance on the points of a calibration.

    Attributes
    ----------
    name, words : str
    p : float
        Probability of as much by chance.
    """

    name: str
    words: str
    p: float

    @property
    def significant(self) -> bool:
        return self.p < LEVEL


@dataclass
class Scrutiny:
    """Looks at the points of one calibration, first before the fit that counts and then after it.

    Attributes
    ----------
    trials : list of Trial
    findings : list of Finding
    remount_scatter : float
        One standard deviation of a single mounting, as a share of the flow; NaN with fewer than three mountings.
    mountings : int
    """

    pairs: Paired
    formula: Formula

    def __post_init__(self) -> None:
        self.trials: list[Trial] = []
        self.findings: list[Finding] = []
        self.remount_scatter = math.nan
        self.mountings = 1
        # what a residual in the coordinates of the fit is a share of: logarithms are shares already
        shares = self.pairs.of_flow and bool(self.formula.powers)
        self.size: Array = self.pairs.truth.value if shares else np.ones(self.pairs.truth.value.size)

    def after(self, found: Fit, residuals: Array, x: Estimate) -> None:
        """What the final fit shows; residuals as the formula states them."""
        self._lack_of_fit(found, x)
        self._runs(found)
        self._findings(found, residuals)

    def with_mountings(self, first: Fit, y: Estimate, id_: str) -> tuple[Estimate, int]:
        """Points freed of the offset of their mounting; how far that may lie off is an error of all its points."""
        groups = _groups(self.pairs.labels.get(MOUNTING, []))
        self.mountings = max(len(groups), 1)
        if len(groups) < ENOUGH_MOUNTINGS or not self.pairs.of_flow:
            return y, 0
        size = self.size
        off = {name: float(np.mean(first.residuals[at] / size[at])) for name, at in groups.items()}
        middle = float(np.mean(list(off.values())))
        scatter = float(np.std(list(off.values()), ddof=1))
        self.remount_scatter = scatter
        freed = y.value.copy()
        moved = np.zeros((len(groups), y.value.size))
        for k, (name, at) in enumerate(groups.items()):
            freed[at] -= (off[name] - middle) * size[at]
            moved[k, at] = scatter * size[at]
        cause = Cause(f"{id_}:mountings", n=len(groups), dof=len(groups) - 1, scope="calibration", label="mountings")
        return Estimate(freed, y.axes, {**y.parts, cause: moved}), len(groups) - 1

    def with_hysteresis(self, first: Fit, y: Estimate, id_: str) -> Estimate:
        """Points with half the difference between up and down as an error, where there is one.

        Held against each other within a mounting only, so that what a remounting does is not taken for it.
        """
        n = y.value.size
        size, off = self.size, first.residuals / self.size
        directions = np.array(self.pairs.labels.get(DIRECTION, [""] * n))
        mountings = _groups(self.pairs.labels.get(MOUNTING, [""] * n)).values()
        both = [at for at in mountings if all(np.any(directions[at] == name) for name in DIRECTIONS)]
        if not both:
            return y
        off = off.copy()
        for at in both:
            off[at] -= np.mean([np.mean(off[at][directions[at] == name]) for name in DIRECTIONS])
        used = np.concatenate(both)
        up, down = (off[used][directions[used] == name] for name in DIRECTIONS)
        dof = len(up) + len(down) - 1 - len(both)
        if dof < 1:
            return y
        within = math.sqrt((float(np.var(up)) * len(up) + float(np.var(down)) * len(down)) / dof)
        difference = float(np.mean(up) - np.mean(down))
        error = within * math.sqrt(1 / len(up) + 1 / len(down))
        shown = f"up less down {self._share(difference)}, give or take {self._share(error)}"
        trial = Trial(
            "hysteresis", shown, t_both_tails(difference / error if error else math.inf * bool(difference), dof)
        )
        self.trials.append(trial)
        if not trial.significant:
            return y
        self.findings.append(Finding(HYSTERESIS, shown))
        cause = Cause(f"{id_}:hysteresis", shape="rectangular", scope="calibration", label="up and down differ")
        return Estimate(y.value, y.axes, {**y.parts, cause: [np.abs(difference) / 2 / math.sqrt(3) * size]})

    def _lack_of_fit(self, found: Fit, x: Estimate) -> None:
        """Whether the points lie off the curve by more than repeated ones lie off one another."""
        standard = found.residuals / found.weights
        order = np.argsort(x.value)
        width = ALIKE if self.pairs.of_flow and not self.formula.powers else ALIKE * float(np.ptp(x.value))
        groups: list[list[int]] = []
        for k in order:
            if groups and x.value[k] - x.value[groups[-1][0]] <= width:
                groups[-1].append(int(k))
            else:
                groups.append([int(k)])
        pure = sum(float(np.sum((standard[g] - np.mean(standard[g])) ** 2)) for g in groups)
        pure_dof = sum(len(g) - 1 for g in groups)
        rest, rest_dof = float(np.sum(standard**2)) - pure, found.dof - pure_dof
        if pure_dof < 2 or rest_dof < 1 or not pure:
            return
        ratio = max(rest, 0.0) / rest_dof / (pure / pure_dof)
        words = f"F = {ratio:.3g} with {rest_dof} and {pure_dof} degrees of freedom"
        trial = Trial("lack of fit", words, f_tail(ratio, rest_dof, pure_dof))
        self.trials.append(trial)
        if trial.significant:
            self.findings.append(Finding(LACK_OF_FIT, words))

    def _runs(self, found: Fit) -> None:
        groups = {name: at for name, at in _groups(self.pairs.labels.get(RUN, [])).items() if len(at) > 1}
        if len(groups) < 2:
            return
        standard = found.residuals / found.weights
        everything = np.concatenate([standard[at] for at in groups.values()])
        within = sum(float(np.sum((standard[at] - np.mean(standard[at])) ** 2)) for at in groups.values())
        between = float(np.sum((everything - np.mean(everything)) ** 2)) - within
        dof = len(groups) - 1, len(everything) - len(groups)
        ratio = between / dof[0] / (within / dof[1]) if within else math.inf
        words = f"F = {ratio:.3g} with {dof[0]} and {dof[1]} degrees of freedom"
        trial = Trial("runs", words, f_tail(ratio, *dof))
        self.trials.append(trial)
        if trial.significant:
            self.findings.append(Finding(RUNS_DIFFER, words))

    def _findings(self, found: Fit, residuals: Array) -> None:
        pairs = self.pairs
        if found.excess:
            self.findings.append(Finding(SCATTERS, f"{self._share(found.excess / float(np.mean(self.size)))} a point"))
        if found.dof < ENOUGH_DOF:
            self.findings.append(Finding(FEW_POINTS, f"{len(residuals)} points, {found.dof} degrees of freedom"))
        if self.pairs.calibrates == BOX and self.mountings < ENOUGH_MOUNTINGS:
            self.findings.append(Finding(MOUNTED_ONCE, f"{self.mountings} mounting{'s' if self.mountings > 1 else ''}"))
        off = np.abs(residuals - np.median(residuals))
        robust = 1.4826 * float(np.median(off))
        share = FAR_SHARE if self.formula.relative else FAR_SHARE * float(np.max(np.abs(pairs.truth.value)))
        for k in np.flatnonzero((off > FAR * robust) & (off > share)):
            said = f"{100 * residuals[k]:+.1f} %" if self.formula.relative else pairs.in_words(float(residuals[k]))
            self.findings.append(Finding(ODD_POINT, f"{pairs.where(int(k))}: {said} from the curve"))
        self.findings.sort(key=lambda f: SEVERITIES.index(f.severity))

    def _share(self, size: float) -> str:
        return f"{100 * size:.2g} %" if self.pairs.of_flow else self.pairs.in_words(size)


def _groups(labels: list[str]) -> dict[str, NDArray[np.intp]]:
    return {name: np.flatnonzero([x == name for x in labels]) for name in dict.fromkeys(labels)}
