"""What may be found while decays in a room are turned into a clean-air rate, and what makes it unsure."""

from __future__ import annotations

from flowrig.records.causes import CauseMeaning
from flowrig.records.declare import FlagMeaning

ABOVE_COUNTER = FlagMeaning(
    "above the counter's limit",
    "alarm",
    "A decay began at more particles than the counter can tell apart, over all its channels: it shows too few at "
    "first, so that the fall looks slower than it is, and small particles that come together are taken for large ones, "
    "which no correction undoes. Begin at less, or later in the run (start).",
    "limit of the counter's data sheet; loss by coincidence: doi 10.1080/02786826.2012.737049",
)
NEAR_COUNTER = FlagMeaning(
    "near the counter's limit",
    "warning",
    "A decay began above half of the concentration that the counter can tell apart. Less would be better.",
    "ASHRAE Guideline 26-2008: dilute above half of the limit",
)
NOT_ONE_DECAY = FlagMeaning(
    "not one decay",
    "warning",
    "The readings bend away from a single fall to a floor by more than chance does in 1 record of 100: the air was not "
    "mixed yet (take a longer mixing_time, or add a mixing fan), particles grew together or dried, the floor moved, or "
    "someone came in. The rate then depends on the window.",
    "F test of a rate that changes evenly; threshold: own judgement",
)
FOLLOWING = FlagMeaning(
    "readings follow each other",
    "warning",
    "What the readings scatter beyond counting goes on from one to the next, as puffs of badly mixed air do. The bar "
    "is wider for it, but how long such puffs last is not well known from fewer than some 40 readings: it may still be "
    "some 10 to 20 % too narrow. A mixing fan, and longer samples, help.",
)
RUNS_DIFFER = FlagMeaning(
    "runs differ",
    "warning",
    "Runs of one kind differ by more than their own errors explain: places of the room do not fall together, or "
    "something was not the same. What they scatter is in the bar; few runs tell it badly.",
)
WINDOW_MATTERS = FlagMeaning(
    "rate depends on the window",
    "warning",
    "Without the first or the last fifth of the window the rate moves by more than its error bar: it is not a single "
    "fall. Look at the readings over time, and state a mixing_time or an end that a reason can be given for.",
)
FLOOR_ASSUMED = FlagMeaning(
    "floor assumed",
    "warning",
    "Nothing is told of the level that a run falls to, and it does not fall far enough to show it: that level was "
    "taken to lie anywhere between 0 and 20 % of the first. Count the air of the room before particles are added, "
    "cleaner as in the run, and name it as its background.",
    "own judgement, no source",
)
FLOOR_OFF = FlagMeaning(
    "floor not as measured",
    "warning",
    "The tail of a run shows another floor than the one told for it, by more than three standard errors. With the "
    "cleaner on, the floor is lower than in the room without it; outdoor air may have changed.",
)
FLOOR_ABOVE = FlagMeaning(
    "background above the run",
    "alarm",
    "The background told for a run is more than what the run begins with: it is that of another run or counter, or was "
    "counted after particles had been added. No rate can be told with it.",
)
FLOOR_NONE = FlagMeaning(
    "nothing in the background",
    "warning",
    "No particle of a size was counted in the background, and the tail of the run shows more: the counter still had "
    "its zero filter, or too little air was counted.",
)
RISES = FlagMeaning(
    "particles rise",
    "alarm",
    "The particles of a run become more, by more than its error bar: the times run backwards, particles were still "
    "being added, or a window was opened. No clean-air rate follows from it.",
)
FEW_ROWS = FlagMeaning(
    "too fast for the sampling",
    "warning",
    "Fewer than 8 readings lie in the time in which the particles fall to a tenth: this room, with this interval "
    "between readings, cannot tell so high a rate well. Read more often, or take a larger room.",
    "own judgement, no source",
)
HARDLY_ROWS = FlagMeaning(
    "far too fast for the sampling",
    "alarm",
    "Fewer than 4 readings lie in the time in which the particles fall to a tenth: nothing is left to show that it is "
    "a single fall. Read more often, or take a larger room.",
    "own judgement, no source",
)
ROUGH = FlagMeaning(
    "rate less sure than a chamber test allows",
    "note",
    "The standard error of a rate is more than a chamber test accepts: 0.12 an hour for the natural decay, 0.48 with "
    "the cleaner.",
    "IEC 63086-2-1:2024 (read on a secondary page; that it is the standard error of the slope: from memory)",
)
STRONG = FlagMeaning(
    "cleaner strong for its room",
    "warning",
    "The clean-air rate is more than 26.8 volumes of the room an hour (450 cfm in a chamber of 1008 ft3): beyond what "
    "such a chamber is meant for. A room of 28 m3 understated one such cleaner by 28 to 55 % against one of 202 m3. "
    "Take a larger room.",
    "AHAM AC-3-2009, range of measurement (about 600 cfm, 35.7 volumes an hour, in AC-1-2020: from memory); Indoor "
    "Environments 3(2), 100165 (abstract)",
)
NOT_TOLD = FlagMeaning(
    "not told from the natural decay",
    "warning",
    "The error bar of a clean-air rate reaches 0: this room does not tell it from what is lost without the cleaner. A "
    "smaller or tighter room, longer runs or a measured background would.",
)
NATURAL_UNLIKE = FlagMeaning(
    "natural decay not alike",
    "warning",
    "The natural decay was not measured with the fan running and the filters out, or the record does not say so. A "
    "running fan stirs the air: more settles on surfaces and more is exchanged than with the unit off, and the "
    "clean-air rate comes out too high. Half of the natural rate, at least 0.1 an hour, was taken as a limit unless "
    "natural_limit states one.",
    "own judgement, no source",
)
NATURAL_STATED = FlagMeaning(
    "natural decay stated, not measured",
    "warning",
    "No run without the cleaner was made; what the room loses by itself is a stated figure, with its ±.",
)
WINDOWS_CHANGED = FlagMeaning(
    "air exchange changed",
    "alarm",
    "Windows or doors were not the same in all runs: the exchange of air does not cancel, and nothing here knows how "
    "much it changed. Repeat the runs, or state natural_limit from a tracer gas.",
)
VOLUME_GROSS = FlagMeaning(
    "volume between the walls",
    "warning",
    "Of the room's volume nothing is taken off for what stands in it. Up to 10 % was taken: 5 % less than between the "
    "walls, with 5 % as a limit. State taken_up or net_volume.",
    "own judgement, no source",
)
NOT_COUNTED = FlagMeaning(
    "number of particles not known",
    "note",
    "Without the volume of a sample it is not known how many particles were counted: how far readings scatter is told "
    "by the readings alone, and all count alike in the logarithm.",
)
HALF_LIFE = FlagMeaning(
    "half-life read off",
    "warning",
    "A rate is from a stated half-life: whether the fall was one decay, and to which floor, cannot be seen. A floor "
    "that was not taken off makes a rate too low. ln 2 over the half-life is used; a formula in whole minutes is 2 to "
    "3.5 % lower.",
)
NOTHING_TOLD = FlagMeaning(
    "no clean-air rate",
    "alarm",
    "No size has a clean-air rate: each was left out, for the reasons told beside it.",
)
CHANNEL_LEFT_OUT = FlagMeaning(
    "size left out",
    "warning",
    "A size has no clean-air rate: too few particles were counted in one of the runs, or its readings tell no fall.",
)
SLOWER_WITH = FlagMeaning(
    "slower with the cleaner",
    "alarm",
    "The room cleared more slowly with the cleaner than without it, by more than the error bar: look whether the files "
    "of the runs, or their words on and off, were exchanged. A clean-air rate below zero means nothing.",
)
FLAGS = (
    SLOWER_WITH, RISES, FLOOR_ABOVE, FLOOR_NONE,
    ABOVE_COUNTER, NEAR_COUNTER, NOT_ONE_DECAY, FOLLOWING, RUNS_DIFFER, WINDOW_MATTERS, FLOOR_ASSUMED,
    FLOOR_OFF, FEW_ROWS, HARDLY_ROWS, ROUGH, STRONG, NOT_TOLD, NATURAL_UNLIKE, NATURAL_STATED, WINDOWS_CHANGED,
    VOLUME_GROSS, NOT_COUNTED, HALF_LIFE, NOTHING_TOLD, CHANNEL_LEFT_OUT,
)  # fmt: skip
CAUSES = (
    CauseMeaning(
        "counting in a run",
        "Particles come by chance: the error of a rate from the raw counts of one channel in one run, by the variance "
        "that counting has at the fitted curve. More particles or longer samples make it smaller.",
        "Poisson distribution",
    ),
    CauseMeaning(
        "size limits",
        "The channels of a counter may begin at other sizes than they are named by, and a cleaner holds larger "
        "particles back better: the rate told for a size is off by how it grows with size. A calibrated counter makes "
        "it smaller.",
        "ISO 21501-4:2018 (from memory), where the counter's size_error is not stated",
    ),
    CauseMeaning(
        "scatter of readings",
        "What readings of a run scatter about the fitted fall beyond counting, as a share of each, until chi square is "
        "its degrees of freedom; its correlation from a reading to the next is in it. Better mixing makes it smaller.",
        "own choice of its degrees of freedom, held by a study of coverage",
    ),
    CauseMeaning(
        "counting of the background",
        "How well the level was counted that a run falls to. More samples of it make it smaller.",
    ),
    CauseMeaning(
        "background",
        "How far that level may have moved between its count and the run: background_limit, or half of floor_at_most.",
        "20 % where nothing is stated: own judgement, no source",
    ),
    CauseMeaning(
        "floor assumed",
        "Nothing is told of the level that a run falls to, and the run does not show it: anywhere from 0 to 20 % of "
        "its first level. A background that is counted takes its place.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "clock",
        "How far the intervals between readings may be off (clock_limit): both rates of one counter by the same share.",
        "0.5 % where nothing is stated: own judgement, no source",
    ),
    CauseMeaning(
        "what runs differ by",
        "Repeats, or places of the counter, whose rates scatter by more than their own errors: the rest of their "
        "variance, over their number, with a degree of freedom for each but one.",
    ),
    CauseMeaning(
        "air exchange and settling unlike in the two runs",
        "What is lost beside the cleaner is taken to be the same with it on and off. How far it may not be is "
        "natural_limit; else a tenth of the natural rate, and half of it where the runs were not alike.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "imperfect mixing",
        "The place of the counter may not fall as the room does: mixing_limit, a share of the clean-air rate, the same "
        "for all sizes. A mixing fan, and several places, make it smaller.",
        "3 % with a mixing fan: own judgement; 16 % without: Indoor Environments 3(2), 100165 (abstract)",
    ),
    CauseMeaning(
        "net volume of the room",
        "The ± of the volume of the air. It is one error of both rates and of every size: no repeat averages it away. "
        "Records that name the same room share it.",
    ),
    CauseMeaning(
        "what stands in the room",
        "Nothing was taken off the volume between the walls: from 0 to 10 % of it.",
        "own judgement, no source",
    ),
)
