"""What may be found of particle counts, and what makes them unsure. `flowrig explain` prints these words."""

from __future__ import annotations

from flowrig.records.causes import CauseMeaning
from flowrig.records.declare import FlagMeaning

LOSS = FlagMeaning(
    "coincidence loss",
    "warning",
    "A counter missed more than 5 % of the particles, because two came at once. It was put back, with half of the "
    "dead time as its limit; that two small particles are taken for a large one is not undone. Thinner air before the "
    "filter, or a diluter, removes it. It makes a filter look worse over all sizes; in one channel it can go either "
    "way.",
    "threshold: own judgement; ISO 21501-4 allows 10 % at the maximum concentration (from memory)",
)
OVER_MOST = FlagMeaning(
    "above the counter's maximum concentration",
    "alarm",
    "A sample held more particles than the counter is made for, or than any true concentration would make it show: a "
    "flooded counter shows fewer again. Its counts cannot be put right.",
)
NEAR_MOST = FlagMeaning(
    "near the counter's maximum concentration",
    "warning",
    "A sample held more than half of the particles up to which the counter can be used; field guidance is to dilute "
    "from there on.",
    "ASHRAE Guideline 26-2008, as quoted in its project's slides",
)
NO_MOST = FlagMeaning(
    "coincidence not looked at",
    "note",
    "Neither a maximum concentration nor a dead time of a counter is stated, so that nothing tells whether two "
    "particles at once were counted as one. It stands on the data sheet.",
)
NO_ZERO = FlagMeaning(
    "false counts not measured",
    "note",
    "No run through a zero filter: what a counter shows in clean air, or leaks in, is not taken off. Count some "
    "minutes with a zero filter on the inlet, run = 'zero'.",
)
FEW_NO_ZERO = FlagMeaning(
    "few counts, false ones not measured",
    "warning",
    "In a channel with fewer than ten counts behind the filter all of them may be false, as no zero filter was "
    "counted: no lower limit of what it lets through is claimed there, the upper one stands.",
)
MANY_FALSE = FlagMeaning(
    "mostly false counts",
    "warning",
    "More than half of what was counted in a channel behind the filter, or before it, is what the counter shows "
    "through a zero filter. The rest is a small difference of two counts; where nothing is left before the filter, "
    "the channel tells nothing.",
)
NOTHING = FlagMeaning(
    "nothing came through",
    "note",
    "No particle was counted behind the filter in a channel. The efficiency is not 100 %: it is at least the limit "
    "told, one-sided, for as many as were counted before the filter.",
)
NONE_BEFORE = FlagMeaning(
    "nothing to hold back",
    "warning",
    "No particle of a channel was counted before the filter, or none more than through a zero filter, or none in the "
    "run with no filter: it tells nothing there. Count longer, or join channels.",
)
BELOW_ZERO = FlagMeaning(
    "efficiency below zero",
    "note",
    "More particles were counted behind the filter than before it in a channel. It is kept as measured: of a filter "
    "that holds back next to nothing half of all results are so. Where the whole interval lies below zero, look for a "
    "leak of the tube, dust from the filter, or channels that two counters cut differently.",
)
SHOWS_NOTHING = FlagMeaning(
    "a counter shows nothing",
    "alarm",
    "A counter counted nothing at all before the filter, where there are particles: it was off, blocked, or still had "
    "its zero filter. Nothing can be told from its samples.",
)
NEVER_SEEN = FlagMeaning(
    "a counter never seen counting",
    "alarm",
    "A counter that stood behind the filter alone counted nothing in any sample: a filter that lets nothing through "
    "and a counter that is off or blocked look alike. Swap the counters, or count some minutes with it in the room "
    "(run = 'beside each other').",
)
FEW_ZERO = FlagMeaning(
    "few minutes with the zero filter",
    "note",
    "What false counts leave open in a channel is more than counting behind the filter does: the samples through the "
    "zero filter hold too little air. Count with it for as long as behind the filter.",
)
MORE_BEHIND = FlagMeaning(
    "more behind than before",
    "alarm",
    "Every channel that tells anything has more particles behind the filter than before it: look whether upstream and "
    "downstream were exchanged. No clean-air rate and no class follows from such counts.",
)
BELOW_NOTHING = FlagMeaning(
    "efficiency above 100 %",
    "note",
    "Less came through in a channel than false counts would have made: the difference of two small counts. It is kept "
    "as measured.",
)
NOT_WHOLE = FlagMeaning(
    "counts not whole",
    "warning",
    "What a counter shows for a volume is no whole number of counts in its samples as stated. Limits of counts belong "
    "to raw counts: they were made for the nearest whole numbers and are approximate. Check sample_flow and "
    "sample_time, and whether the counter shows means of several samples.",
)
SMALLER = FlagMeaning(
    "sample smaller than stated",
    "warning",
    "All counts of a counter would be multiples of one number, which is no chance: it counted in less air than stated "
    "and multiplied. Raw counts were taken to be that many times fewer, which makes limits wider. Check sample_time.",
)
ONE_SAMPLE = FlagMeaning(
    "one sample behind the filter",
    "warning",
    "Nothing tells how samples scatter beyond counting, which in a room they usually do: the bar is that of counting "
    "and of the counter alone. Take five pairs or more, in turn.",
)
FEW_SAMPLES = FlagMeaning(
    "few samples",
    "note",
    "Fewer than five samples behind the filter say little of their own scatter; intervals are widened accordingly.",
)
NO_AGREEMENT = FlagMeaning(
    "samples do not agree",
    "alarm",
    "Samples of a run differ so much that a ratio of the two sides says nothing, whatever the counts: doors, traffic, "
    "a tube that came off, rows under the wrong place or run. Look at the table before anything else.",
    "half of the ratio and more: own judgement, no source",
)
BURST = FlagMeaning(
    "channel scatters by itself",
    "warning",
    "Counts of a channel scatter more than counting and the fluctuation of all channels explain, by less than one "
    "chance in a hundred: dust that comes off in bursts, a draught, a wrong cell. Its limits are widened.",
)
DRIFT_UNTOLD = FlagMeaning(
    "drift not told",
    "note",
    "With a single sample before the filter, or too few counts in them, a drift of the room's air is not seen and not "
    "taken out.",
)
OUTSIDE = FlagMeaning(
    "sample not between two",
    "note",
    "A sample behind the filter was taken before the first or after the last one upstream: the drift was carried on to "
    "it. Begin and end upstream.",
)
POINTS_DIFFER = FlagMeaning(
    "points differ",
    "warning",
    "Points of the outlet let through different shares, by more than counting explains: a gap on one side, or a point "
    "outside the jet that draws in room air. How far the mean over them is unsure is in the bar.",
)
NO_VELOCITY = FlagMeaning(
    "points not weighted",
    "note",
    "Samples were taken at several points of the outlet without a velocity at each: all count alike. Where air is "
    "fast it carries more.",
)
NOT_SWAPPED = FlagMeaning(
    "counters not swapped",
    "warning",
    "One counter stood before the filter and another behind it all along. What each sees of the particles, and where "
    "it cuts its channels, does not cancel: the bar holds what their standard allows. Swap them halfway, or count the "
    "same with no filter.",
)
NOT_ALIKE = FlagMeaning(
    "run with no filter not used",
    "warning",
    "The counters did not stand on the same sides with no filter as with it, so that what they see and what the tubes "
    "lose does not cancel: the run with no filter was left out. Take both in the same way.",
)
NOT_FLUSHED = FlagMeaning(
    "tube not flushed",
    "warning",
    "The counter drew less than five times the tube's volume before a sample was begun: air of the place before is in "
    "it.",
    "five volumes: common practice, no source",
)
FLUSH_UNKNOWN = FlagMeaning(
    "flushing not told",
    "note",
    "Length and inside diameter of the tube and the waiting time are not stated: whether a sample holds air of the "
    "place before is not known. Five volumes of the tube are usual (common practice, no source).",
)
HUMID = FlagMeaning(
    "humid air",
    "warning",
    "Above 60 % relative humidity particles take up water and grow, and a filter's warm air shrinks them again: sizes "
    "are not those of dry particles, and differ before and behind.",
    "60 %: common practice, no source",
)
NO_ASPIRATION = FlagMeaning(
    "aspiration not in the bar",
    "note",
    "Large particles do not follow the air into a tube that stands across it or draws at another speed. How much that "
    "may change the ratio is not stated and not in the bar of channels from 1 um on: state aspiration_limit.",
)
BYPASS_DIFFERS = FlagMeaning(
    "bypass differs by size",
    "warning",
    "The share that goes round the filter differs from channel to channel by more than its bars: large particles do "
    "not follow the air through narrow gaps, or something else changed between the runs.",
)
COUNTERS_DIFFER = FlagMeaning(
    "counters differ",
    "note",
    "Beside each other the two counters do not show the same, by more than chance. Nothing was corrected by it.",
)
FLAGS = (
    LOSS, OVER_MOST, NEAR_MOST, NO_MOST, NO_ZERO, FEW_NO_ZERO, MANY_FALSE, NOTHING, NONE_BEFORE, BELOW_ZERO,
    SHOWS_NOTHING, NEVER_SEEN, FEW_ZERO, MORE_BEHIND,
    BELOW_NOTHING, NOT_WHOLE, SMALLER, ONE_SAMPLE, FEW_SAMPLES, NO_AGREEMENT, BURST, DRIFT_UNTOLD, OUTSIDE,
    POINTS_DIFFER, NO_VELOCITY, NOT_SWAPPED, NOT_ALIKE, NOT_FLUSHED, FLUSH_UNKNOWN, HUMID, NO_ASPIRATION,
    BYPASS_DIFFERS, COUNTERS_DIFFER,
)  # fmt: skip
CAUSES = (
    CauseMeaning(
        "counting",
        "Particles come by chance: so many scatter by their root, each channel by itself. Counts of few have "
        "exact limits instead, which are what the interval is made of. More counts make it smaller: longer samples, "
        "or more.",
        "F. Garwood, Biometrika 28 (1936) 437",
    ),
    CauseMeaning(
        "scatter of the samples",
        "How far samples of a run differ beyond counting, as one relative fluctuation of all channels: the room's air "
        "is never quite mixed. Its size already holds what Student's t asks for. More samples in turn make it "
        "smaller.",
        "own convention; chi square of counts about their ratio",
    ),
    CauseMeaning(
        "points of the outlet",
        "How far the points of the outlet differ beyond counting, as the error of their mean. More points make it "
        "smaller.",
    ),
    CauseMeaning(
        "weights of the points",
        "The mean weighed by velocity against the plain one: their difference is the limit.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "drift told by other sizes",
        "A channel with few counts before the filter has the drift of the sizes beside it. That it may drift "
        "differently is a limit, all of the drift taken out; beside it stands the counting error of the others. "
        "Beginning and ending upstream makes it smaller.",
        "own judgement, no source",
    ),
    CauseMeaning(
        "counting of false counts",
        "Counts through a zero filter are few and known as such. More minutes with a zero filter make it smaller.",
        "F. Garwood, Biometrika 28 (1936) 437",
    ),
    CauseMeaning(
        "aspiration of the inlets",
        "The limit stated as aspiration_limit, for channels from 1 um on.",
    ),
    CauseMeaning(
        "size of all limits alike",
        "A counter's limits of size may all lie too high or too low together (size_error, 10 % where nothing is "
        "stated). It moves counts before and behind the filter alike, and only what the filter lets through "
        "differently at other sizes is left; between two counters that were not swapped the whole slope of the "
        "spectrum counts. One error of that counter wherever its serial number and date stand.",
        "ISO 21501-4:2018 (from memory); slope from the counts themselves",
    ),
    CauseMeaning(
        "size of each limit",
        "The same for each limit by itself: what one channel gains its neighbour loses, so that a mean over both "
        "hardly moves. Whether limits err alike is not known; the two together are wide enough for either.",
        "ISO 21501-4:2018 (from memory)",
    ),
    CauseMeaning(
        "counting efficiency",
        "What share of the particles a counter sees: count_error, or from 30 to 70 % at the smallest size and 90 to "
        "110 % above where nothing is stated. It cancels for one counter and for two that change places.",
        "ISO 21501-4:2018 (from memory)",
    ),
    CauseMeaning(
        "sample flow",
        "How far the sample flow of a counter may be off, 5 % where nothing is stated. It cancels for one counter and "
        "for two that change places.",
        "ISO 21501-4:2018 (from memory)",
    ),
    CauseMeaning(
        "dead time",
        "Particles missed because two come at once were put back; half of the dead time is the limit where none stands "
        "beside it. Thinner air before the filter makes it smaller.",
        "own judgement, no source",
    ),
)
