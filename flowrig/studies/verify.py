"""A calibration held against later checks: point by point, the drift since, and all checks so far in one chart."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.methods import box
from flowrig.progress import each
from flowrig.records import flags, toml_text
from flowrig.records.calibration import CalibrationFile, content_digest, read_calibration
from flowrig.records.declare import SEVERITIES, Finding, FlagMeaning
from flowrig.records.formulas import BOX
from flowrig.records.items import Array, path_name
from flowrig.records.record import Record
from flowrig.studies.arguments import checked
from flowrig.studies.calibrate import curve_at
from flowrig.studies.paired import Paired, paired
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import AXIS
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.combine import Comparison, Verdict, compare
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, interval
from flowrig.uncertainty.propagate import linear

FAILS = FlagMeaning(
    "calibration does not hold",
    "alarm",
    "At least one point of the check lies further from the calibrated curve than the error bars of both explain, at a "
    "level corrected for the number of points, whether what they share cancels or not. Do not use the calibration: "
    "look for a leak, a dent, a swapped hose or opening, and calibrate anew as a file that follows this one. What was "
    "measured since the last check that held is in doubt.",
    "E_n as in ISO/IEC 17043 and ISO 13528 (from memory); level per point by Šidák",
)
UNDECIDED = FlagMeaning(
    "check cannot tell",
    "warning",
    "Whether the calibration still holds depends on how far an error that check and calibration share (one manometer's "
    "limit, one reference) moves both alike, which is not known. Check with another instrument or reference.",
)
DRIFTED = FlagMeaning(
    "drift since calibration",
    "warning",
    "On the mean of the points of a check the calibration lies off by more than the error bar of that mean, though no "
    "single point does. Chance alone does that once in 20 checks; twice in a row it does not.",
)
BLUNT = FlagMeaning(
    "check is blunt",
    "note",
    "What this check could have noticed is more than the calibration itself claims to know: that it found nothing says "
    "little. More points, a better reference or less scatter make it sharper.",
)
LEFT_OUT = FlagMeaning(
    "points outside calibrated range",
    "warning",
    "Points of the check lie outside the range that was calibrated. Nothing is claimed there, and they were left out.",
)
FLAGS = (FAILS, UNDECIDED, DRIFTED, BLUNT, LEFT_OUT)

FALSE_ALARMS = 0.05  # in all points of a check together
VERDICTS: dict[Verdict, str] = {"agree": "holds", "disagree": "fails", "cannot tell": "cannot tell"}


@dataclass
class Check:
    """One later check of a calibration.

    Attributes
    ----------
    pairs : Paired
    points : array of int
        Those within the calibrated range.
    expected : Estimate
        What the calibration says at the indications of the check, with the axis ``point``. SI.
    off : Estimate
        Reference over calibration, less 1, for a flow; reference less calibration for an instrument.
    held : list of Comparison
        Of each point.
    level : float
        Coverage of each comparison, corrected for their number.
    drift : Estimate
        Mean of `off` over the points.
    drift_interval : Interval
        95 %.
    verdict : str
        'holds', 'fails' or 'cannot tell'.
    findings : list of Finding
    """

    pairs: Paired
    points: NDArray[np.intp]
    expected: Estimate
    off: Estimate
    held: list[Comparison]
    level: float
    drift: Estimate
    drift_interval: Interval
    verdict: str
    findings: list[Finding] = field(default_factory=list)

    @property
    def date(self) -> dt.date:
        return self.pairs.record.heading.value("date")  # type: ignore[no-any-return]

    @property
    def noticeable(self) -> float:
        """The least that every point would have to be off for the mean to show it."""
        return float(0.5 * (self.drift_interval.high - self.drift_interval.low))


@dataclass
class Verified:
    """A calibration with all checks of it so far, oldest first."""

    calibration: CalibrationFile
    checks: list[Check]

    @property
    def findings(self) -> list[Finding]:
        return [f for check in self.checks for f in check.findings]


@checked
def verify(
    calibration: str | Path | Mapping[str, Any], records: Sequence[str | Path | Mapping[str, Any] | Record]
) -> Verified:
    """Hold a calibration against one or several checks.

    Parameters
    ----------
    calibration : path or mapping
        A calibration file.
    records : sequence of path, mapping or Record
        Checks, each with a table [calibration] and its points.

    Raises
    ------
    TypeError
        If the checks are no list of records.
    InputError
        With every fault of the file and the records, and where a check is of something else.
    """
    held = read_file(calibration)
    faults: list[Fault] = []
    found: list[Check] = []
    for source in each("check", records):
        try:
            found.append(_check(held, source if isinstance(source, Record) else load(source)))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return Verified(held, sorted(found, key=lambda check: check.date))


def read_file(source: str | Path | Mapping[str, Any]) -> CalibrationFile:
    """A calibration file by its path. Raises `InputError` with every fault of it."""
    if isinstance(source, Mapping):

        def where(*path: str | int) -> str:
            return f"calibration, {path_name(path)}" if path else "calibration"

        return read_calibration(source, where, "calibration", content_digest(source))
    document = toml_text.load(Path(source), str(source), sort="a calibration")
    return read_calibration(document.data, document.where, Path(source).name, document.digest)


def _check(calibration: CalibrationFile, record: Record) -> Check:
    section = record.calibration
    if section is not None and section.value("calibrates") != calibration.calibrates:
        item = section["calibrates"]
        expected = f"{calibration.calibrates!r}, as {calibration.name} is"
        raise InputError(Fault(item.where, repr(item.value), expected, "Check it against its own calibration."))
    numbers = calibration.estimates()
    air = (float(numbers["density"].value), float(numbers["viscosity"].value)) if "density" in numbers else None
    pairs = paired(record, air)
    _same_thing(calibration, pairs)
    calibration.clash({c.id: c for x in (pairs.shown, pairs.truth) for c in x.parts})
    inside = np.flatnonzero(calibration.inside(pairs.shown.value))
    findings = pairs.told
    if len(inside) < len(pairs.shown.value):
        left = [pairs.where(int(k)) for k in np.flatnonzero(~calibration.inside(pairs.shown.value))]
        findings.append(Finding(LEFT_OUT, f"{'; '.join(left)}; calibrated from {calibration.range_in_words()}"))
    if not len(inside):
        expected = f"points within {calibration.range_in_words()}, the range of {calibration.name}"
        remedy = "Check the calibration where it claims something."
        raise InputError(Fault(section["points"].where if section else record.name, "none of them", expected, remedy))
    shown, truth = (_some(x, inside) for x in (pairs.shown, pairs.truth))
    expected_flow, truth = _with_causes(calibration, pairs, numbers, shown, truth)
    level = (1.0 - FALSE_ALARMS) ** (1.0 / len(inside))
    apart = _may_differ(truth, calibration)
    held = [compare(truth.single(k), expected_flow.single(k), level, apart) for k in range(len(inside))]
    kernel = _share_off if calibration.formula.relative else _off
    kept = {"off": (AXIS,), "mean": ()}
    out = linear(kernel, {"truth": truth, "expected": expected_flow}, (AXIS,), kept)
    bar = interval(out["mean"], 0.95)
    verdicts = [comparison.verdict for comparison in held]
    verdict = "disagree" if "disagree" in verdicts else "cannot tell" if "cannot tell" in verdicts else "agree"
    check = Check(
        pairs, inside, expected_flow, out["off"], held, level, out["mean"], bar, VERDICTS[verdict], findings  # type: ignore[index]
    )  # fmt: skip
    if calibration.calibrates == BOX and section is not None and section["remount"].assumed:
        check.findings.append(Finding(flags.ASSUMED, "box taken as remounted since its calibration"))
    check.findings += _findings(calibration, check, verdicts)
    check.findings.sort(key=lambda f: SEVERITIES.index(f.severity))
    return check


def _same_thing(calibration: CalibrationFile, pairs: Paired) -> None:
    section = pairs.record.calibration
    assert section is not None
    serial = calibration.heading.value("serial")
    item = section.items.get("serial")
    if not pairs.of_flow:
        item = pairs.instrument.section.items.get("serial") if pairs.instrument is not None else None
    if item is None or item.value != serial:
        where = section.where if item is None else item.where
        read = "no serial" if item is None else repr(item.value)
        said = f"{serial!r}, of which {calibration.name} is the calibration"
        raise InputError(Fault(where, read, said, "Check it against its own calibration, or correct the number."))
    record = pairs.record
    if record.heading.value("date") < calibration.heading.value("date"):
        read = str(record.heading.value("date"))
        said = f"a day after the calibration, {calibration.heading.value('date')}"
        raise InputError(Fault(record.heading["date"].where, read, said, "Check both dates."))


def _may_differ(truth: Estimate, calibration: CalibrationFile) -> Callable[[Cause], bool]:
    """Which shared errors may move check and calibration differently: all, or those of instruments alone where the
    reference of the check is made of the very pieces that the calibration knows."""
    known = {cause.id for cause in calibration.causes}
    pieces = [cause.id for cause in truth.parts if cause.id.startswith("hardware:")]
    same = bool(pieces) and all(id_ in known for id_ in pieces)
    return lambda cause: cause.id.startswith("instrument:") or not same


def _some(x: Estimate, at: Any) -> Estimate:
    return Estimate(x.value[at], x.axes, {cause: part[:, at] for cause, part in x.parts.items()})


def _with_causes(
    calibration: CalibrationFile, pairs: Paired, numbers: Mapping[str, Estimate], shown: Estimate, truth: Estimate
) -> tuple[Estimate, Estimate]:
    """What the calibration says at the indications, and the reference; with what a remounting and a single point do."""
    formula, n = calibration.formula, len(shown.value)

    def kernel(*, shown: Array, **given: Array) -> dict[str, Any]:
        return {"expected": formula.curve(given, shown)}

    expected = linear(kernel, {"shown": shown, **numbers}, (AXIS,), {"expected": (AXIS,)})["expected"]
    scatter, dof = _single(calibration)
    size = np.abs(truth.value) if not formula.powers else np.full(n, abs(_at_pivot(calibration)))
    cause = Cause(f"{pairs.record.id}:scatter", dof=dof, each=AXIS, scope="reading", label="scatter of single points")
    truth = Estimate(truth.value, truth.axes, {**truth.parts, cause: (scatter * size)[np.newaxis]})
    section = pairs.record.calibration
    if calibration.calibrates != BOX or section is None:
        return expected, truth
    remounted = section.value("remount") == "remounted"
    known = box.mounting_scatter(calibration, remounted)
    if known is None and not remounted:
        return expected, truth
    id_, label = f"{pairs.record.id}:remount", "remounting of the box"
    if known is not None:
        u = float(known.limit)  # type: ignore[arg-type]
        remount = Cause(id_, dof=known.dof, scope="setup", label=label, sized_with=known.sized_with)
    else:
        u = box.remount_limit(calibration.heading) / math.sqrt(3)
        remount = Cause(id_, shape="rectangular", scope="setup", label=label)
    return Estimate(expected.value, expected.axes, {**expected.parts, remount: [u * expected.value]}), truth


def _single(calibration: CalibrationFile) -> tuple[float, float]:
    """What a single point scatters by, as a share, and its degrees of freedom; of format 1 by the residuals."""
    heading, formula = calibration.heading, calibration.formula
    if heading.value("format") > 1:
        return heading.value("point_scatter", 0.0), float(heading.value("point_scatter_dof", math.inf))
    residuals = np.array([point.value("residual") for point in calibration.points])
    dof = len(residuals) - len(formula.found)
    return math.sqrt(float(np.sum(residuals**2)) / dof), float(dof)


def _at_pivot(calibration: CalibrationFile) -> float:
    numbers = {name: float(item.value) for name, item in calibration.coefficients.items.items()}
    return float(calibration.formula.curve(numbers, numbers[calibration.formula.pivot]))


def _share_off(*, truth: Array, expected: Array) -> dict[str, Array]:
    off = truth / expected - 1.0
    return {"off": off, "mean": np.mean(off, axis=-1, keepdims=True)}


def _off(*, truth: Array, expected: Array) -> dict[str, Array]:
    return {"off": truth - expected, "mean": np.mean(truth - expected, axis=-1, keepdims=True)}


def _findings(calibration: CalibrationFile, check: Check, verdicts: Sequence[Verdict]) -> list[Finding]:
    found = []
    date = check.date
    number = {name: sum(v == name for v in verdicts) for name in ("disagree", "cannot tell")}
    if number["disagree"]:
        found.append(Finding(FAILS, f"{date}: {number['disagree']} of {len(verdicts)} points fail"))
    if number["cannot tell"] and not number["disagree"]:
        found.append(Finding(UNDECIDED, f"{date}: {number['cannot tell']} of {len(verdicts)} points"))
    drift, bar = float(check.drift.value), check.drift_interval
    if not number["disagree"] and not float(bar.low) <= 0.0 <= float(bar.high):
        found.append(Finding(DRIFTED, f"{date}: {in_words(calibration, drift)} on the mean"))
    middle = math.sqrt(abs(calibration.range.value("lowest") * calibration.range.value("highest")))
    own = curve_share(calibration, middle)
    if check.noticeable > 2 * own:
        said = f"{date}: a drift below {in_words(calibration, check.noticeable)} would go unseen"
        found.append(Finding(BLUNT, f"{said}; the calibration claims {in_words(calibration, own)}"))
    return found


def curve_share(calibration: CalibrationFile, at: float) -> float:
    """95 % half-width of a calibration at one argument: as a share of a flow, or in the unit of an instrument."""
    curve = curve_at(calibration.formula, calibration.estimates(), np.array([at]))
    half = 1.96 * float(curve.u[0])
    return half / abs(float(curve.value[0])) if calibration.formula.relative else half


def claimed(calibration: CalibrationFile) -> float:
    """The same in the middle of the range of a flow, and at the highest reading of an instrument."""
    low, high = (calibration.range.value(name) for name in ("lowest", "highest"))
    return curve_share(calibration, abs(low * high) ** 0.5 if calibration.formula.relative else high)


def in_words(calibration: CalibrationFile, size: float) -> str:
    """How far something is off, as people say it."""
    if calibration.formula.relative:
        return f"{100 * size:+.2g} %"
    kind, unit = calibration.formula.result.kind, calibration.range["highest"].unit
    return f"{float(units.from_si(size, unit, units.as_difference(kind))):+.2g} {unit}"
