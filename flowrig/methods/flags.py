"""Findings about a run of readings and about intervals, whatever the method."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

REVERSED = FlagMeaning(
    "reversed",
    "alarm",
    "The flow came out negative by more than its error bar: hoses swapped, or air going the other way.",
)
BELOW_NOISE = FlagMeaning(
    "below noise",
    "warning",
    "The error bar reaches zero: the readings do not tell the flow from none at all. The signed value is kept, since "
    "dropping the negative half would push it upwards.",
)
FEW_STRETCHES = FlagMeaning(
    "short log",
    "alarm",
    "Neighbouring readings of the log resemble one another so much that it is worth fewer than 30 independent "
    "stretches: the error of its mean is a rough guess and no coverage is promised. Log for longer.",
)
NOT_STEADY = FlagMeaning(
    "not steady",
    "warning",
    "The second half of the readings differs from the first by more than their scatter explains: the flow or an "
    "instrument drifted. The mean describes no one moment.",
)
UNSTEADY_RUN = FlagMeaning(
    "unsteady readings",
    "warning",
    "The readings scatter by more than 10 % rms. Real unsteadiness and sensor noise act in opposite directions on a "
    "root; where it is not known which it is, the middle is taken and the difference is a limit.",
)
POOLED = FlagMeaning(
    "pooled scatter",
    "warning",
    "Fewer than three passes were made; their scatter is pooled from the differences point by point, which cannot see "
    "what a whole pass has in common.",
)
CURVED = FlagMeaning(
    "curved",
    "warning",
    "The equation bends noticeably within the error bar, so the linear bar would not be honest; the interval is from "
    "Monte Carlo draws and may be lopsided.",
)
CURVED_LINEAR = FlagMeaning(
    "curved, linear bar kept",
    "alarm",
    "The equation bends noticeably within the error bar, and more rows did so than were drawn: this row keeps its "
    "linear bar, which is not quite honest. Draw every row with --samples.",
)
SHAPE = FlagMeaning(
    "shape",
    "note",
    "One cause that is not bell-shaped, or one known from few readings, decides the shape of the result. For a single "
    "result the interval is from Monte Carlo draws; a row of a batch keeps the linear bar, which is no narrower.",
)
SHAPE_NARROW = FlagMeaning(
    "shape, linear bar too narrow",
    "warning",
    "A limit with hard ends decides the shape of this row's result, and at a coverage below 90 % the linear bar is "
    "then narrower than it should be. Draw every row with --samples.",
)
UNSTABLE = FlagMeaning(
    "draws not settled",
    "warning",
    "The ends of the Monte Carlo interval had not settled to 0.02 of a standard uncertainty when the draws ran out.",
)
LOST = FlagMeaning(
    "draws without a value",
    "alarm",
    "Some Monte Carlo draws fall where the equations have no meaning, so the readings are near the edge of what can be "
    "reduced; the interval covers the other draws only.",
)
NO_VALUE = FlagMeaning(
    "no value",
    "alarm",
    "The readings lie outside what the equations have a meaning for; there is no result.",
)
FLAGS = (
    REVERSED,
    BELOW_NOISE,
    FEW_STRETCHES,
    NOT_STEADY,
    UNSTEADY_RUN,
    POOLED,
    CURVED,
    CURVED_LINEAR,
    SHAPE,
    SHAPE_NARROW,
    UNSTABLE,
    LOST,
    NO_VALUE,
)
