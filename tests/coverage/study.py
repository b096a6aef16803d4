"""How often the error bars of simulated rigs hold the truth, how wide they are beside an oracle's, as a table."""

from __future__ import annotations

import math
import os
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from tests.coverage.rigs import Rig

Array = NDArray[np.float64]

# Coverage accepted, within three standard errors of the count. [%]
BANDS = {
    "normal": (94.5, 95.5),
    "rectangular": (94.5, 96.5),
    "few": (94.5, 98.0),
    "misspecified": (93.0, 100.0),  # or the flag fires
    "counted": (94.5, 100.0),  # exact limits of few counts hold the truth more often than they promise
    "assumed limits": (94.5, 100.0),  # limits of common practice, not filled by the truth: wide by design
}
WIDEST = 1.15  # median width over the oracle's
CHUNK = 25
BOOTSTRAPS = 200

Outcome = tuple[float, float, float, bool, frozenset[str]]  # low, high, estimate, Monte Carlo, codes of flags


@dataclass(frozen=True)
class Counted:
    """What became of every rig of one kind; low, high and estimate are shares of the true flow.

    For a difference of two flows, 1 stands for the true difference.

    Attributes
    ----------
    asked : int
        Rigs drawn, those included whose reduction did not come to what is on trial.
    low, high, estimate : array, shape (n,)
    drawn : array of bool, shape (n,)
        The interval is Monte Carlo.
    flags : list of frozenset of str
        Codes of all that fired.
    """

    rig: Rig
    low: Array
    high: Array
    estimate: Array
    drawn: NDArray[np.bool_]
    flags: list[frozenset[str]]
    asked: int

    @property
    def n(self) -> int:
        return len(self.low)

    @property
    def below(self) -> float:
        """Intervals that lie below the truth. [%]"""
        return 100 * float(np.mean(self.high < 1))

    @property
    def above(self) -> float:
        return 100 * float(np.mean(self.low > 1))

    @property
    def held(self) -> NDArray[np.bool_]:
        """Whether the interval holds the truth; one without ends does not."""
        return (self.low <= 1) & (self.high >= 1)

    @property
    def coverage(self) -> float:
        return 100 * float(np.mean(self.held))

    @property
    def error(self) -> float:
        """Standard error of the count if the coverage is 95 %. [%]"""
        return 100 * math.sqrt(0.95 * 0.05 / self.n)

    @property
    def flagged(self) -> NDArray[np.bool_]:
        """Where one of the flags fired that a misspecified rig should raise."""
        return np.array([bool(fired & set(self.rig.flags)) for fired in self.flags])

    @property
    def silent(self) -> float:
        """Misses without such a flag. [%]"""
        return 100 * float(np.mean(~self.held & ~self.flagged))

    @property
    def width(self) -> float:
        """Median width. [% of the flow]"""
        return 100 * float(np.median(self.high - self.low))

    @property
    def oracle(self) -> float:
        """Width of the central 95 % of the estimates about the truth: what one who knew their spread would state."""
        low, high = np.quantile(self.estimate, [0.025, 0.975])
        return 100 * float(high - low)

    @property
    def ratio(self) -> float:
        return self.width / self.oracle

    @property
    def ratio_error(self) -> float:
        """Standard error of `ratio`, by resampling the rigs."""
        rng = np.random.default_rng(1)
        ratios = []
        for _ in range(BOOTSTRAPS):
            some = rng.integers(0, self.n, self.n)
            low, high = np.quantile(self.estimate[some], [0.025, 0.975])
            ratios.append(float(np.median((self.high - self.low)[some])) / float(high - low))
        return float(np.std(ratios))

    @property
    def covered(self) -> bool:
        low, high = BANDS[self.rig.expected]
        if low - 3 * self.error <= self.coverage <= high + 3 * self.error:
            return True
        return self.rig.expected == "misspecified" and 100 * float(np.mean(self.flagged)) >= low

    @property
    def narrow(self) -> bool:
        return self.ratio <= WIDEST + 3 * self.ratio_error


def one(rig: Rig, number: int, seed: int) -> Outcome | None:
    """One rig drawn, read and reduced; which it is depends on its kind, its number and the seed alone.

    None where the reduction does not come to what is on trial: measurements that are not combined.
    """
    drawn = rig.setup.draw(generator(rig, number, seed))
    taken = drawn.taken(drawn.record)
    if taken is None:
        return None
    estimate, bar, findings = taken
    scale = drawn.truth if math.isnan(drawn.scale) else drawn.scale
    low, high, value = (1 + (float(x) - drawn.truth) / scale for x in (bar.low, bar.high, estimate.value))
    return low, high, value, bar.source == "monte carlo", frozenset(f.code for f in findings)


def generator(rig: Rig, number: int, seed: int) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(rig.name.encode()), number])


def _some(task: tuple[Rig, int, int, int]) -> list[Outcome | None]:
    rig, start, stop, seed = task
    return [one(rig, number, seed) for number in range(start, stop)]


def counted(rig: Rig, outcomes: Iterable[Outcome | None]) -> Counted:
    every = list(outcomes)
    low, high, estimate, drawn, flags = zip(*(x for x in every if x is not None), strict=True)
    arrays = (np.array(x) for x in (low, high, estimate, drawn))
    return Counted(rig, *arrays, list(flags), len(every))


def run(
    numbers: Sequence[tuple[Rig, int]],
    seed: int = 1,
    processes: int = 1,
    told: Callable[[str], None] = lambda said: None,
) -> Iterator[Counted]:
    """Each kind of rig drawn so many times; the same whatever the number of processes."""
    for library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(library, "1")  # a process a core already; threads within each only get in the way
    # a fresh interpreter each: forked ones would share the state of the libraries' threads
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for rig, number in numbers:
            tasks = [(rig, start, min(start + CHUNK, number), seed) for start in range(0, number, CHUNK)]
            outcomes = []
            for piece in pool.map(_some, tasks):
                outcomes += piece
                told(f"{rig.name}: {len(outcomes)} of {number}")
            yield counted(rig, outcomes)


def table(results: Sequence[Counted]) -> str:
    """The results as a Markdown table."""
    heads = (
        "rig", "accepted by", "drawn", "coverage [%]", "below [%]", "above [%]", "median width [% of flow]",
        "over the oracle's", "Monte Carlo [%]", "flag [%]", "silent misses [%]", "finding",
    )  # fmt: skip
    lines = ["| " + " | ".join(heads) + " |", "|" + "|".join(["---", "---", *["---:"] * 9, "---"]) + "|"]
    for r in results:
        flagged = f"{100 * np.mean(r.flagged):.1f}" if r.rig.flags else "–"
        finding = [] if r.covered else ["**coverage**"]
        if not r.narrow:
            finding.append("wide" if r.rig.expected in ("assumed limits", "counted") else "**width**")
        number = str(r.n) if r.n == r.asked else f"{r.n} of {r.asked}"
        cells = (
            r.rig.name, r.rig.expected, number, f"{r.coverage:.2f} ± {r.error:.2f}", f"{r.below:.2f}",
            f"{r.above:.2f}", f"{r.width:.2f}", f"{r.ratio:.2f} ± {r.ratio_error:.2f}", f"{100 * np.mean(r.drawn):.0f}",
            flagged, f"{r.silent:.2f}", ", ".join(finding) or "held",
        )  # fmt: skip
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"
