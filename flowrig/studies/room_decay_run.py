"""One run of a decay in a room, channel by channel: the rows used, how fast they fall, and what speaks against it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flowrig.errors import CalculationError
from flowrig.uncertainty.decline import Decline, Known, decline
from flowrig.uncertainty.estimate import Array, Bools
from flowrig.uncertainty.interval import coverage_factor
from flowrig.uncertainty.significance import explained, f_tail

FIRST = 0.2  # of the first level of a run: a floor of which nothing is known lies below; own judgement, no source
LEAST = 6  # rows of a window
EXACT = 1e-9  # of a floor that is told without any error
EARLY = 5.0  # of the window: by then what is another at first has come down to exp(-1)
TENTH = math.log(10.0)
APART = 0.2  # of the rows of a window, left out at either end to see whether the rate hangs on it


@dataclass(frozen=True)
class Rule:
    """Which rows of a run are used.

    Attributes
    ----------
    mixing_time : float
        After its start, rows that are left out. [s]
    lowest_signal : float
        What is above the floor, over the floor, at which the window ends; 0 for no such end.
    """

    mixing_time: float = 60.0
    lowest_signal: float = 0.1


@dataclass(frozen=True)
class Floor:
    """What is known of the level that a run falls to, by channel.

    Attributes
    ----------
    value : array, shape (k,)
        [1/m^3]
    counting : array, shape (k,)
        Standard uncertainty from how it was counted. [1/m^3]
    limit : array, shape (k,)
        Half-width within which it may differ in the run. [1/m^3]
    identity : str
        By which its errors are known: two runs that name one count share them.
    """

    value: Array
    counting: Array
    limit: Array
    identity: str

    def known(self, channel: int) -> Known:
        value, counting = float(self.value[channel]), float(self.counting[channel])
        return Known(value, max(math.hypot(counting, self.by_limit(channel)), EXACT * max(value, 1.0)))

    def by_limit(self, channel: int) -> float:
        """Standard uncertainty by the limit."""
        return float(self.limit[channel]) / math.sqrt(3.0)


@dataclass(frozen=True)
class Run:
    """A run as counted.

    Attributes
    ----------
    name : str
    on : bool
        With the cleaner at work.
    time : array, shape (n,)
        Rising. [s]
    counts : array, shape (n, k)
        Particles counted in each channel, none of them twice; concentrations where they are not `raw`. [1 or 1/m^3]
    exposure : array, shape (n,)
        What a count is expected to be, over the concentration: the volume sampled, less what the counter missed. [m^3]
    raw : bool
        The number of particles is known.
    hidden : array, shape (n,)
        Particles within the dead time of one, on average.
    total : array, shape (n,)
        Concentration of all channels. [1/m^3]
    floor : Floor or None
        None where nothing is known of it.
    start, end : float
        When the decay began, and from when on it is not to be used. [s]
    place : str
        Where in the room it was counted.
    counter : str
    """

    name: str
    on: bool
    time: Array
    counts: Array
    exposure: Array
    raw: bool
    hidden: Array
    total: Array
    floor: Floor | None = None
    start: float = 0.0
    end: float = math.inf
    place: str = ""
    counter: str = ""

    @property
    def level(self) -> Array:
        """Concentration, shape (n, k). [1/m^3]"""
        return np.asarray(self.counts / self.exposure[:, np.newaxis])

    def summed(self, groups: list[list[int]]) -> Run:
        """The same run with channels put together."""
        counts = np.stack([np.sum(self.counts[:, at], axis=1) for at in groups], axis=1)
        floor = self.floor
        if floor is not None:
            value, limit = (np.array([np.sum(x[at]) for at in groups]) for x in (floor.value, floor.limit))
            counting = np.array([math.sqrt(float(np.sum(floor.counting[at] ** 2))) for at in groups])
            floor = replace(floor, value=value, counting=counting, limit=limit)
        return replace(self, counts=counts, floor=floor)


@dataclass(frozen=True)
class Fall:
    """A channel of a run, fitted.

    Attributes
    ----------
    run : Run
    channel : int
    used : array of bool, shape (n,)
        Rows of the window.
    fit : Decline
        Time counted from the first of them. [s, 1/m^3]
    known : Known or None
        What the floor was told by beforehand.
    assumed : bool
        Nothing was told of it and the run does not show it: taken to lie between 0 and a share of the first level.
    moves : dict of str to tuple of float
        With another window, in words: what the rate moves by, and the standard uncertainty of that. [1/s]
    curved : float
        Probability that chance bends the logarithm of a decay as much.
    points : float
        Rows in which the signal falls to a tenth.
    """

    run: Run
    channel: int
    used: Bools
    fit: Decline
    known: Known | None
    assumed: bool
    moves: dict[str, tuple[float, float]]
    curved: float
    points: float

    @property
    def first(self) -> float:
        """Concentration where the window begins, floor included. [1/m^3]"""
        return self.fit.amplitude + self.fit.floor

    @property
    def begins(self) -> float:
        """Mean concentration of the first tenth of the window, as read. [1/m^3]"""
        return _tenth(self.run, self.channel, self.used)

    @property
    def ends(self) -> float:
        """The same of the last tenth."""
        return _tenth(self.run, self.channel, self.used, last=True)

    @property
    def span(self) -> tuple[float, float]:
        """Time of the first and the last row used. [s]"""
        time = self.run.time[self.used]
        return float(time[0]), float(time[-1])

    @property
    def bar(self) -> float:
        """Half of the 95 % interval of the rate, by what is in the run itself. [1/s]"""
        fit = self.fit
        blocks = fit.u_scatter**4 / fit.dof
        dof = fit.u**4 / blocks if blocks > 0.0 else math.inf
        return float(coverage_factor(0.95, dof)) * fit.u

    @property
    def halvings(self) -> float:
        """How often the signal halves in the window."""
        first, last = self.span
        return self.fit.rate * (last - first) / math.log(2.0)


def fall(run: Run, channel: int, rule: Rule) -> Fall:
    """How fast one channel of a run falls.

    Parameters
    ----------
    run : Run
    channel : int
    rule : Rule

    Raises
    ------
    CalculationError
        If fewer than 6 rows are left, or they tell no rate.

    Notes
    -----
    The window begins a mixing time after the start and ends where the fitted signal, from a fit of all rows, has come
    down to a stated share of the fitted floor: by a smooth curve, so that no single count decides it. Beyond, the rows
    say nothing of the rate but through the floor, and a floor that drifts bends the whole. The tail that is kept is
    worth much where the floor is fitted.
    """
    rows = (run.time >= run.start + rule.mixing_time) & (run.time <= run.end)
    if int(np.sum(rows)) < LEAST:
        raise CalculationError(f"{int(np.sum(rows))} rows of {run.name} are in its window, and {LEAST} are needed")
    known, assumed, fit = _floor(run, channel, rows)
    if rule.lowest_signal > 0.0 and fit.floor > 0.0:
        above = rows & (fit.at(run.time - run.time[rows][0]) >= rule.lowest_signal * fit.floor)
        if LEAST <= int(np.sum(above)) < int(np.sum(rows)):
            rows = above
            fit = _fit(run, channel, rows, known)
    return Fall(
        run, channel, rows, fit, known, assumed, _moves(run, channel, rows, known, fit), _curved(run, rows, fit),
        _points(run, rows, fit),
    )  # fmt: skip


def _fit(run: Run, channel: int, rows: Bools, known: Known | None) -> Decline:
    time = run.time[rows] - run.time[rows][0]
    road = "counts" if run.raw else "logarithms"
    return decline(time, run.counts[rows, channel], run.exposure[rows], known, road)  # type: ignore[arg-type]


def _floor(run: Run, channel: int, rows: Bools) -> tuple[Known | None, bool, Decline]:
    """What is told of the floor, whether it is an assumption, and the fit of all rows with it.

    Where nothing is told, it is assumed if that says more than the run itself.
    """
    if run.floor is not None:
        known = run.floor.known(channel)
        return known, False, _fit(run, channel, rows, known)
    first = _tenth(run, channel, rows)
    wide = Known(FIRST / 2.0 * first, FIRST / 2.0 * first / math.sqrt(3.0))
    try:
        alone = _fit(run, channel, rows, None)
    except CalculationError:
        return wide, True, _fit(run, channel, rows, wide)
    if alone.u_floor < wide.u:
        return None, False, alone
    return wide, True, _fit(run, channel, rows, wide)


def _tenth(run: Run, channel: int, rows: Bools, *, last: bool = False) -> float:
    """Mean concentration of the first or last tenth of some rows."""
    level = run.level[rows, channel]
    n = max(1, len(level) // 10)
    return float(np.mean(level[-n:] if last else level[:n]))


def _moves(run: Run, channel: int, rows: Bools, known: Known | None, fit: Decline) -> dict[str, tuple[float, float]]:
    at = np.flatnonzero(rows)
    less = round(APART * len(at))
    found: dict[str, tuple[float, float]] = {}
    if less < 1 or len(at) - less < LEAST:
        return found
    for words, kept in (("begun later", at[less:]), ("ended earlier", at[:-less])):
        some = np.zeros(len(rows), dtype=bool)
        some[kept] = True
        try:
            other = _fit(run, channel, some, known)
        except CalculationError:
            continue
        # what fewer rows of the same run tell less well, they may differ by: Hausman's variance of a difference
        found[words] = other.rate - fit.rate, math.sqrt(max(other.u**2 - fit.u**2, 0.0))
    return found


def _curved(run: Run, rows: Bools, fit: Decline) -> float:
    """By further columns: a rate that changes evenly in time, and one that is another at first.

    What is left is taken to scatter by no less than counting does.
    """
    time = run.time[rows] - run.time[rows][0]
    place = time / time[-1]
    further = fit.design[:, :1] * np.stack([place**2, np.exp(-EARLY * place)], axis=1)
    tested = explained(fit.residuals, fit.design, further)
    if tested is None:
        return 1.0
    left = float(np.sum(fit.residuals**2)) / (1.0 + tested.ratio * tested.dof / tested.rest) / tested.rest
    return f_tail(tested.ratio * min(left, 1.0), tested.dof, tested.rest)


def _points(run: Run, rows: Bools, fit: Decline) -> float:
    time = run.time[rows]
    step = float(np.median(np.diff(time)))
    return TENTH / (fit.rate * step) if fit.rate > 0.0 else math.inf
