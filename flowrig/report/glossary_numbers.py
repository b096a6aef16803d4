"""Numbers, headings and causes of the reports that are declared nowhere else, for `flowrig explain`."""

from __future__ import annotations

from flowrig.report.word import Word

AVERAGES = (
    "Average efficiency of particles up to 1, 2.5 and 10 um, each size weighed by the volume of its particles in a "
    "published town air (ISO 16890-1, from memory). It belongs to no clean-air rate, and is no rating: the standard "
    "takes the mean of a filter as new and of one discharged."
)

WORDS = (
    Word(
        "bypass",
        "Share of the air that goes round the filter, by gaps between it and its frame. It takes no particles out and "
        "dilutes what the medium does; told by the same test with the seams taped, or by a gap that is stated.",
        ("flow beside the medium", "beside_share"),
    ),
    Word(
        "ePM1, ePM2.5, ePM10",
        AVERAGES,
        ("ePM1", "ePM2.5", "ePM10", "averages over published ranges of size"),
    ),
    Word(
        "smoke, dust and pollen range",
        "Sizes that a published clean-air rate is of: smoke 0.1 to 1 um, dust 0.5 to 3 um, pollen 5 to 11 um "
        "(ANSI/AHAM AC-1, from memory). Where a counter sees a part of a range only, the report says which.",
        ("smoke range", "dust range", "pollen range", "smoke", "dust", "pollen", "CADR"),
    ),
    Word(
        "over-dispersion",
        "Counts that scatter by more than counting particles at random explains: the air or the counter changed "
        "between samples. What is beyond is one more error, and is in the error bar.",
        ("overdispersion", "scatter beyond counting"),
    ),
    Word(
        "coincidence",
        "Two particles in the beam of a counter at once are counted as one, so that it shows too few where there are "
        "many. It is undone by what the maker states of it, on the branch that begins at zero.",
    ),
    Word(
        "where in a channel its particles were",
        "A cause: a channel counts all particles between two sizes, and does not tell which. How the efficiency runs "
        "within it is bounded by its neighbours, and that limit is an error of every average over sizes.",
        ("particles within a channel",),
    ),
    Word(
        "counter over counter",
        "What one counter shows over what the other does in the same air, size by size: taken off each comparison.",
    ),
    Word(
        "particle counts",
        "A part of a record: counts before and behind a filter, by size, and what follows of them.",
    ),
    Word(
        "clean air by decay in a room",
        "A part of a record: how fast particles vanish from a room with the cleaner on, less how fast they do with it "
        "off, times the volume of the room.",
    ),
    Word(
        "decay",
        "Particles of a closed room become fewer by the same share in every minute; that share a time is its rate. The "
        "difference of two rates, with a cleaner on and off, times the volume is its clean-air rate.",
    ),
    Word(
        "room effectiveness",
        "Clean air that a room got by a decay in it, over what the unit gives by flow times efficiency: below 1 where "
        "the cleaner takes in its own clean air again, or the room is not well mixed.",
        ("effectiveness",),
    ),
    Word("mean power", "Electrical power over the hours that are looked at, each with its share of running."),
    Word(
        "electrical power",
        "True power at the socket, in watts: what the bill is by. Volt-amperes are no less than that.",
        ("power_at_most", "power"),
    ),
    Word(
        "power, switched off",
        "Electrical power with the unit plugged in and switched off at its own switch (standby).",
        ("power switched off",),
    ),
    Word(
        "flow for each watt",
        "Flow over electrical power. It is of the air at the unit where that is described, else of the room's, else of "
        "that at the meter, as its name says; clean air for each watt is of the same air.",
        ("flow_per_power", "flow per watt"),
    ),
    Word(
        "clean air for each watt",
        "Clean-air rate over electrical power, what both share counted once: how much clean air a watt buys. Units of "
        "one speed and state may be compared by it, whatever their size.",
        ("clean air per power", "clean air per watt", "clean_air_per_watt", "clean-air rate per watt"),
    ),
    Word(
        "level",
        "A-weighted sound level of the unit alone at the microphone, the background taken off. It belongs to that "
        "distance and that room; twice as many units are 3 dB more.",
        ("total_level", "sound level of all units", "sound, A-weighted", "level of all together"),
    ),
    Word(
        "against one",
        "Level of several cleaners together less that of one as it is.",
        ("against", "level of all together against one"),
    ),
    Word(
        "weighting within a band",
        "A cause: within an octave the A-weighting changes, and a level of the octave does not tell where in it the "
        "sound lies. How far a smooth spectrum would move the level is its limit.",
    ),
    Word(
        "sound power at a grade",
        "A cause: how far several laboratories differ in the sound power of one source, by the grade that places, room "
        "and background come up to (ISO 3744 and ISO 3746, from memory).",
        ("sound power at engineering grade", "sound power at survey grade", "sound power at less than survey grade"),
    ),
    Word(
        "flow through the filters",
        "Of a prediction: the flow at which the fan's pressure and the drop of its filters agree.",
        ("flow of each", "total_flow", "flow of all together"),
    ),
    Word(
        "free-air flow",
        "Flow of a fan with nothing before or behind it: the end of its curve where the pressure is nothing. A "
        "nameplate often states it; with filters there is less.",
        ("free_air", "flow left of free air", "shut_off"),
    ),
    Word(
        "pressure over the bank",
        "Drop of all that stands in the way of the fan at the flow that is told: filters, grilles, ducts and shrouds.",
        ("of it in grilles, ducts and shrouds", "lost"),
    ),
    Word("face velocity", "Flow through a filter over the area of its face, frame left out."),
    Word(
        "flow back at the fan's corners",
        "Air that leaves through the corners of a frame around a round fan and comes back in: it passes the fan and no "
        "filter. A shroud stops it.",
        ("back", "flow back"),
    ),
    Word(
        "clean-air rate, charge lost",
        "The clean-air rate of the same filters once their electrostatic charge is gone: smoke takes it within hours "
        "to weeks, and what is left is what the fibres hold mechanically.",
        ("clean_air_conditioned",),
    ),
    Word(
        "gained by more filters",
        "How much more flow the next design gives than the one before it, what both share cancelled.",
        ("gained",),
    ),
    Word(
        "rise of the winding",
        "By how much a motor's winding is warmer than the room, by what its resistance rose to.",
        ("rise of the winding above the room", "winding_rise", "heat of the motor"),
    ),
    Word(
        "more and slower cleaners",
        "Of a prediction with a table [noise]: how much air several give without more noise than one, each slower, and "
        "how quiet they may be for what is required.",
        ("speed, over that of the fan's curve", "margin", "more than is required"),
    ),
    Word(
        "clean air of all together",
        "Clean-air rate of all units side by side.",
        ("total_clean_air", "delivered", "clean-air rate added", "added"),
    ),
    Word(
        "needed",
        "Of a room: the clean air that its target asks for, or the part of it that other ways do not give.",
        ("clean air for each person",),
    ),
    Word(
        "clean air in a year",
        "Clean air of all units of an option in the hours of a year.",
        ("yearly_air",),
    ),
    Word("flow lost", "Air that leaves by the leaks of a duct before it reaches the room.", ("flow_lost",)),
    Word("stated flow through the unit", "A flow that a record states beside its counts and did not measure."),
    Word(
        "leakage",
        "Air that comes or goes by seams between unit and meter: put back at the density of what leaks.",
        ("± not stated",),
    ),
    Word(
        "largest causes of error",
        "The budget of a number: what it may be off by for each reason, the largest first, with its share of the "
        "variance. `flowrig explain` knows every line of it.",
        ("budget", "share of the variance"),
    ),
    Word(
        "held against each other",
        "Measurements of one flow compared two by two, what they share cancelled, each with a verdict.",
    ),
    Word(
        "about the record",
        "What was found of the record as a whole: of instruments, of files, and of what was assumed.",
    ),
    Word(
        "what each range does",
        "Of options to be owned: how far the difference moves by each stated range alone; see at each end of its "
        "range.",
    ),
)
