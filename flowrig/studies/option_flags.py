"""What may have to be said of one option that is owned for years."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

NEW_ALL_LIFE = FlagMeaning(
    "clean air of new filters taken",
    "warning",
    "Nothing is told of how the clean air falls while the filters load: that of new filters was taken for their whole "
    "life, which is too much. State mean_over_life or end_of_life_share, or name a prediction with a table [life].",
)
HALFWAY = FlagMeaning(
    "mean over the life taken halfway",
    "note",
    "Of the clean air over the life of the filters only the end is told. The mean was taken halfway between new and "
    "end, with half of the way to either as a limit: filters that lose a charge fall early, others late.",
    "own judgement, no source",
)
CHARGE_KEPT = FlagMeaning(
    "charge counted as kept",
    "warning",
    "The mean over the life of the filters comes from a prediction that tells nothing of a loss of charge: where they "
    "have one, their clean air is less than told here.",
)
LIFE_CUT = FlagMeaning(
    "prediction ends before the change",
    "warning",
    "The prediction tells the course of the clean air only up to a time before the filters are changed; the mean up to "
    "there was taken for all of it, which is too much. Lengthen the run in its table [life].",
)
SHORT = FlagMeaning(
    "clean air that is needed not met",
    "alarm",
    "As many units as are stated, or the one filter in the ducts, give less clean air over the life of the filters "
    "than is needed: such an option may be cheaper because it does less. It comes last, whatever it costs. Leave count "
    "out, and as many units are taken as it needs.",
)
LASTS = FlagMeaning(
    "life of a unit not told",
    "note",
    "No unit_life is stated: the unit is taken to last as long as is looked at, and to be worth nothing then, or what "
    "residual says.",
)
RESIDUAL_ABOVE = FlagMeaning(
    "residual above the price",
    "warning",
    "At the end a unit is stated to be worth more than one costs: it would pay to buy units and keep them. Check "
    "residual, which is at a price of today.",
)
FLAGS = (NEW_ALL_LIFE, HALFWAY, CHARGE_KEPT, LIFE_CUT, SHORT, LASTS, RESIDUAL_ABOVE)
