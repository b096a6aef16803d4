"""What may be found while a record is turned into numbers with error bars. Each finding is declared once, here or in
the method it belongs to; `flowrig explain` prints these words."""

from __future__ import annotations

from flowrig.records.declare import FlagMeaning

ASSUMED = FlagMeaning(
    "assumed",
    "note",
    "Something the record does not say was assumed; the message says what. State it in the record to be rid of it.",
)
NO_SERIAL = FlagMeaning(
    "no serial number",
    "note",
    "An instrument has no serial number, so its error cannot be recognised as the same one in another record: two "
    "results made with it would wrongly look independent.",
)
OVERDUE = FlagMeaning(
    "calibration overdue",
    "warning",
    "The test was made after the date on which the instrument's calibration fell due; its limits are not assured.",
)
OUTSIDE_RANGE = FlagMeaning(
    "outside instrument range",
    "alarm",
    "A reading lies outside every range the accuracy statement covers; the error bar leaves the instrument out.",
)
OUTSIDE_CALIBRATION = FlagMeaning(
    "outside calibrated range",
    "alarm",
    "A reading (of a box the drop, as it would be in the air of the calibration) lies outside the range that was "
    "calibrated. Nothing is known there: a record is refused, a row of a table gets no value, unless --allow-outside "
    "asks for one; its error bar then grows with the distance, on no better ground than judgement. Choose another "
    "opening or instrument, or calibrate further.",
)
NOTHING_BESIDE = FlagMeaning(
    "nothing beside calibration",
    "warning",
    "An instrument is corrected by a calibration file, and no accuracy is stated beside it: how well it repeats, and "
    "how far it drifted since, are taken as nothing. Write what its maker says of the two, or what a check showed.",
)
ZERO_BEYOND = FlagMeaning(
    "zero beyond limit",
    "warning",
    "The display with open ports was further from zero than the maker's own limit at zero. It was subtracted, but an "
    "instrument that drifts this far may also have changed its slope.",
)
ZERO_ONCE = FlagMeaning(
    "zero read once",
    "note",
    "The zero was read only before or only after the readings: it was subtracted, but how far it drifted meanwhile is "
    "not known and not in the error bar.",
)
ZERO_UNREAD = FlagMeaning(
    "zero not read",
    "note",
    "The zero of a pressure instrument was not read with its ports open; it is taken as zero, within the maker's "
    "limit.",
)
ZERO_NEEDED = FlagMeaning(
    "small drop, zero not read",
    "warning",
    "The drop is small beside what the instrument may be off at zero, and its zero was not read: a drift during the "
    "test is not in the error bar. Read the zero with open ports before and after.",
)
SINGLE = FlagMeaning(
    "single reading",
    "warning",
    "Only one reading was taken, so nothing tells its scatter; the error bar holds the instruments' limits alone. "
    'Repeat it, log it, or write the scatter beside it: "250.3 Pa ± 1.5 Pa".',
)
FEW_READINGS = FlagMeaning(
    "few readings",
    "note",
    "Fewer than five readings say little about their own scatter; the interval is widened accordingly (Student's t).",
)
PATTERN_NOISE = FlagMeaning(
    "scatter from pattern",
    "note",
    "Rows of a table hold one reading each; a single reading's scatter was taken from the pattern record's run, for "
    'every row anew. Sensor noise (fluctuation = "noise") stays the same in the reading\'s unit, an unsteady flow '
    '("real") in per cent; where the record does not say which, the larger of the two holds.',
)
FAR_FROM_PATTERN = FlagMeaning(
    "far from pattern",
    "note",
    "A row's reading lies more than a factor of two from the level at which the pattern's scatter was seen; how it "
    "scatters there is a guess.",
)
MONITORED = FlagMeaning(
    "brought to one flow",
    "note",
    "Every reading was multiplied by the mean of the fixed monitor over the monitor's own reading beside it, to take "
    "slow drift of the flow out.",
)
ODD_READING = FlagMeaning(
    "odd reading",
    "warning",
    "A reading does not belong with the others: a slipped sign, a shifted decimal point, a misread digit? It was used "
    "as it stands. Check it against the sheet it was copied from.",
    "thresholds: own judgement, no source",
)
MIXED_SIGNS = FlagMeaning(
    "mixed signs",
    "alarm",
    "Some readings are clearly of the other sign than the rest: a slipped sign, or air that flows both ways. The mean "
    "of the two says nothing.",
)
CHAMBER_UNNAMED = FlagMeaning(
    "chamber named by no measurement",
    "warning",
    "A chamber with its leakage is described, but no [[flow]] names it under leaks: nothing of it is put back.",
)
CARRIED = FlagMeaning(
    "columns of the table",
    "note",
    "Which readings of the record the table's columns stand in for, and which columns were only carried along.",
)
OWN_FLOW_READING = FlagMeaning(
    "flow reading not replaced",
    "warning",
    "No column of the table stands in for a reading of the flow itself, so every row has the pattern's own. If one "
    "was meant to, name it after the reading, with its unit: drop [Pa].",
)
FLAGS = (
    ASSUMED,
    NO_SERIAL,
    OVERDUE,
    OUTSIDE_RANGE,
    OUTSIDE_CALIBRATION,
    NOTHING_BESIDE,
    ZERO_BEYOND,
    ZERO_ONCE,
    ZERO_UNREAD,
    ZERO_NEEDED,
    SINGLE,
    FEW_READINGS,
    PATTERN_NOISE,
    FAR_FROM_PATTERN,
    MONITORED,
    ODD_READING,
    MIXED_SIGNS,
    CHAMBER_UNNAMED,
    CARRIED,
    OWN_FLOW_READING,
)
