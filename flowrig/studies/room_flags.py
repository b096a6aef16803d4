"""Findings about a room, its cleaners and its targets."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

EXACT = FlagMeaning(
    "taken as exact",
    "warning",
    "A value of the room was written without a ±, and is taken as known exactly; the message says which. The error bar "
    "holds nothing of it. Write what it may be off by.",
)
PERFECT_MIXING = FlagMeaning(
    "perfect mixing assumed",
    "warning",
    "The air of the room is taken as perfectly mixed, and the cleaners to work on all of it. Behind furniture, in "
    "corners and next to their own outlets they do less: a decay in the room itself tells by how much, in the field "
    "mixing of [room]. A rate by decay has what its own room did to the cleaner in it already.",
)
NOT_ACHIEVABLE = FlagMeaning(
    "not achievable",
    "alarm",
    "No number of such units meets the target with the confidence asked for; the message says why. Where one unit may "
    "add no clean air at all, measure it better, or take another.",
)
TOO_MANY = FlagMeaning(
    "more units than allowed",
    "alarm",
    "The target takes more units than most_units, or than there is room for where it is left out. With these the room "
    "stays above it, or short of it; the table says by how much.",
    "4, or one for every 10 m3 of air where that is more: own judgement, no source",
)
TOO_FAST = FlagMeaning(
    "not achievable in a well-mixed room",
    "alarm",
    "The target takes more than 30 air changes an hour from the cleaners. The equations go on, but no room is well "
    "mixed at that rate, and none is pleasant in its draught and noise. The words of the target say what makes it so: "
    "for a level what enters, which is to be kept out first (windows, cracks, outdoor air without a filter, the "
    "source); for guidance what it asks of a room of this size.",
    "30 an hour: own judgement, no source",
)
ON_EDGE = FlagMeaning(
    "number on the edge",
    "note",
    "The probability of the number told, or of one fewer, lies so near to the confidence that further draws might tell "
    "the other. Take the larger.",
)
LOST = FlagMeaning(
    "draws without a balance",
    "alarm",
    "In some draws of the errors the balance of the room has no meaning, as an air change below zero has none; they "
    "count as not met. State limits that stay above zero.",
)
PARTICLES_APART = FlagMeaning(
    "rate of other particles",
    "alarm",
    "The clean-air rate is of other sizes of particles than the target. Smoke is below 1 um, where filters hold back "
    "least and lose most with their charge: a rate for larger particles promises too much. Measure it at the sizes of "
    "the target.",
)
PARTICLES_PARTLY = FlagMeaning(
    "rate of partly other particles",
    "warning",
    "The clean-air rate is of sizes of particles that are only in part those of the target, or begin above its "
    "smallest. Smaller particles are held back less: the rate may promise too much.",
)
PARTICLES_UNKNOWN = FlagMeaning(
    "particles not compared",
    "warning",
    "Of which particles the clean-air rate is, or the target, is not said in words that can be compared. A rate holds "
    'for its own sizes alone: write them, as "0.3 to 1 um".',
)
FROM_300 = FlagMeaning(
    "smoke range from 0.3 um",
    "note",
    "Handheld counters see particles from 0.3 um on. Most particles of smoke, by number, are smaller, and what is "
    "between is taken to be held back as those that are seen.",
)
GUIDANCE_SIZES = FlagMeaning(
    "sizes of the guidance not stated",
    "note",
    "Guidance on infection is told in clean air, and which particles it is to be clean of does not stand in the "
    "record: the rates of the cleaners are taken as they are. Write particles in the table of the target to have them "
    "compared.",
)
FROM_MEMORY = FlagMeaning(
    "target from memory",
    "warning",
    "The published target is from memory and was not confirmed in the standard. Look it up before anything is decided "
    "by it.",
)
NO_SOURCE = FlagMeaning(
    "target without a source",
    "note",
    "The record does not say where the number of the target is from.",
)
SMOKE_BLOWN_IN = FlagMeaning(
    "outdoor air brings smoke",
    "warning",
    "Outdoor air that a fan blows in counts towards guidance on infection, and in smoke it brings in what its filter "
    "lets through. The two targets pull different ways: less outdoor air against smoke takes more cleaners against "
    "infection. Do not shut it off without whoever is responsible for the building.",
)
INDOORS_ALREADY = FlagMeaning(
    "target met without cleaners",
    "note",
    "The level is below the target without any cleaner, with the values as they are stated.",
)
OTHER_SIZES_ASSUMED = FlagMeaning(
    "assumed for other particles",
    "warning",
    "Penetration or deposition was assumed, and what is assumed holds for particles below 1 um. The target is of "
    "others: large particles settle more than ten times as fast. State the two.",
    "deposition above 10 um 5.2 1/h: doi 10.1016/j.atmosenv.2003.09.012",
)
FLUE = FlagMeaning(
    "air blown out beside a flue",
    "alarm",
    "A unit that blows air out of a room draws it below the pressure of its surroundings, and flue gas back from "
    "appliances that burn something. Do not run it so. Have the appliance and the room tested by trained people, and "
    "have a carbon-monoxide alarm.",
    "US EPA guidance on combustion appliances; depressurisation tests are for trained people",
)
FLUE_UNKNOWN = FlagMeaning(
    "combustion appliances not said",
    "note",
    "Whether an appliance with a flue is in the room, or air way to it, was not said. A cleaner that stands free in "
    "the room changes no pressure; one in a window, or ducted, can draw flue gas back.",
    "US EPA guidance on combustion appliances",
)
RETURN_LEAKS = FlagMeaning(
    "leaks of the return outweigh the filter",
    "alarm",
    "What leaks into the return duct brings in more than the better filter takes out: with it, and the fan's added "
    "runtime, the level in the building rises. Have the ducts sealed first.",
)
LOSES_FLOW = FlagMeaning(
    "better filter takes much of the flow",
    "warning",
    "The better filter takes more than a fifth of the flow. Heating and cooling need their flow too: have it checked "
    "by whoever looks after them.",
    "a fifth: own judgement, no source",
)
MUCH_AIR = FlagMeaning(
    "more air than rooms have",
    "warning",
    "A flow changes the air of the room more than 20 times an hour, which few rooms have: look at its unit, and "
    "whether the room is the one that it goes through. Beyond 200 it is refused.",
    "own judgement, no source",
)
BEYOND_MIXED = FlagMeaning(
    "more clean air than stays mixed",
    "warning",
    "With these units the air of the room is cleaned more than 30 times an hour. The equations go on, but no room is "
    "well mixed at that rate: the level and the minutes that are told are the best there could be.",
    "30 an hour: own judgement, no source",
)
CROWDED = FlagMeaning(
    "little air for so many",
    "warning",
    "The room has less than 2 m3 of air for each person: look at the number of persons and at the volume.",
    "own judgement, no source",
)
TOO_LOUD = FlagMeaning(
    "louder than allowed",
    "warning",
    "So many units together are louder than most_sound in [room], each at the distance at which the level of one was "
    "found: their energies add. More or larger units at a lower speed are quieter; a test there tells the rate.",
    "energy sum; any textbook of acoustics",
)
SOUND_UNKNOWN = FlagMeaning(
    "sound not known",
    "note",
    "How loud the units are together is not known: of one of them no level is stated or measured, or levels were found "
    "at different distances. Whether they stay below most_sound cannot be said.",
)
MORE_IN_TEST = FlagMeaning(
    "more said by its test",
    "note",
    "The test or prediction of a cleaner has further warnings that are not about the clean-air rate taken here: of its "
    "watts or its sound, of a class, of other sizes of particles. flowrig reduce, or flowrig predict, shows them.",
)
FLAGS = (
    EXACT,
    PERFECT_MIXING,
    NOT_ACHIEVABLE,
    TOO_MANY,
    TOO_FAST,
    ON_EDGE,
    LOST,
    PARTICLES_APART,
    PARTICLES_PARTLY,
    PARTICLES_UNKNOWN,
    FROM_300,
    GUIDANCE_SIZES,
    FROM_MEMORY,
    NO_SOURCE,
    SMOKE_BLOWN_IN,
    INDOORS_ALREADY,
    OTHER_SIZES_ASSUMED,
    FLUE,
    FLUE_UNKNOWN,
    RETURN_LEAKS,
    LOSES_FLOW,
    MUCH_AIR,
    BEYOND_MIXED,
    CROWDED,
    TOO_LOUD,
    SOUND_UNKNOWN,
    MORE_IN_TEST,
)
