"""A box of one's own making that was calibrated against a better meter."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.methods import static
from flowrig.methods.method import Effect, Limit, Method, Refusal, Situation, Size, Window
from flowrig.physics.box import box_equivalent_drop, similar_flow
from flowrig.physics.si import Floats
from flowrig.records import flags
from flowrig.records.calibration import CalibrationFile
from flowrig.records.declare import Calibration, Choice, FlagMeaning, Reading
from flowrig.records.formulas import MOUNTINGS, TERMS, Formula
from flowrig.records.items import Array, Section
from flowrig.uncertainty.estimate import Estimate

Mask = NDArray[np.bool_]
OUTSIDE_EXPONENT = 0.1  # own judgement, no source
REMOUNT = 0.05  # upper end of 2 to 5 %: of this box nothing is known; common practice, no source
FAR_DENSITY, FAR_VISCOSITY = 0.20, 0.10  # of the calibration's; own judgement, no source


def kernel(
    drop: Array,
    static: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    calibrated_drop: Array,
    calibrated_density: Array,
    calibrated_viscosity: Array,
    calibrated_flow: Array | None = None,
    calibrated_exponent: Array | None = None,
    calibrated_constant: Array | None = None,
    calibrated_linear: Array | None = None,
    calibrated_square: Array | None = None,
    calibrated_cube: Array | None = None,
    *,
    formula: Formula,
) -> dict[str, Floats]:
    """Mass flow through the box by its calibration, at the density in it."""
    polynomial = (calibrated_constant, calibrated_linear, calibrated_square, calibrated_cube)
    given = dict(zip(("flow", "exponent", *TERMS), (calibrated_flow, calibrated_exponent, *polynomial), strict=True))
    numbers = {name: x for name, x in given.items() if x is not None} | {"drop": calibrated_drop}
    inside = density * (pressure + static) / pressure
    alike = box_equivalent_drop(drop, inside, viscosity, calibrated_density, calibrated_viscosity)
    calibrated = formula.curve(numbers, alike)
    flow = similar_flow(calibrated, calibrated_density, calibrated_viscosity, inside, viscosity)
    return {
        "mass_flow": flow * inside,
        "density": inside,
        "equivalent_drop": alike,
        "calibrated_flow": calibrated,
        "density_ratio": inside / calibrated_density,
        "viscosity_ratio": viscosity / calibrated_viscosity,
    }


def _prepare(situation: Situation) -> None:
    situation.inputs.setdefault("static", Estimate(0.0))
    situation.options["formula"] = _calibration(situation).formula


def _calibration(situation: Situation) -> CalibrationFile:
    found: CalibrationFile = situation.value("calibration")
    return found


def _bare(situation: Situation) -> Array:
    """The drops as read, row by row where only some rows are looked at."""
    alike, dense, viscous = (
        situation.nominal[name] for name in ("equivalent_drop", "density_ratio", "viscosity_ratio")
    )
    return np.asarray(alike / dense * viscous**2)


def _ends(array: Array, unit: str, kind: str = "pressure difference") -> str:
    """A number, or the least and the greatest of several."""
    shown = units.from_si(np.array([np.nanmin(array), np.nanmax(array)]), unit, kind)
    return f"{' to '.join(dict.fromkeys(f'{x:.4g}' for x in shown))} {unit}"


def _unit(situation: Situation) -> str:
    return _calibration(situation).range["highest"].unit


def _outside(situation: Situation) -> Mask:
    """By the drop in the air of the calibration: where that is inside, so is the flow pattern."""
    return np.asarray(~_calibration(situation).inside(situation.nominal["equivalent_drop"]))


def _outside_in_words(situation: Situation) -> str:
    unit = _unit(situation)
    bare, alike = (_ends(drops, unit) for drops in (_bare(situation), situation.nominal["equivalent_drop"]))
    return f"a drop of {bare}, which is {alike} in the air of the calibration"


def _range_in_words(situation: Situation) -> str:
    calibration = _calibration(situation)
    return f"{calibration.range_in_words()}, the range of {calibration.name}"


def _bare_drop_outside(situation: Situation) -> Mask:
    return np.asarray(~(_calibration(situation).inside(_bare(situation)) | _outside(situation)))


def _far(situation: Situation) -> Mask:
    dense, viscous = (situation.nominal[name] for name in ("density_ratio", "viscosity_ratio"))
    return np.asarray((np.abs(dense - 1.0) > FAR_DENSITY) | (np.abs(viscous - 1.0) > FAR_VISCOSITY))


def _far_in_words(situation: Situation) -> str:
    dense, viscous = (
        100 * (float(np.mean(situation.nominal[name])) - 1.0) for name in ("density_ratio", "viscosity_ratio")
    )
    return f"density {dense:+.1f} %, viscosity {viscous:+.1f} % from the calibration's"


def _exponent(situation: Situation) -> float:
    return float(situation.inputs["calibrated_exponent"].value)


def _unlikely_exponent(situation: Situation) -> bool:
    """Outside 0.5 to 1 by more than its own error: that of a sharp hole lies on the very edge."""
    if "calibrated_exponent" not in situation.inputs:
        return False
    n, u = _exponent(situation), float(situation.inputs["calibrated_exponent"].u)
    return not 0.5 - 2 * u <= n <= 1.0 + 2 * u


def _remounted(situation: Situation) -> bool:
    return bool(situation.value("remount") == "remounted")


def _assumed(situation: Situation) -> str:
    return "box taken as remounted since its calibration" if situation.section["remount"].assumed else ""


def mounting_scatter(calibration: CalibrationFile, remounted: bool) -> Size | None:
    """How far the mounting in use may lie off the curve, and how well that is known; None where it is not said.

    Notes
    -----
    A curve of format 1 stands for one mounting, in which a box that was not remounted still is: the difference of two,
    √2 s, after a remounting. A later one stands for the mean of m, with the s/√m of that mean among its own causes: a
    further mounting adds s. A box left in one of the m lies off their mean by s √(1 - 1/m), of which the causes hold
    s/√m; s was found from that very mounting too, and cannot be small where it lies far off.
    """
    heading = calibration.heading
    if "remount_scatter" not in heading:
        return None
    scatter, m = heading.value("remount_scatter"), heading.value("remounts")
    if not remounted:
        return None if heading.value("format") == 1 else Size(limit=scatter * math.sqrt(1.0 - 2.0 / m))
    if heading.value("format") == 1:
        return Size(limit=scatter * math.sqrt(2.0), dof=m - 1.0)
    return Size(limit=scatter, dof=m - 1.0, sized_with=_mountings(calibration))


def _mountings(calibration: CalibrationFile) -> str:
    """Id of the error of the mountings that were calibrated: its size is from the same ones."""
    named = [cause.id for cause, section in calibration.causes.items() if section.value("name") == MOUNTINGS]
    return named[0] if named else ""


def _remount_stated(situation: Situation) -> Size | None:
    found = mounting_scatter(_calibration(situation), _remounted(situation))
    return replace(found, assumed=_assumed(situation)) if found is not None else None


def remount_limit(heading: Section) -> float:
    """The same as a limit, where the mountings were too few."""
    return float(heading.value("remount_limit", REMOUNT))


def _remount_unknown(situation: Situation) -> Size | None:
    if not _remounted(situation) or "remount_scatter" in _calibration(situation).heading:
        return None
    return Size(limit=remount_limit(_calibration(situation).heading), assumed=_assumed(situation))


def _band(situation: Situation) -> Size | None:
    """What is added outside the range: as if the exponent there could differ by a tenth from that inside."""
    if not np.any(_outside(situation)):
        return None
    at = np.abs(situation.nominal["equivalent_drop"])
    low, high = (_calibration(situation).range.value(name) for name in ("lowest", "highest"))
    with np.errstate(divide="ignore"):
        beyond = np.fmax(np.fmax(at / high, low / at), 1.0)
    return Size(limit=beyond**OUTSIDE_EXPONENT - 1.0)


def _summary(situation: Situation) -> str:
    calibration = _calibration(situation)
    numbers, formula = calibration.coefficients, calibration.formula
    drop = numbers["drop"]
    at = float(units.from_si(drop.value, drop.unit, "pressure difference"))
    dense, viscous = (float(np.mean(situation.nominal[x])) for x in ("density_ratio", "viscosity_ratio"))
    if formula.powers:
        unit = numbers["linear"].unit
        terms = [f"{float(units.from_si(numbers[TERMS[k]].value, unit, 'flow')):.5g} r^{k}" for k in formula.powers]
        alike = float(units.from_si(float(np.mean(situation.nominal["equivalent_drop"])), drop.unit, drop.field.kind))  # type: ignore[attr-defined]
        return (
            f"{calibration.name}, ({' + '.join(terms)}) {unit} with r = {alike:.5g}/{at:.5g} {drop.unit} in the air of "
            f"the calibration, x {viscous / dense:.4f} for viscosity over density"
        )
    flow = numbers["flow"]
    shown = float(units.from_si(flow.value, flow.unit, "flow"))
    read = float(units.from_si(float(np.mean(_bare(situation))), drop.unit, "pressure difference"))
    n = _exponent(situation)
    return (
        f"{calibration.name}, {shown:.5g} {flow.unit} x ({read:.5g}/{at:.5g} {drop.unit})^{n:.4g} x "
        f"{dense:.4f}^{n - 1:.4g} x {viscous:.4f}^{1 - 2 * n:.4g} for density and viscosity over the calibration's"
    )


BAND = Effect(
    "box:outside",
    "box outside its calibrated range",
    "Where a value outside the range was asked for all the same: as if the exponent there could differ by 0.1 from "
    "that inside, as a limit: 7 % at twice the end of the range, 26 % at ten times.",
    _band,
    source="own judgement, no source",
)
BARE_DROP = FlagMeaning(
    "drop not met in calibration",
    "warning",
    "The air differs so much from the calibration's that the flow pattern was calibrated but this drop itself was not. "
    "Right for a box that does not give; wood, card and tape bend with the drop itself.",
    "similarity of incompressible flow",
)
FAR = FlagMeaning(
    "air far from calibration",
    "warning",
    "Density or viscosity in the box is so far from the calibration's that the correction for them carries much of "
    "the answer. It holds for a rigid box without leaks of its own. Calibrate again in air like this.",
    "thresholds (20 % of density, 10 % of viscosity): own judgement, no source",
)
EXPONENT = FlagMeaning(
    "unlikely exponent",
    "warning",
    "The exponent of the calibration lies outside 0.5 to 1, where a rigid opening has it, by more than twice its "
    "standard uncertainty: the box gives way, leaks or was read wrongly. Look at the residual table.",
    "0.5 to 1 as in ISO 9972 (from memory)",
)

METHOD = Method(
    "box",
    "Calibrated box",
    "A box of one's own making as a meter: the pressure drop over it, read, and the curve of its calibration. The "
    "flow is brought from the air of the calibration to the air in the box, and is given only within the range that "
    "was calibrated.",
    "Curve of a calibration; similarity of incompressible flow (the inverse factor: ASTM E779, from memory)",
    fields=(
        Reading(
            "drop",
            "Pressure drop over the box, as it was read at its calibration.",
            required=True,
            kind="pressure difference",
            low=-50e3,
            high=50e3,
            positive=True,
            example='"60.3 Pa"',
        ),
        Reading(
            "static",
            "Gauge static pressure before the opening that makes the drop, where the density was meant at the "
            "calibration too: that of the box where it blows out, zero where it draws room air in.",
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            asked=True,
            example='"60.1 Pa"',
        ),
        Calibration(
            "calibration",
            "The file of its calibration.",
            required=True,
            example='"box-2.toml"',
            calibrates=("box",),
        ),
        Choice(
            "remount",
            "Whether the box, or what stands before it, was taken down, moved or put together again since its "
            "calibration. Nothing is added only for a box that still stands exactly as it did in its one mounting.",
            choices=("remounted", "as calibrated"),
            aim="as calibrated",
            asked=True,
        ),
    ),
    kernel=kernel,
    air=("density", "pressure", "viscosity"),
    prepare=_prepare,
    effects=(
        Effect(
            "box:remount scatter",
            "remounting of the box (scatter stated)",
            "How far the flow scatters when the box is taken down and put up again, as its calibration file states. A "
            "curve through several mountings stands for their mean, and the box in use stands in one, be it one of "
            "them. Where the curve is of one mounting (format 1) it is √2 of it, and only after a remounting.",
            _remount_stated,
            shape="normal",
            divisor=1.0,
            source="difference of two mountings, or of one and a mean",
        ),
        Effect(
            "box:remount",
            "remounting of the box (not known)",
            "A box that was moved or put together again no longer passes quite what it did: 2 to 5 % as a limit, of "
            "which the upper end is taken. Remount it a few times against the reference, and the calibration file "
            "can state its own scatter.",
            _remount_unknown,
            source="2 to 5 %: common practice, no source",
        ),
    ),
    limits=(
        Limit(
            flags.OUTSIDE_CALIBRATION,
            _outside,
            _outside_in_words,
            Refusal(
                "drop",
                _range_in_words,
                "Choose another opening or another meter, or calibrate the box as far as here.",
                BAND,
            ),
            Window(
                "equivalent_drop",
                "drop, brought to the air of the calibration",
                lambda s: _calibration(s).range.value("lowest"),
                lambda s: _calibration(s).range.value("highest"),
                "pressure difference",
                _unit,
            ),
        ),
        Limit(
            BARE_DROP,
            _bare_drop_outside,
            lambda s: f"calibrated from {_calibration(s).range_in_words()} in air of another density",
        ),
        Limit(FAR, _far, _far_in_words),
        Limit(EXPONENT, _unlikely_exponent, lambda s: f"{_exponent(s):.4g}; 0.5 to 1 is usual"),
        *static.LIMITS,
    ),
    summary=_summary,
    conventions=(
        "flow at the air in the box, q ∝ μ^(1-2n) ρ^(n-1): Reynolds number a function of drop·ρ/μ² alone",
        "range of the calibration by the drop that would be alike in its air",
    ),
)
