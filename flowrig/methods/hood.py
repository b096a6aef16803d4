"""A flow hood over an outlet, an inlet or a free-standing cleaner: its display, and what it does to what it "
"measures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flowrig.methods import reference_density
from flowrig.methods.method import Effect, Limit, Method, Situation, Size, Window, span
from flowrig.physics.hood import hood_actual_flow, hood_free_flow, hood_free_flow_by_curve
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Count, FlagMeaning, Given, Names, OneOf, Reading, Series, Table, Text, Wrong
from flowrig.records.estimates import hardware_identity
from flowrig.records.items import ROWS, Array, Section
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate

STANDARD = (
    "practice of air balancing (ASHRAE 111, from memory); back-pressure by the straight line through two readings, or "
    "by the fan laws of ISO 5801 (from memory)"
)
FREE = "free-standing cleaner"
# what a hood may read wrong over each, at 95 %: common practice, no source (6 to 9 % in all; 15 to 30 %)
UNEVEN = {"supply outlet": 0.06, "return inlet": 0.06, FREE: 0.25}
UNCORRECTED = {"supply outlet": 0.05, "return inlet": 0.05, FREE: 0.25}  # limits: common practice, no source
POWER = {"heated sensor": 1.0, "pressure grid": 0.5, "vane": 0.0}
FALL = "30 %"  # of the correction by a curve: common practice, no source
BEND = (
    0.25  # of the correction by a straight line: common practice, no source; a root taken for a line misses 0.1 to 0.2
)
STRETCH = 4.0  # times an error of the first reading reaches the answer: common practice, no source
LARGE = 0.2

CURVES = Table(
    "curves",
    "How the unit's flow falls as it works against pressure: its fan curve with the filters in. Only its shape is "
    "used.",
    (
        Series(
            "pressure",
            "Pressures against which the unit works, rising from 0.",
            required=True,
            kind="pressure difference",
            least=2,
            low=0.0,
            high=5e3,
            example='["0 Pa", "10 Pa", "20 Pa"]',
        ),
        Series(
            "flow",
            "Flow at each of them, falling.",
            required=True,
            kind="flow",
            least=2,
            low=0.0,
            high=1000.0,
            example='["620 m3/h", "560 m3/h", "470 m3/h"]',
        ),
        Given(
            "fall_limit",
            "How well the curve knows the flow lost under the hood: a limit, as a share of what is lost.",
            of_error=True,
            kind="ratio",
            default=FALL,
            low=0.0,
            high=1.0,
        ),
        Text("serial", "Identity, where the curve is used in several records."),
        Text("notes", "Where it is from: measured, or the maker's."),
    ),
    checks=(lambda section: _curve_checks(section),),
)


def _curve_checks(section: Section) -> Sequence[Wrong]:
    pressure, flow = section.value("pressure"), section.value("flow")
    if len(pressure) != len(flow):
        return [Wrong("flow", f"as many flows as pressures, {len(pressure)}", "Give one for each, in the same order.")]
    wrong = []
    if pressure[0] != 0.0 or np.any(np.diff(pressure) <= 0.0):
        wrong.append(Wrong("pressure", "pressures that rise from 0", "Begin with the free flow, at 0 Pa."))
    if np.any(np.diff(flow) >= 0.0):
        said = "a flow that falls from point to point: a hood cannot tell two flows of one pressure apart"
        wrong.append(Wrong("flow", said, "Leave out the part where the curve does not fall."))
    return wrong


def _checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    by_pressure = [name for name in ("throttled_reading", "curve") if name in section]
    if by_pressure and "hood_pressure" not in section:
        said = f"the gauge pressure in the hood, which {by_pressure[0]} needs"
        wrong.append(Wrong("hood_pressure", said, 'Add hood_pressure = "4.2 Pa", read in the hood at the same time.'))
    if "backpressure_factor" in section and section.value("over") == FREE:
        said = f"no fixed factor over a {FREE}: a fan of low pressure loses what its own curve says, not a fixed share"
        remedy = (
            "Read at two resistances of the hood (throttled_reading, throttled_pressure), or give the unit's curve."
        )
        wrong.append(Wrong("backpressure_factor", said, remedy))
    turns, shown = section.value("orientations", 1), section.value("reading")
    if section["reading"].run != ROWS and len(shown) % turns:
        said = f"as many readings for each of {turns} orientations; there are {len(shown)}"
        wrong.append(Wrong("reading", said, "Read round all orientations in turn, then round again."))
    return wrong


def kernel(
    reading: Array,
    density: Array,
    factor: Array | None = None,
    reference_density: Array | None = None,
    hood_pressure: Array | None = None,
    throttled_reading: Array | None = None,
    throttled_pressure: Array | None = None,
    backpressure_factor: Array | None = None,
    fall: Array | None = None,
    *,
    power: float,
    curve: tuple[Array, Array] | None,
) -> dict[str, Floats]:
    """Mass flow without the hood."""

    def actual(shown: Array) -> Floats:
        true = shown if factor is None else shown * factor
        return true if reference_density is None else hood_actual_flow(true, density, reference_density, power)

    under = free = actual(reading)
    out: dict[str, Floats] = {"density": density, "under": under}
    if throttled_reading is not None and hood_pressure is not None and throttled_pressure is not None:
        throttled = actual(throttled_reading)
        free = hood_free_flow(under, hood_pressure, throttled, throttled_pressure)
        with np.errstate(divide="ignore", invalid="ignore"):
            out["stretch"] = throttled_pressure / (throttled_pressure - hood_pressure) + 0.0 * reading
            out["rises"] = np.asarray(throttled >= under, dtype=float)
    elif curve is not None and hood_pressure is not None and fall is not None:
        lost = hood_free_flow_by_curve(under, hood_pressure, *curve) - under
        free = under + lost * fall
    elif backpressure_factor is not None:
        free = under * backpressure_factor
    with np.errstate(divide="ignore", invalid="ignore"):
        correction = np.asarray(free / under - 1.0)
    return out | {"mass_flow": free * density, "correction": correction}


def _prepare(situation: Situation) -> None:
    section, inputs = situation.section, situation.inputs
    sensor = section.value("sensor")
    situation.options |= {"power": POWER[sensor], "curve": None}
    if POWER[sensor]:
        reference = reference_density.reference_density(situation, "reading")
        if reference is not None:
            inputs["reference_density"] = reference
    if "curve" not in section:
        return
    [curve] = situation.hardware["curves"]
    situation.options["curve"] = (curve.value("pressure"), curve.value("flow"))
    inputs["fall"] = _fall(situation, curve)


def _fall(situation: Situation, curve: Section) -> Estimate:
    """Factor on the flow lost by the curve: 1, give or take how well the curve knows it."""
    limit = curve.value("fall_limit")
    id_ = f"{hardware_identity(curve, situation.record)}:fall {limit:.6g}"
    cause = Cause(id_, shape="rectangular", scope="calibration", label=f"fall of the curve {curve.path[-1]}")
    return Estimate(1.0, (), {cause: [limit / np.sqrt(3)]})


def _uneven(situation: Situation) -> Size:
    stated = situation.value("uneven_limit")
    return Size(limit=UNEVEN[situation.value("over")] if stated is None else stated)


def _corrected(situation: Situation) -> bool:
    return any(name in situation.section for name in ("throttled_reading", "curve", "backpressure_factor"))


def _uncorrected(situation: Situation) -> Size | None:
    """Half of the usual loss put on, and the same as a limit: a hood takes flow away, it never adds any."""
    if _corrected(situation):
        return None
    most = UNCORRECTED[situation.value("over")]
    return Size(shift=most / 2, limit=most / 2)


def _bent(situation: Situation) -> Size | None:
    """What a straight line through two readings may miss of a flow that does not fall straight."""
    if "throttled_reading" not in situation.section:
        return None
    correction = np.abs(situation.nominal["correction"])
    return Size(limit=BEND * correction / (1.0 + correction))


def _summary(situation: Situation) -> str:
    under, correction = (float(np.mean(situation.nominal[name])) for name in ("under", "correction"))
    how = (
        "two resistances of the hood" if "throttled_reading" in situation.section
        else "the unit's curve" if "curve" in situation.section
        else "the maker's factor" if "backpressure_factor" in situation.section
        else "nothing"
    )  # fmt: skip
    return (
        f"reading {float(np.mean(situation.inputs['reading'].value)) * 3600:.5g} m3/h, actual flow under the hood "
        f"{under * 3600:.5g} m3/h, back-pressure {100 * correction:+.2g} % by {how}"
    )


NOT_CORRECTED = FlagMeaning(
    "hood's back-pressure not taken out",
    "warning",
    "A hood throttles what it measures, and nothing says by how much: half of what it usually takes over a ducted "
    "outlet was put on, with as much for a limit. Read at two resistances of the hood.",
    "common practice, no source",
)
FREE_NOT_CORRECTED = FlagMeaning(
    "hood throttles the fan",
    "alarm",
    "A free-standing fan with filters makes little pressure, and a hood over it can take a quarter of its flow. "
    "Nothing says by how much. Read at two resistances of the hood, or give the unit's curve.",
    "common practice, no source",
)
ALIKE = FlagMeaning(
    "two resistances too alike",
    "warning",
    "The pressures of the two readings lie so near one another (or on different sides of zero, or the wrong way round) "
    "that an error of either is magnified more than four times on the way to no pressure. Throttle the hood harder for "
    "the second reading.",
    "threshold: common practice, no source",
)
RISES = FlagMeaning(
    "throttled flow not smaller",
    "alarm",
    "Throttled harder, the unit shows as much flow or more: something else changed between the two readings, or they "
    "stand in the wrong order.",
)
LARGE_CORRECTION = FlagMeaning(
    "large back-pressure correction",
    "warning",
    "More than a fifth of the flow is lost under the hood. A straight line or a borrowed curve is then no longer small "
    "print: where the unit's flow falls faster the harder it is throttled, two readings put it too high.",
    "remainder of linear interpolation",
)
UNEVEN_ASSUMED = FlagMeaning(
    "unevenness of the hood assumed",
    "note",
    "What swirl and an uneven stream do to the hood over this outlet was not compared with a reference; a limit of "
    "common practice is in the error bar: 6 % over a ducted outlet, 25 % over a free-standing one (15 to 30 %). State "
    "uneven_limit from a comparison of your own.",
    "common practice, no source",
)


def _pressure(name: str, help: str, example: str, asked: bool = False) -> Reading:
    return Reading(name, help, kind="pressure difference", low=-5e3, high=5e3, example=example, asked=asked)


METHOD = Method(
    name="hood",
    title="Flow hood",
    help="Reading of a flow hood, times its calibration, brought to the density of the air and to the flow without the "
    "hood: by a second reading at a higher resistance, by the unit's curve, or over a duct by the maker's factor.",
    source=STANDARD,
    fields=(
        Choice(
            "over",
            "What the hood stands over; a ducted outlet or inlet hardly notices it, a free-standing fan does.",
            required=True,
            choices=("supply outlet", "return inlet", FREE),
        ),
        Reading(
            "reading",
            "Flow shown, without its sign. With several orientations, read round all of them in turn, then round "
            "again.",
            required=True,
            kind="flow",
            low=0.0,
            high=1000.0,
            example='"412 m3/h"',
        ),
        Choice(
            "sensor",
            "What the hood feels: a grid of pressure taps, a heated sensor (mass flow), or a vane.",
            required=True,
            choices=tuple(POWER),
        ),
        Count(
            "orientations",
            "In how many orientations the hood was read; what differs between them is swirl, and is in the error bar.",
            low=1,
            high=12,
            example="4",
        ),
        Given(
            "factor",
            "Calibration of the hood: true flow over reading.",
            kind="ratio",
            limits="must",
            above=0.0,
            high=3.0,
            example='"1.03 ± 0.02 (k=2)"',
        ),
        Given(
            "uneven_limit",
            "What swirl and an uneven stream do to the reading, at 95 %, from a comparison over an outlet of this "
            "kind.",
            of_error=True,
            kind="ratio",
            above=0.0,
            high=1.0,
            example='"8 %"',
        ),
        _pressure("hood_pressure", "Gauge pressure in the hood at the reading.", '"3.1 Pa"', asked=True),
        Reading(
            "throttled_reading",
            "Flow shown when the hood is throttled harder: part of its opening covered.",
            kind="flow",
            low=0.0,
            high=1000.0,
            example='"371 m3/h"',
        ),
        _pressure("throttled_pressure", "Gauge pressure in the hood then.", '"9.4 Pa"'),
        Names("curve", "The unit's curve, described under [curves.…].", table="curves", example='"unit"'),
        Given(
            "backpressure_factor",
            "The maker's factor for a ducted outlet or inlet: flow without the hood over flow under it.",
            kind="ratio",
            limits="must",
            low=0.9,
            high=1.5,
            example='"1.03 ± 0.02"',
        ),
    ),
    alternatives=(
        OneOf((("throttled_reading", "throttled_pressure"), ("curve",), ("backpressure_factor",)), required=False),
    ),
    checks=(_checks,),
    kernel=kernel,
    air=("density",),
    hardware=(CURVES,),
    turns=lambda section: section.value("orientations", 1),
    prepare=_prepare,
    effects=(
        Effect(
            "method:hood:uneven",
            "swirl and unevenness under the hood",
            "A hood is calibrated over an even stream. Swirl and jets shift what it shows, by up to 6 % over ducted "
            "outlets and inlets, 15 to 30 % over a free-standing outlet. Alike each time, so that repeating does "
            "not help.",
            _uneven,
            shape="normal",
            divisor=1.96,
            scope="method",
            source="common practice, no source",
        ),
        Effect(
            "hood:straight line",
            "straight line through two readings",
            "Two readings make a straight line, and a unit's flow seldom falls straight: a quarter of what the line "
            "puts back is the limit of what it may miss.",
            _bent,
            source="common practice, no source",
        ),
        Effect(
            "method:hood:back-pressure",
            "back-pressure of the hood (not measured)",
            "Where nothing says how much flow the hood takes away: up to 5 % over ducted outlets and inlets, up to 25 "
            "% over a free-standing fan; the middle is put on and the rest is a limit.",
            _uncorrected,
            scope="method",
            source="common practice, no source",
        ),
    ),
    limits=(
        Limit(
            FREE_NOT_CORRECTED,
            lambda s: not _corrected(s) and s.value("over") == FREE,
            lambda s: "nothing says how much flow the hood takes",
        ),
        Limit(
            NOT_CORRECTED,
            lambda s: not _corrected(s) and s.value("over") != FREE,
            lambda s: "nothing says how much flow the hood takes",
        ),
        Limit(
            ALIKE,
            lambda s: (
                (s.nominal["stretch"] > STRETCH) | (s.nominal["stretch"] < 1.0) if "stretch" in s.nominal else False
            ),
            lambda s: f"an error of the first reading reaches the answer {span(s.nominal['stretch'], 'times', 2)}",
            window=Window("stretch", "how many times an error of the first reading counts", 1.0, STRETCH),
        ),
        Limit(
            RISES,
            lambda s: s.nominal.get("rises", np.zeros(1)) > 0.5,
            lambda s: "the second reading is not below the first",
        ),
        Limit(
            LARGE_CORRECTION,
            lambda s: np.abs(s.nominal["correction"]) > LARGE,
            lambda s: f"{100 * float(np.nanmax(np.abs(s.nominal['correction']))):.0f} % of the flow under the hood",
            window=Window("correction", "correction for the hood, share of the flow", -LARGE, LARGE, unit="%"),
        ),
        Limit(
            UNEVEN_ASSUMED,
            lambda s: "uneven_limit" not in s.section,
            lambda s: f"{100 * UNEVEN[s.value('over')]:.0f} % at 95 % over a {s.value('over')}",
        ),
    ),
    summary=_summary,
    conventions=(
        "a straight line through two readings, taken to no pressure; a curve is brought to the reading by the fan laws",
        "a display of a heated sensor goes with density, of a pressure grid with its root, of a vane not at all",
        "flow at the air in the hood",
    ),
)
