"""What the points of a calibration say against their curve: mountings, directions, runs, repeats, and odd ones."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.formulas import BOX, MOUNTINGS, Formula
from flowrig.records.points import DIRECTION, DIRECTIONS, MOUNTING, RUN
from flowrig.studies.paired import Paired
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.fit import Fit
from flowrig.uncertainty.significance import Explained, against_the_others, explained

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
    "t test of one further coefficient; any textbook of regression",
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
ENOUGH_REPEATS = 2
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

    def after(self, found: Fit, x: Estimate) -> None:
        """What the final fit shows."""
        self._lack_of_fit(found, x)
        self._runs(found)
        self._findings(found)

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
        cause = Cause(f"{id_}:mountings", n=len(groups), dof=len(groups) - 1, scope="calibration", label=MOUNTINGS)
        return Estimate(freed, y.axes, {**y.parts, cause: moved}), len(groups) - 1

    def with_hysteresis(self, first: Fit, y: Estimate, id_: str) -> Estimate:
        """Points with half the difference between up and down as an error, where there is one.

        Held against each other within a mounting only, so that what a remounting does is not taken for it.
        """
        directions = np.array(self.pairs.labels.get(DIRECTION, [""] * y.value.size))
        up_or_down = np.select([directions == name for name in DIRECTIONS], [0.5, -0.5], 0.0)
        found = self._beside(first, up_or_down[:, np.newaxis])
        if found is None:
            return y
        [difference], [error] = found.sizes, found.errors
        shown = f"up less down {self._share(difference)}, give or take {self._share(error)}"
        trial = Trial("hysteresis", shown, found.p)
        self.trials.append(trial)
        if not trial.significant:
            return y
        self.findings.append(Finding(HYSTERESIS, shown))
        cause = Cause(f"{id_}:hysteresis", shape="rectangular", scope="calibration", label="up and down differ")
        return Estimate(y.value, y.axes, {**y.parts, cause: [np.abs(difference) / 2 / math.sqrt(3) * self.size]})

    def _beside(self, found: Fit, columns: Array) -> Explained | None:
        """What some columns explain beside the curve and an offset of each mounting."""
        mountings = _indicators(_groups(self.pairs.labels.get(MOUNTING, [])), len(columns))
        size = (self.size / found.weights)[:, np.newaxis]
        base = np.concatenate([found.design / found.weights[:, np.newaxis], size * mountings], axis=1)
        return explained(found.residuals / found.weights, base, size * columns)

    def _judged(self, name: str, found: Explained | None, meaning: FlagMeaning) -> None:
        if found is None:
            return
        words = f"F = {found.ratio:.3g} with {found.dof} and {found.rest} degrees of freedom"
        trial = Trial(name, words, found.p)
        self.trials.append(trial)
        if trial.significant:
            self.findings.append(Finding(meaning, words))

    def _lack_of_fit(self, found: Fit, x: Estimate) -> None:
        """Whether the points lie off the curve by more than repeated ones lie off one another."""
        width = ALIKE if self.pairs.of_flow and not self.formula.powers else ALIKE * float(np.ptp(x.value))
        places: list[list[int]] = []
        for k in np.argsort(x.value):
            if places and x.value[k] - x.value[places[-1][0]] <= width:
                places[-1].append(int(k))
            else:
                places.append([int(k)])
        n = len(x.value)
        if n - len(places) >= ENOUGH_REPEATS:
            columns = _indicators(dict(enumerate(places)), n)
            self._judged("lack of fit", self._beside(found, columns), LACK_OF_FIT)

    def _runs(self, found: Fit) -> None:
        columns = _indicators(_groups(self.pairs.labels.get(RUN, [])), len(found.residuals))
        self._judged("runs", self._beside(found, columns), RUNS_DIFFER)

    def _findings(self, found: Fit) -> None:
        if found.excess:
            self.findings.append(Finding(SCATTERS, f"{self._share(found.excess / float(np.mean(self.size)))} a point"))
        if found.dof < ENOUGH_DOF:
            self.findings.append(Finding(FEW_POINTS, f"{len(found.residuals)} points, {found.dof} degrees of freedom"))
        if self.pairs.calibrates == BOX and self.mountings < ENOUGH_MOUNTINGS:
            self.findings.append(Finding(MOUNTED_ONCE, f"{self.mountings} mounting{'s' if self.mountings > 1 else ''}"))
        self.findings += self._odd(found)
        self.findings.sort(key=lambda f: SEVERITIES.index(f.severity))

    def _odd(self, found: Fit) -> list[Finding]:
        if found.dof < ENOUGH_DOF:
            return []
        base = found.design / found.weights[:, np.newaxis]
        standard, times = against_the_others(found.residuals / found.weights, base)
        off = standard * found.weights / self.size
        share = FAR_SHARE if self.pairs.of_flow else FAR_SHARE * float(np.max(np.abs(self.pairs.truth.value)))
        odd = np.flatnonzero((np.abs(times) > FAR) & (np.abs(off) > share))
        size = off if self.formula.powers else np.expm1(off)
        said = [f"{self.pairs.where(int(k))}: {self._share(size[k], '+')} from the curve of the others" for k in odd]
        return [Finding(ODD_POINT, words) for words in said]

    def _share(self, size: float, sign: str = "") -> str:
        return f"{100 * size:{sign}.2g} %" if self.pairs.of_flow else self.pairs.in_words(size)


def _indicators(groups: Mapping[Any, Sequence[int] | NDArray[np.intp]], n: int) -> Array:
    """A column for each group, 1 at its points."""
    columns = np.zeros((n, len(groups)))
    for k, at in enumerate(groups.values()):
        columns[at, k] = 1.0
    return columns


def _groups(labels: list[str]) -> dict[str, NDArray[np.intp]]:
    return {name: np.flatnonzero([x == name for x in labels]) for name in dict.fromkeys(labels)}
