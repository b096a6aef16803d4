"""What may be found about a sound measurement."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

BACKGROUND_UNREAD = FlagMeaning(
    "background not read",
    "warning",
    "The level holds whatever else made a noise, and is no less than the unit's own. Switch the unit off, read again "
    "with all else as it was, and write it into background.",
    "ISO 3744:2010 (from memory)",
)
BACKGROUND_NEAR = FlagMeaning(
    "background too near",
    "warning",
    "The background is nearer to the level than the grade allows, so that the correction is capped and what is told is "
    "an upper bound: the unit is no louder than that, and may be much quieter. Measure when it is quieter, or nearer "
    'to the unit; grade = "survey" allows 3 dB in place of 6 dB.',
    "ISO 3744:2010 and ISO 3746:2010 (from memory)",
)
BACKGROUND_ABOVE = FlagMeaning(
    "background above the level",
    "alarm",
    "The background was louder than the level with the unit running: it did not stay the same, and nothing can be "
    "taken off. Measure both again, in turn, while nothing else changes.",
)
BACKGROUND_ONCE = FlagMeaning(
    "background read once",
    "note",
    "One reading of the background does not tell how far it changes. It was taken as uncertain by 1 dB either way; "
    "read it before and after, in turn with the unit.",
    "1 dB: own judgement, no source",
)
BANDS_NEAR = FlagMeaning(
    "background near in some bands",
    "note",
    "In some bands the background is nearer than the grade allows, but they can raise the level by no more than a "
    "decibel. They count with half of what they may be, and all of it is in the error bar.",
    "1 dB: own judgement, no source",
)
IN_JET = FlagMeaning(
    "microphone in the jet",
    "alarm",
    "The microphone stood in the air that the unit blows out. The wind makes a noise of its own in it, by many "
    "decibels, so that the level is an upper bound alone. Move it out of the jet, and read again.",
    "common practice, no source",
)
JET_SCREENED = FlagMeaning(
    "windscreen in the jet",
    "warning",
    "The microphone stood in the outlet jet with a windscreen on it. That takes much of the wind's noise away, and not "
    "all: the unit may be quieter than is told. Read again out of the jet.",
    "common practice, no source",
)
JET_UNSAID = FlagMeaning(
    "jet not said",
    "warning",
    "It is not said whether the microphone stood out of the air that the unit blows out. In it the wind makes a noise "
    'of its own, and the level tells too much. Write microphone = "out of the jet", if it was.',
    "common practice, no source",
)
ONE_PLACE = FlagMeaning(
    "one place of the microphone",
    "warning",
    "A unit does not sound alike to all sides, and in a room not at all places. What is told holds at that place; how "
    "far others differ is not in its error bar. Read at four places or more, and number them in place.",
)
PLACES_APART = FlagMeaning(
    "places far apart",
    "warning",
    "From the quietest to the loudest place are more decibels than there are places: so few of them do not tell the "
    "mean of such a field. Look for a misread digit, or for a jet or a wall beside one of them; else read more places.",
    "ISO 3744:2010 (from memory)",
)
METER_COARSE = FlagMeaning(
    "coarse sound-level meter",
    "warning",
    "The meter's limits of error are above 6 dB, or its last digit is above 1 dB: the level is hardly told. Meters of "
    "class 2 are within about 1.5 dB and show tenths; is there a slipped digit?",
    "class 2: IEC 61672-1:2013 (from memory); limits: own judgement, no source",
)
LEVEL_UNLIKELY = FlagMeaning(
    "level hardly likely",
    "warning",
    "A level below 15 dB is less than most meters and nearly all rooms let one read, and above 110 dB it is a siren: "
    "no air cleaner makes either. Look for a slipped digit.",
    "own judgement, no source",
)
NEAR = FlagMeaning(
    "microphone near the unit",
    "warning",
    "Nearer than half a metre the level belongs to the part of the unit that is next to the microphone, and does not "
    "fall off with the distance as it does further away: sound power, and levels at other places, are not to be relied "
    "on. Measure at twice the largest dimension of the unit, and a metre at least.",
    "ISO 3744:2010 (from memory); half a metre: own judgement, no source",
)
TOO_NEAR = FlagMeaning(
    "distance hardly meant",
    "alarm",
    "A distance of less than 10 cm from the middle of a unit lies inside of it: is its unit right? No sound power and "
    "no level elsewhere is made of it.",
    "own judgement, no source",
)
BANDS_MISSING = FlagMeaning(
    "bands missing",
    "warning",
    "The level from bands leaves out what lies in bands that were not read: the unit is louder than is told where it "
    "sounds there. Octaves from 125 to 8000 Hz hold what a fan has to tell; a hum may lie below.",
    "ISO 3744:2010, range of frequencies (from memory)",
)
OCTAVES = FlagMeaning(
    "weighted by octaves",
    "note",
    "Within an octave the A-weighting changes by up to ten decibels, and a level in octaves does not tell where in it "
    "the sound lies. A smooth spectrum is allowed for in the error bar, a tone near the edge of a low octave is not. "
    "Third-octaves, or the A-weighted level itself, tell it.",
    "IEC 61672-1:2013 (from memory)",
)
POWER_GRADE = FlagMeaning(
    "sound power by grade",
    "note",
    "The sound power follows from levels, a distance and what is said of the room. How far several laboratories differ "
    "with one source is in its error bar as a standard deviation: 1.5 dB at engineering grade, from nine places on and "
    "with no more than 4 dB by the room; 3 dB at survey grade, from four places on and with no more than 7 dB; else 4 "
    "dB. Distances are from the middle of the unit, and far against its size.",
    "ISO 3744:2010 and ISO 3746:2010 (from memory); 4 dB: own judgement, no source",
)
MOSTLY_ROOM = FlagMeaning(
    "mostly the room",
    "warning",
    "At the microphone far more sound comes back from the room than straight from the unit, so that the sound power "
    "rests on the absorption that was stated. Measure nearer to the unit, or where walls throw less back.",
    "ISO 3746:2010, 7 dB (from memory)",
)
ELSEWHERE_UNKNOWN = FlagMeaning(
    "level elsewhere not told",
    "warning",
    "A level at another place or in another room needs the sound power: say distance, stands and surroundings in "
    "[sound], and of a room its room_surface and absorption.",
)
LOUD = FlagMeaning(
    "louder than people like",
    "note",
    "Units of this sort often exceed 50 dB, and noise is a main reason for which people switch them off; then they "
    "clean nothing. More and slower units give as much air with less noise: see [noise] of a prediction.",
    "FRAMES record 67749; US EPA pilot study, record 356054",
)
FLAGS = (
    BACKGROUND_UNREAD,
    BACKGROUND_NEAR,
    BACKGROUND_ABOVE,
    BACKGROUND_ONCE,
    BANDS_NEAR,
    IN_JET,
    JET_SCREENED,
    JET_UNSAID,
    ONE_PLACE,
    PLACES_APART,
    METER_COARSE,
    LEVEL_UNLIKELY,
    NEAR,
    TOO_NEAR,
    BANDS_MISSING,
    OCTAVES,
    POWER_GRADE,
    MOSTLY_ROOM,
    ELSEWHERE_UNKNOWN,
    LOUD,
)
