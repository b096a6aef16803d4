"""Words of the results that are declared nowhere else, for `flowrig explain`."""

from __future__ import annotations

from flowrig.report.word import Word

WORDS = (
    Word(
        "actual flow",
        "Volume of air a time, at the temperature, pressure and humidity of the air at a named station. "
        "The same mass of air is more cubic metres where it is warmer or higher up.",
    ),
    Word(
        "standard flow",
        "The mass flow divided by a standard density, 1.2 kg/m3 unless another is named: what the "
        "volume would be in standard air. For comparing, not for sizing a duct.",
    ),
    Word("mass flow", "Kilograms of moist air a time; the same at every station of a rig that does not leak."),
    Word(
        "station",
        "A place whose air is described: meter (where the flow is measured), unit (at the cleaner or fan "
        "under test), room.",
    ),
    Word(
        "interval",
        "The range that holds the true value with the stated coverage, as far as what the record says is "
        "true. Half of it is the expanded uncertainty.",
    ),
    Word("half-width", "Half of the interval as a share of the flow: the expanded uncertainty in per cent."),
    Word(
        "floor",
        "Of a plan: what would be left of the half-width if every reading, every stated ± and every run were perfect. "
        "It is the error of the method's own equations and corrections and of its calibrations.",
    ),
    Word(
        "prediction",
        "What a cleaner that is not built yet would do: a record with a table [predict], which names the record of a "
        "fan, and with [[filters]], which name those of filters. `flowrig sheet prediction` writes blank ones.",
    ),
    Word(
        "crossing",
        "A flow at which the pressure of a fan and the drop of its bank are the same. It is stable where, at a little "
        "more flow, the bank takes more than the fan gives: only there does a fan stay.",
    ),
    Word(
        "present value",
        "What payments of several dates are worth today: each divided by one plus the discount rate, once for every "
        "year until then. Residual value is taken off. Real rates go with money of today, nominal ones with money as "
        "it is paid; inflation turns one into the other, and both give the same present value.",
    ),
    Word(
        "cost of clean air",
        "Of options to be owned: the price at which their clean air would just pay for them, present value over the "
        "air of all years, which is discounted too (levelised cost). In real money it is a price of today; in nominal "
        "money one that stays the same as it is paid. Of a prediction: what a set of filters costs over the air it "
        "cleans.",
        ("levelised cost", "clean air cost"),
    ),
    Word(
        "lifetime-mean clean air",
        "Clean-air rate of all units of an option together, as the mean from new filters to their change.",
    ),
    Word(
        "clean air of new filters",
        "Of an option of which nobody tells how its clean air falls while the filters load: what it gives at the "
        "start, which is more than the mean over their life. Whatever rests on it is marked; state mean_over_life or "
        "end_of_life_share.",
    ),
    Word(
        "left out",
        "What an option may cost and nobody stated: it counts as nothing. State 0 where it truly costs nothing, and it "
        "is no longer listed.",
    ),
    Word("present value, annualised", "The same sum at the end of every year that has that present value."),
    Word(
        "present value, in part units",
        "What just the clean air that is needed would cost if a part of a unit could be had: the present value, times "
        "what is needed over what is delivered.",
    ),
    Word(
        "costs meet after",
        "When the option that was the dearer at first has cost no more than the other: the median of the draws in "
        "which that comes about, with their interval; how often it does not stands beside it.",
    ),
    Word(
        "cheaper at first",
        "Of two options the one that has cost less at the beginning; from when on the other has cost no more is the "
        "discounted payback time. It is the first such time: a later payment may turn the order again, which the "
        "present values tell.",
    ),
    Word(
        "at each end of its range",
        "How far a difference moves if one number is at the ends of its range and every other at its middle: which "
        "range is worth narrowing. A plain ± or a range goes to its limits, all else to its interval.",
    ),
    Word(
        "probability of being cheaper",
        "Share of draws of all stated ranges in which one option costs less than the other. It is as good as the "
        "ranges are; what both options share, a tariff or the hours, is the same in both in every draw.",
    ),
    Word(
        "confidence",
        "Of a number of units: the probability that so many meet a target, by draws of everything that is not known "
        "exactly. It is that of one side of an interval, 97.5 % where the coverage is 95 %: so many still meet the "
        "target at the lower bound. On the mean means with every value as it is stated, which by itself may be little "
        "more than an even chance.",
    ),
    Word("coverage", "Probability that the interval holds the true value; 95 % unless --coverage says otherwise."),
    Word("standard uncertainty", "One standard deviation of what the result may be off by, all causes together."),
    Word(
        "degrees of freedom",
        "How well the uncertainty itself is known: few readings, few degrees, and a wider "
        "interval for the same scatter (Student's t). Not shown above 1000.",
    ),
    Word("dof", "Degrees of freedom; see there."),
    Word(
        "rectangular",
        "A limit with hard ends: anywhere between them is as likely as anywhere else. Its standard uncertainty is the "
        "half-width over the root of three.",
    ),
    Word("scope", "How widely one error is shared: by a calibration, a set-up, a reading, or every use of a method."),
    Word(
        "log-tchebycheff",
        "A rule that places the probe so that the plain mean of its readings is the mean over the plane, given a "
        "profile that falls off to the walls as a logarithm.",
    ),
    Word("log-linear", "A rule of the same kind for round ducts, with two points on each ring of equal area."),
    Word("equal-area", "A rule that reads the middle of equal areas; near walls it reads 2 to 4 % high."),
    Word("linear", "The interval is value ± factor × standard uncertainty, from the slope of the equation."),
    Word(
        "counts",
        "The interval is from exact limits of counts of particles, widened by what else is not known: it may lie to "
        "one side of the value, and where nothing came through it has one end alone.",
    ),
    Word(
        "Monte Carlo",
        "The interval is from many random draws of every cause of error, taken where the linear one "
        "would not be honest, or where --samples asks for it.",
    ),
    Word(
        "share",
        "A cause's part of the variance (the squared uncertainty). Halving a cause of 80 % nearly halves the "
        "error bar; removing one of 5 % changes nothing to speak of.",
    ),
    Word("alarm", "A flag: the number should not be used before this is dealt with."),
    Word("warning", "A flag: this may move the result by as much as its error bar."),
    Word("note", "A flag: an assumption or a fact to know."),
    Word("pass", "Once through all points of a traverse. Three or more passes tell the scatter."),
    Word("row", "A test in a table given with --rows; in a CSV fault, a line of the file, the header counted."),
    Word(
        "time column",
        "A log's time is taken from a column named time, timestamp, date or clock, or one with a unit "
        'of time; another is named with columns = { time = "its header" }. It shows gaps.',
    ),
    Word(
        "decimal comma",
        "A CSV with semicolons or tabs between the cells may have decimal commas. A record has decimal points.",
    ),
    Word(
        "E_n",
        "A difference of two measurements over its expanded uncertainty (95 % unless --coverage says otherwise, always "
        "from the linear evaluation). Beyond 1 either way they differ by more than their error bars explain. It is "
        "worked out twice: with what both share cancelled, and (E_n*) as if they shared nothing.",
    ),
    Word("agree", "Of two measurements of one flow: E_n is within 1, whether what they share cancels or not."),
    Word(
        "combined flow",
        "One flow from measurements that all agree with each other: their weighted mean, with the weights of the least "
        "uncertainty, what they share counted once. Each measurement is weighed as if it had shown the combined flow, "
        "since a shared error in per cent would otherwise favour the lowest. No narrower because they agree well.",
    ),
    Word(
        "weight",
        "Share of a measurement in the combined flow; all add up to 100 %. One that adds nothing is left out.",
    ),
    Word(
        "chi-square",
        "How far measurements lie from their combined flow, in squared standard uncertainties; about as much as there "
        "are measurements less one is usual. In the JSON only.",
    ),
    Word(
        "claim",
        "What a nameplate, label or data sheet states, written into [claims] and held against what was measured. A "
        "nameplate flow is usually for free air: measured behind filters it is less, and nothing is wrong.",
    ),
    Word(
        "at most",
        "Only a limit is known: the true value is no more than that, with the stated coverage, and may be much less. "
        "Volt-amperes limit watts so, and a level with its background near limits that of the unit.",
    ),
    Word(
        "apparent power",
        "Volts times amperes, in VA: what a meter shows that cannot tell when in each cycle they flow. True watts are "
        "no more than that, and the power factor is how much of it they are.",
        ("volt-amperes",),
    ),
    Word(
        "sound power level",
        "What a unit sends out to all sides, in decibels re 1 pW: it belongs to the unit, as a level belongs to a "
        "distance and a room. Levels elsewhere follow from it.",
        ("sound_power",),
    ),
    Word(
        "clean-air rate",
        "Flow times the share of particles held back in one pass: the flow of clean air that would take as many "
        "particles out of a room. It is one of a range of sizes and says which. Flow times an ePM is none, for an ePM "
        "weighs particles by their volume.",
        ("clean_air", "clean air"),
    ),
    Word(
        "E1, E2, E3",
        "Average efficiency from 0.3 to 1, 1 to 3 and 3 to 10 um: plain means over four channels of ANSI/ASHRAE 52.2 "
        "each, the efficiency taken between the counter's own channels. Counts have no say in it. The average in a "
        "clean-air rate is over the logarithm of size and may differ from it by a point or so.",
        ("E1", "E2", "E3"),
    ),
    Word(
        "like class",
        "Which class of a published table the three averages of this test would meet, with the probability of each. No "
        "rating: a class comes of a test with steps of loading, in each of which the least efficiency counts.",
    ),
    Word(
        "at least",
        "Nothing came through: what is told is the limit on one side that counting leaves, with the coverage of the "
        "result. The other numbers have an interval of two sides.",
    ),
    Word("gauge pressure", "Pressure against the room: what a manometer with one open port shows."),
)
