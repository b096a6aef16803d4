"""The tables every record shares, whatever the method: heading, air, instruments, and what each flow section holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flowrig.physics.humidity import relative_humidity, vapour_fraction_from_wet_bulb
from flowrig.records.declare import (
    Calibration,
    Choice,
    Date,
    File,
    Flag,
    Given,
    Names,
    OneOf,
    Pairs,
    Reading,
    Statement,
    Table,
    Text,
    Wrong,
)
from flowrig.records.items import ROWS, Section

STATIONS = ("meter", "unit", "room")
MEASURED = (
    "pressure difference",
    "pressure",
    "temperature",
    "relative humidity",
    "velocity",
    "flow",
    "power",
    "apparent power",
    "power factor",
    "sound level",
    "rotational speed",
    "voltage",
    "current",
    "resistance",
)
USUAL_NAMES = {  # what the blank sheet calls an instrument of each kind
    "pressure difference": "manometer",
    "pressure": "barometer",
    "temperature": "thermometer",
    "relative humidity": "hygrometer",
    "velocity": "anemometer",
    "flow": "flow_hood",
    "power": "watt_meter",
    "apparent power": "volt_ampere_meter",
    "power factor": "power_factor_meter",
    "sound level": "sound_level_meter",
    "rotational speed": "tachometer",
    "voltage": "voltmeter",
    "current": "ammeter",
    "resistance": "ohmmeter",
}
USUAL_ACCURACY = {  # an example of what a datasheet says of each kind
    "pressure difference": "0.5 % of reading + 0.25 Pa",
    "pressure": "1 hPa",
    "temperature": "0.3 degC",
    "relative humidity": "3 %RH",
    "velocity": "2 % of reading + 0.05 m/s",
    "flow": "3 % of reading + 12 m3/h",
    "power": "1 % of reading + 0.5 W",
    "apparent power": "1 % of reading + 1 VA",
    "power factor": "0.02",
    "sound level": "1.5 dB",
    "rotational speed": "0.1 % of reading + 1 rpm",
    "voltage": "1 % of reading",
    "current": "1.5 % of reading + 0.01 A",
    "resistance": "0.5 % of reading",
}
CORRECTED = ("pressure difference", "pressure", "velocity", "flow", "power")  # kinds that a calibration may correct
MEASURED_KIND = "measured"  # stands for the kind that the instrument's own `measures` names
MEASURED_STEP = "step of the measured"  # and for a difference of that kind

HEADING = Table(
    "",
    "What was tested, when and by whom; what the report is to be written in.",
    (
        Text("title", "What was tested.", required=True, example='"Reading-room cleaner, speed 3, clean filters"'),
        Date("date", "Day of the test.", required=True, example="2026-08-21"),
        Text("by", "Who took the readings."),
        Text("place", "Where."),
        Text("item", "Which piece was tested: its serial number, and the state it was in."),
        Date("received", "Day on which it came in.", example="2026-08-18"),
        Text("laboratory", "Workshop that tested it, with its address."),
        Text("customer", "For whom."),
        Text("notes", "Anything a reader of the report should know."),
        Flag("invented", "true for demonstration data; every report then says that the readings are invented."),
        Text("flow_unit", "Unit of flow in which the result is printed first.", example='"m3/h"'),
        Given(
            "standard_density",
            "Density that 'standard' flow refers to; 1.2 kg/m3 (ISO 5801) unless another is named. 0.075 lb/ft3, the "
            "other usual one, is 1.2014 kg/m3: 0.115 % less flow for the same air.",
            kind="density",
            default="1.2 kg/m3",
            above=0.0,
        ),
        Choice(
            "density_formula",
            "Equation for the density of moist air: CIPM-2007, or the form of the fan standards (AMCA 210), which "
            "needs a wet bulb.",
            choices=("cipm-2007", "fan-standard"),
        ),
    ),
)


def _air_checks(section: Section) -> Sequence[Wrong]:
    wrong = []
    if "pressure" not in section and "altitude" not in section:
        wrong.append(
            Wrong(
                "pressure",
                "a barometer reading, or the altitude of the station",
                'Add pressure = "1003.2 hPa" (station pressure, not reduced to sea level), or altitude = "350 m".',
            )
        )
    if "fan_power" in section and section.name == "air.meter":
        remedy = "Remove it here: it belongs to [air.unit] or [air.room], whichever was not read."
        wrong.append(Wrong("fan_power", "the temperature alone, at the meter", remedy))
    dry = section.value("temperature")
    for name in ("wet_bulb", "dew_point"):
        wet = section.value(name)
        if dry is None or wet is None:
            continue
        rows = ROWS in (section[name].run, section["temperature"].run)
        # a tenth of a kelvin is what two good thermometers in saturated air may differ by
        above = wet > dry + 0.1 if rows else wet.mean() > dry.mean() + 0.1
        if above.any():
            shown = "" if rows else f", {dry.mean() - 273.15:.1f} degC"
            expected = f"a {name} of no more than the temperature beside it{shown}"
            remedy = "Check whether the two readings were swapped."
            wrong.append(Wrong(name, expected, remedy, above if rows else None))
    return wrong + _dry(section)


def _dry(section: Section) -> list[Wrong]:
    """A wet bulb so low that less than no vapour would be left in the air."""
    wet, dry = section.value("wet_bulb"), section.value("temperature")
    if wet is None or dry is None:
        return []
    batch = ROWS in (section["wet_bulb"].run, section["temperature"].run)
    pressure = section.value("pressure", np.array([1e5]))
    if not batch:
        wet, dry = wet.mean(), dry.mean()
    if len(pressure) not in (1, np.size(dry)):
        pressure = pressure.mean()
    humidity = relative_humidity(vapour_fraction_from_wet_bulb(wet, dry, pressure), dry, pressure)
    rows = np.atleast_1d(~(humidity > -0.03))  # a wet bulb half a kelvin off is no more than that
    if not np.any(rows):
        return []
    expected = "a wet bulb that leaves some humidity in air of this temperature"
    return [Wrong("wet_bulb", expected, "Check the reading.", rows if batch else None)]


AIR = Table(
    "air",
    "The air at one station: meter (where the flow is measured; always needed), unit (at the cleaner or fan under "
    "test) and room, where they differ from the meter.",
    (
        Reading(
            "temperature", "Dry-bulb temperature.", kind="temperature", low=223.15, high=373.15, example='"23.4 degC"'
        ),
        Reading(
            "pressure",
            "Barometric pressure at the station, as the barometer shows it, not reduced to sea level.",
            kind="pressure",
            low=30e3,
            high=120e3,
            example='"1003.2 hPa"',
            asked=True,
        ),
        Given(
            "altitude",
            "Height above sea level. Without a barometer reading the standard atmosphere stands in for "
            "it; beside one it serves to notice a sea-level pressure.",
            kind="length",
            low=-500.0,
            high=6000.0,
            example='"350 m"',
            asked=True,
        ),
        Reading(
            "relative_humidity", "Relative humidity.", kind="relative humidity", low=0.0, high=1.0, example='"41 %"'
        ),
        Reading(
            "wet_bulb",
            "Wet-bulb temperature, of a wetted and ventilated bulb.",
            kind="temperature",
            low=223.15,
            high=373.15,
            example='"15.2 degC"',
        ),
        Reading(
            "dew_point", "Dew-point temperature.", kind="temperature", low=223.15, high=373.15, example='"9.4 degC"'
        ),
        Given(
            "fan_power",
            "Electrical power of the fan between this station and the meter, where the temperature "
            "here was not read: all of it heating the air, P/(q_m c_p), is the most the two can differ by.",
            kind="power",
            low=0.0,
            example='"85 W"',
        ),
        Choice(
            "side",
            "Whether this station is before the fan and the meter after it (the meter's air is the warmer), "
            "or the other way; only with fan_power.",
            choices=("before the fan", "after the fan"),
        ),
        Pairs(
            "with",
            "Instrument of each reading, where more than one measures its kind.",
            alone=True,
            example='{ temperature = "thermometer" }',
        ),
    ),
    alternatives=(
        OneOf((("temperature",), ("fan_power",))),
        OneOf((("relative_humidity",), ("wet_bulb",), ("dew_point",)), required=False),
    ),
    checks=(_air_checks,),
)


def air_table(station: str) -> Table:
    """What is asked of the air at a station: at the meter its temperature itself is needed."""
    if station != "meter":
        return AIR
    fields = tuple(replace(f, required=f.required or f.name == "temperature") for f in AIR.fields)
    return replace(AIR, fields=fields, alternatives=tuple(c for c in AIR.alternatives if not c.required))


INSTRUMENT = Table(
    "instruments",
    "An instrument with its limits of error, as the maker or a certificate states them.",
    (
        Choice("measures", "What it measures.", required=True, choices=MEASURED),
        Statement(
            "accuracy",
            "The maker's limits or the certificate's uncertainty, in their words. A plain limit is taken as "
            "rectangular; a certificate says (k=2). A list gives several independent statements. Beside a calibration "
            "file: what remains, such as repeatability and drift.",
            asked=True,
            example='"0.5 % of reading + 0.25 Pa"',
        ),
        Given(
            "resolution", "Last digit of the display.", kind=MEASURED_STEP, above=0.0, example='"0.1 Pa"', asked=True
        ),
        Given("full_scale", "Full scale, where the accuracy is a share of it.", kind=MEASURED_KIND, above=0.0),
        Text(
            "serial", "Serial number: its identity. Errors are shared wherever the same instrument is used.", asked=True
        ),
        Date("calibrated", "Date of the certificate.", asked=True),
        Date("due", "Date on which calibration falls due."),
        Text("certificate", "Number of the certificate, and who issued it."),
        Calibration(
            "calibration",
            "The file of its own calibration (flowrig calibrate): its readings are corrected by it.",
            example='"anemometer-2026.toml"',
            calibrates=CORRECTED,
        ),
        Statement(
            "drift",
            "Change per year, where the maker states one apart from the accuracy.",
            yearly=True,
            example='"0.2 % of reading per year"',
        ),
        Reading("zero_before", "Display with both ports open, before the readings.", kind=MEASURED_KIND),
        Reading("zero_after", "The same, after the readings.", kind=MEASURED_KIND),
        Given(
            "reference_density",
            "Density at which a velocity display is true, from the datasheet: thermal probes, "
            "and pitot manometers that show velocity.",
            kind="density",
            above=0.0,
            example='"1.2 kg/m3"',
        ),
        Flag("density_corrected", "true if the instrument corrects its velocity for the density of the air itself."),
        Text("notes", "Anything else."),
    ),
    checks=(lambda section: _instrument_checks(section),),
)


def _instrument_checks(section: Section) -> Sequence[Wrong]:
    if "accuracy" not in section and "calibration" not in section:
        remedy = f'Add accuracy = "{USUAL_ACCURACY.get(section.value("measures"), "1 % of reading")}", for instance.'
        return [Wrong("accuracy", "accuracy, the maker's limits or the certificate's uncertainty", remedy)]
    return []


CHAMBERS = Table(
    "chambers",
    "A chamber between the unit and the meter, with what its leak test said: what leaks out or in is put back by mass "
    "balance, at the density of the air that leaks: the chamber's outwards, the room's inwards (the meter's where the "
    "room was not read).",
    (
        Given(
            "leak",
            "Leakage at the pressure of the leak test. Without its ±, a quarter of it is assumed.",
            kind="flow",
            low=0.0,
            example='"18 m3/h ± 3 m3/h"',
        ),
        Given(
            "leak_drop",
            "Pressure across the walls in the leak test.",
            kind="pressure difference",
            above=0.0,
            high=20e3,
            example='"50 Pa"',
        ),
        Calibration(
            "leak_test",
            "The file of its leak test (flowrig calibrate), in place of leak, leak_drop and leak_exponent.",
            example='"receiving-2026.toml"',
            calibrates=("chamber",),
        ),
        Given(
            "leak_exponent",
            "Exponent of the leakage with pressure: 0.5 for holes, 1 for long narrow gaps.",
            kind="ratio",
            default="0.65 ± 0.1",
            low=0.4,
            high=1.1,
            example='"0.62 ± 0.05"',
        ),
        Reading(
            "pressure",
            "Gauge static pressure in the chamber while the flow was measured; negative under suction.",
            required=True,
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            example='"-35 Pa"',
        ),
        Flag(
            "in_calibration",
            "true where the meter was calibrated with this chamber's leaks in place: nothing is put back.",
        ),
        Pairs("with", "Instrument of the pressure, where more than one measures its kind.", alone=True),
        Text("serial", "Identity, where the chamber is used in several records."),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("leak", "leak_drop"), ("leak_test",))),),
    checks=(lambda section: _chamber_checks(section),),
)


def _chamber_checks(section: Section) -> Sequence[Wrong]:
    if section.value("leak") == 0.0:
        said = "a leakage above 0: no test finds less than what it can tell from nothing"
        return [Wrong("leak", said, 'Write half of what the test could just tell, as "1 m3/h ± 1 m3/h".')]
    return []


def _flow_checks(section: Section) -> Sequence[Wrong]:
    if "leaks" in section and section["meter_side"].assumed:
        remedy = 'Add meter_side = "downstream" if the air goes through the unit first, else "upstream".'
        return [Wrong("meter_side", "on which side of the unit the meter is: the sign of the leakage", remedy)]
    return []


FLOW = Table(
    "flow",
    "One way in which the flow was measured. Several sections are several measurements of the same flow, unless the "
    "field of says otherwise; they are held against each other, and combined where they agree.",
    (
        Text("name", "What to call this measurement.", example='"first run, filters clean"'),
        Text(
            "of",
            "Which flow was measured, where a record holds several: sections with the same words measure the same one "
            "and are compared. Sections without it are one flow.",
            example='"speed 3"',
        ),
        Text("method", "Name of the measuring method.", required=True, example='"nozzle"'),
        Pairs(
            "with",
            "Instrument of the readings: a name, or a table of field = name. May be left out where only "
            "one instrument measures the kind.",
            alone=True,
            example='"manometer"',
        ),
        File("log", "CSV with one reading a row, evenly spaced in time.", example='"log.csv"'),
        Pairs(
            "columns",
            "Header of a field's column in the log or grid, where it differs from the field's name. "
            'Air readings are named with their station: { "air.meter.temperature" = "T in [degC]" }.',
            example='{ drop = "nozzle drop [Pa]" }',
        ),
        Choice(
            "fluctuation",
            "What the scatter of repeated or logged readings is: unsteadiness of the flow itself, "
            "noise of the sensor, or not known. On a root of a pressure the two act in opposite directions.",
            choices=("unknown", "real", "noise"),
        ),
        Names(
            "leaks",
            "The chambers between the unit and the meter, each described under [chambers.…].",
            table="chambers",
            axis="chamber",
            example='["receiving"]',
        ),
        Choice(
            "meter_side",
            "Which side of the unit the meter is on, where leaks are stated: downstream, the air goes through the unit "
            "first.",
            choices=("downstream", "upstream"),
        ),
        Text("notes", "Anything about this measurement."),
    ),
    checks=(_flow_checks,),
)
