"""What may have to be said of a comparison of options that are owned for years."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

UNEQUAL = FlagMeaning(
    "options deliver unequal clean air",
    "warning",
    "Over the life of their filters the options deliver clean-air rates that differ by more than 1 %: whole units meet "
    "a need with more or less to spare, or their number was stated. What they cost in all is then not like for like; "
    "the cost of clean air leads. It counts all air as of use, also what is more than was needed.",
    "1 %: own judgement, no source",
)
NO_NEED = FlagMeaning(
    "clean air that is needed not told",
    "note",
    "No clean_air is stated in [own]: options were compared as they stand, one of each or as many as is stated.",
)
OTHER_SIZES = FlagMeaning(
    "clean air of other particles",
    "warning",
    "The clean-air rates of the options are not for the same sizes of particles. A rate for large particles is usually "
    "the higher one: the comparison favours whoever states it.",
)
NO_RANGES = FlagMeaning(
    "no ranges stated",
    "warning",
    "Nothing that was stated has a range: which option is cheaper is then certain in arithmetic alone. Prices, hours "
    "and rates of years to come are not known to a digit; write them as a range, from one value to another.",
)
LOST_DRAWS = FlagMeaning(
    "draws without a value",
    "warning",
    "In some draws of the ranges a cost has no value, because a time between changes, a clean-air rate or a rate of a "
    "year is below what has a meaning. The intervals cover only the others. Narrow the range that reaches so far.",
)
UNLIKE_LIVES = FlagMeaning(
    "mean over the life held against new filters",
    "warning",
    "Of one option the clean air is told as the mean over the life of its filters, of another only that of new ones, "
    "which is more: they are not compared at the same service, and the order favours the one that tells less. State "
    "mean_over_life or end_of_life_share of both.",
)
ON_STEP = FlagMeaning(
    "median of the draws told",
    "note",
    "Units and changes of filters come in whole numbers, so that costs come in steps. With every number at the middle "
    "of its range this one stood on the edge of a step, outside its own interval: the median of the draws is told "
    "instead. The parts of a present value then need not add up to it.",
)
FLAGS = (UNEQUAL, NO_NEED, OTHER_SIZES, NO_RANGES, LOST_DRAWS, UNLIKE_LIVES, ON_STEP)
