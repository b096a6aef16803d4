"""The units door: every spelling, and everything that must be turned away. The factors are in test_unit_table.py."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig import units
from flowrig.unit_table import DEFINITIONS
from flowrig.units import NumberFormatError, UnitError

SPELLINGS = [(kind, spelling) for kind in units.KINDS for spelling in units.accepted(kind)]


@cache
def stock() -> pint.UnitRegistry:
    return pint.UnitRegistry()


# ---- spellings ----


@pytest.mark.parametrize("kind", units.KINDS)
def test_labels_of_a_kind_are_accepted_spellings(kind):
    assert units.factor(units.KINDS[kind], kind) == (1.0, 0.0)
    assert units.default_display(kind) in units.accepted(kind)
    assert units.as_difference(kind) in units.KINDS


@pytest.mark.parametrize("kind", units.KINDS)
def test_every_spelling_can_be_read_behind_a_number(kind):
    for spelling in units.accepted(kind):
        scale, offset = units.factor(spelling, kind)
        assert kind in units.kinds_of(spelling)
        if spelling != "1":  # stands alone in a header; behind a number it would be two numbers
            assert units.read(f"2.5 {spelling}", kind) == pytest.approx(2.5 * scale + offset, rel=1e-15)


@given(st.sampled_from(SPELLINGS), st.floats(1e-200, 1e9) | st.floats(-1e9, -1e-200) | st.just(0.0))
def test_round_trip(which, value):
    kind, spelling = which
    scale, offset = units.factor(spelling, kind)
    back = units.from_si(units.to_si(value, spelling, kind), spelling, kind)
    rounding = 4 * sys.float_info.epsilon * (abs(value) + abs(offset / scale))  # two products and two sums
    assert abs(back - value) <= rounding


@given(st.sampled_from(SPELLINGS), st.floats(1e-200, 1e6) | st.floats(-1e6, -1e-200) | st.just(0.0))
def test_a_quantity_of_ours_holds_the_same_value(which, value):
    kind, spelling = which
    _, offset = units.factor(spelling, kind)
    held = units.magnitude(units.quantity(value, spelling, kind), kind)
    assert held == pytest.approx(value, rel=1e-13, abs=1e-13 * abs(offset))


def test_arrays_convert_as_numbers_do():
    readings = np.array([[0.0, 23.4], [100.0, np.nan]])
    np.testing.assert_array_equal(units.to_si(readings, "degC", "temperature"), readings + 273.15)
    np.testing.assert_allclose(units.from_si(units.to_si(readings, "cfm", "flow"), "cfm", "flow"), readings, rtol=1e-15)
    assert units.magnitude(stock().Quantity(readings, "hPa"), "pressure").shape == readings.shape


@pytest.mark.parametrize(
    ("spelling", "same", "kind"),
    [
        ("m³/h", "m3/h", "flow"),
        ("m^3 / h", "m3/h", "flow"),
        ("m³·h⁻¹", "m3/h", "flow"),
        ("CFM", "cfm", "flow"),
        ("l/min", "L/min", "flow"),
        ("\N{MICRO SIGN}m", "um", "length"),
        ("\N{GREEK SMALL LETTER MU}m", "um", "length"),
        ("µg/m³", "ug/m3", "mass concentration"),
        ("in. w.c.", "inH2O", "pressure difference"),
        ("inH2O@4°C", "inH2O@4degC", "pressure difference"),
        ("mm\N{NO-BREAK SPACE}H₂O", "mmH2O", "pressure difference"),
        ("KPA", "kPa", "pressure"),
        ("Pa·s", "Pa s", "viscosity"),
        ("cm⁻³", "1/cm3", "concentration"),
        ("c", "degC", "temperature"),
        ("dB(A)", "dB", "sound level"),
    ],
)
def test_ways_of_writing_one_unit(spelling, same, kind):
    assert units.factor(spelling, kind) == units.factor(same, kind)


@pytest.mark.parametrize(
    ("kind", "milli", "mega"),
    [("energy", "mJ", "MJ"), ("power", "mW", "MW"), ("mass", "mg", "Mg"), ("resistance", "mohm", "Mohm")],
)
def test_case_is_not_forgiven_where_it_tells_milli_from_mega(kind, milli, mega):
    assert units.factor(mega, kind)[0] == pytest.approx(1e9 * units.factor(milli, kind)[0])
    for doubtful in {milli.lower(), milli.upper()} - {milli, mega}:
        with pytest.raises(UnitError):
            units.factor(doubtful, kind)


@pytest.mark.parametrize("spelling", ["mPa", "MPa", "mpa", "MPA"])
@pytest.mark.parametrize("kind", ["pressure", "pressure difference"])
def test_neither_millipascal_nor_megapascal_is_a_pressure(spelling, kind):
    with pytest.raises(UnitError):
        units.factor(spelling, kind)


# ---- what is turned away ----


@pytest.mark.parametrize(
    ("spelling", "kind", "nearest"),
    [
        ("cfn", "flow", "cfm"),
        ("m3/hh", "flow", "m3/h"),
        ("deg Celsius", "temperature", "deg C"),
        ("in. wc.", "pressure difference", "in. w.c."),
        ("mph.", "velocity", "mph"),
    ],
)
def test_unknown_spelling_names_the_nearest(spelling, kind, nearest):
    with pytest.raises(UnitError, match=re.escape(f"nearest is '{nearest}'")) as caught:
        units.factor(spelling, kind)
    assert (caught.value.spelling, caught.value.kind, caught.value.reason) == (spelling, kind, "unknown")
    assert caught.value.nearest == nearest
    assert "accepted: " in str(caught.value)


def test_nothing_is_called_near_that_is_not():
    with pytest.raises(UnitError) as caught:
        units.factor("xyzzy", "temperature")
    assert caught.value.nearest is None


@pytest.mark.parametrize(
    ("spelling", "kind", "right"),
    [
        ("Pa", "flow", "pressure"),
        ("psig", "pressure", "pressure difference"),
        ("inH2O", "pressure", "pressure difference"),
        ("psia", "pressure difference", "pressure"),
        ("%RH", "ratio", "relative humidity"),
        ("VA", "power", "apparent power"),
        ("W", "apparent power", "power"),
        ("C", "current", "temperature"),
        ("kg/h", "flow", "mass flow"),
        ("€", "money USD", "money EUR"),
    ],
)
def test_unit_of_another_kind_is_said_to_be_one(spelling, kind, right):
    with pytest.raises(UnitError, match=right) as caught:
        units.factor(spelling, kind)
    assert caught.value.reason == "wrong kind"
    assert right in units.kinds_of(spelling)


@pytest.mark.parametrize("kind", ["pressure", "relative humidity", "sound level", "concentration"])
def test_missing_unit(kind):
    with pytest.raises(UnitError, match="is missing; accepted") as caught:
        units.read("41", kind)
    assert caught.value.reason == "missing"


@pytest.mark.parametrize("kind", ["ratio", "count"])
def test_bare_number_where_it_is_pure(kind):
    assert units.read("0.6", kind) == 0.6


@pytest.mark.parametrize("spelling", ["scfm", "SCFM", "Nm³/h", "slpm"])
def test_flow_at_reference_conditions_is_not_sent_to_the_nearest_spelling(spelling):
    with pytest.raises(UnitError, match="mass flow") as caught:
        units.factor(spelling, "flow")
    assert caught.value.nearest is None


@pytest.mark.parametrize("kind", ["money", "flux", ""])
def test_unknown_kind(kind):
    for ask in (units.accepted, units.as_difference, units.default_display, lambda name: units.factor("m", name)):
        with pytest.raises(KeyError, match="no kind"):
            ask(kind)


@pytest.mark.parametrize("spelling", ["torque", "N m", "Q", "fortnight", "cd"])
def test_kinds_of_an_unknown_spelling(spelling):
    assert units.kinds_of(spelling) == ()


# ---- quantities ----


@pytest.mark.parametrize(
    ("magnitude", "unit", "kind", "si"),
    [
        (500.0, "m**3/hour", "flow", 500 / 3600),
        (1.0, "bar", "pressure", 1e5),
        (20.0, "degC", "temperature", 293.15),
        (0.5, "delta_degC", "temperature difference", 0.5),
        (0.5, "kelvin", "temperature difference", 0.5),
        (1500.0, "rpm", "rotational speed", 25.0),
        (100.0 * math.pi, "radian/second", "rotational speed", 50.0),
        (6.0, "1/hour", "rate", 1 / 600),
        (41.0, "percent", "relative humidity", 0.41),
        (3.0, "1/cm**3", "concentration", 3e6),
        (230.0, "volt*ampere", "apparent power", 230.0),
        (230.0, "volt*ampere", "power", 230.0),
        (180.0, "degree", "angle", math.pi),
        (50.0, "decibel", "sound level", 50.0),
        (12.0, "yard", "length", 36 * 0.3048),
    ],
)
def test_quantity_of_a_stock_registry_gives_its_own_magnitude(magnitude, unit, kind, si):
    assert units.magnitude(stock().Quantity(magnitude, unit), kind) == pytest.approx(si, rel=1e-13)


@pytest.mark.parametrize(
    ("unit", "kind"),
    [
        ("pascal", "flow"),
        ("delta_degC", "temperature"),
        ("degC", "temperature difference"),
        ("volt_ampere", "power"),
        ("watt", "apparent power"),
        ("rpm", "rate"),
        ("Hz", "rotational speed"),
        ("rpm", "frequency"),
        ("degree", "ratio"),
        ("decibel", "ratio"),
        ("dimensionless", "angle"),
        ("dimensionless", "sound level"),
        ("cfm", "flow"),  # a centifemtometre
        ("dimensionless", "money EUR"),
    ],
)
def test_quantity_of_another_kind(unit, kind):
    with pytest.raises(UnitError) as caught:
        units.magnitude(stock().Quantity(1.0, unit), kind)
    assert caught.value.reason == "wrong kind"


def test_plain_number_is_no_quantity():
    with pytest.raises(UnitError) as caught:
        units.magnitude(3.0, "flow")
    assert caught.value.reason == "missing"


def test_money_never_converts():
    currencies = [kind.removeprefix("money ") for kind in units.KINDS if kind.startswith("money ")]
    assert len(currencies) > 1
    for code in currencies:
        price = units.quantity(5.0, code, f"money {code}")
        for other in set(currencies) - {code}:
            assert units.kinds_of(other) == (f"money {other}",)
            with pytest.raises(pint.DimensionalityError):
                price.to(other)
            for kind in (f"money {other}", "ratio", "count"):
                with pytest.raises(UnitError):
                    units.magnitude(price, kind)


def test_registry_holds_our_definitions_and_nothing_else():
    defined = {name.strip() for line in DEFINITIONS.splitlines() for name in re.split(r"[=;]", line) if name.strip()}
    steps = {
        f"{sign}{name}" for sign in ("delta_", "Δ") for name in defined
    }  # pint adds them to a scale with an offset
    assert set(units.registry()) <= defined | steps
    for stray in (
        "centifemtometer",
        "femtometer",
        "coulomb",
        "C",
        "kilocfm",
        "millimillimeter",
        "furlong",
        "proton_mass",
    ):
        assert stray not in units.registry()
    assert f"{units.quantity(0.25, 'cfm', 'flow'):.2f~}" == "529.72 cfm"


# ---- numbers ----


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("23.4 degC", ("23.4", "degC")),
        ("1.2e-3 m", ("1.2e-3", "m")),
        ("-0.5 Pa", ("-0.5", "Pa")),
        ("\N{MINUS SIGN}0.5 Pa", ("-0.5", "Pa")),
        ("1e\N{MINUS SIGN}3 m", ("1e-3", "m")),
        ("5%", ("5", "%")),
        ("+3 fpm", ("+3", "fpm")),
        ("12in", ("12", "in")),
        ('12"', ("12", '"')),
        (".5 m", (".5", "m")),
        ("3.\N{NO-BREAK SPACE}m", ("3.", "m")),
        ("6 1/h", ("6", "1/h")),
        ("6 /h", ("6", "/h")),
        ("5l/min", ("5", "l/min")),
        ("5 oz", ("5", "oz")),
        ("2EUR", ("2", "EUR")),
        (" 0.6 ", ("0.6", "")),
    ],
)
def test_split(text, parts):
    assert units.split(text) == parts


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("23,4 degC", "decimal point, not a comma: 23.4"),
        ("-0,5", "decimal point, not a comma: -0.5"),
        ("1,000 Pa", "1.000, or 1000 if the comma separates thousands"),
        ("1.234,5 Pa", "comma: 1234.5"),
        ("1,234.5 Pa", "comma: 1234.5"),
        ("1O2.4", "a letter O in place of a zero, or l or I in place of a one: 102.4"),
        ("1O2.4 Pa", "102.4"),
        ("O.5 Pa", "0.5"),
        ("l2 Pa", "in place of a one: 12"),
        ("10O Pa", "100"),
        ("\N{EN DASH}5 Pa", "a minus sign, not a dash: -5"),
        ("1 000", "without spaces"),
        ("1_000 m", "without spaces"),
        ("1'000 m", "without spaces"),
        ("1/2 in", "fractions"),
        ("1 1/2 in", "fractions"),
        ("1.2.3 m", "one number"),
        ("1.2 x 10 Pa", "powers of ten like 1.2e-3"),
        ("nan", "missing or without bound"),
        ("-inf Pa", "missing or without bound"),
        ("Infinity", "missing or without bound"),
        ("inches", "such as 23.4"),
        ("degC", "such as 23.4"),
        ("\N{ARABIC-INDIC DIGIT THREE} m", "such as 23.4"),
        ("", "nothing is there"),
    ],
)
def test_number_that_is_none_gets_a_hint(text, hint):
    for ask in (units.split, units.number, lambda written: units.read(written, "pressure")):
        with pytest.raises(NumberFormatError, match=re.escape(hint)) as caught:
            ask(text)
        assert caught.value.read == text


@pytest.mark.parametrize("text", ["1e400", "-1e999", "23.4 degC", "0x10", "1²"])
def test_number_is_finite_and_alone(text):
    with pytest.raises(NumberFormatError):
        units.number(text)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_number_reads_back_every_float(value):
    assert units.number(repr(value)) == value
    assert units.number(repr(value).replace("-", "\N{MINUS SIGN}")) == value


@given(st.text(st.sampled_from("0123456789.,eEOlI+-\N{MINUS SIGN} /%'_"), max_size=8))
def test_a_text_is_read_as_python_would_or_not_at_all(text):
    try:
        value = units.number(text)
    except NumberFormatError:
        return
    assert value == float(text.replace("\N{MINUS SIGN}", "-"))


@pytest.mark.recomputed
def test_read():
    # Source: definitions; 1 hPa = 100 Pa, 0 degC = 273.15 K.
    assert units.read("1003.2 hPa", "pressure") == 100320.0
    assert units.read("23.4 degC", "temperature") == pytest.approx(296.55, rel=1e-15)
    assert units.read("41 %", "relative humidity") == pytest.approx(0.41, rel=1e-15)


def test_uncertainty_of_a_temperature_has_no_offset():
    assert units.as_difference("temperature") == "temperature difference"
    assert units.as_difference("pressure") == "pressure difference"
    assert units.as_difference("flow") == "flow"
    assert units.read("0.5 degC", units.as_difference("temperature")) == 0.5


def test_importing_loads_neither_numpy_nor_pint():
    asked = "import sys, flowrig.units as u; u.split('5 Pa'); print({'numpy', 'pint', 'pandas'} & set(sys.modules))"
    root = Path(units.__file__).parents[1]
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, cwd=root, check=True)
    assert done.stdout.strip() == "set()"
