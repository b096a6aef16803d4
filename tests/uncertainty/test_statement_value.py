"""Values with their tolerances: wordings are common practice, no source; divisors as in test_statement."""

from __future__ import annotations

import math
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.uncertainty.statement import PLAIN, StatementError, ValueParser, parse_value
from tests.uncertainty.statement_units import convert, humidity, kelvin, number_of, reader

RECTANGULAR, TRIANGULAR = math.sqrt(3.0), math.sqrt(6.0)


@pytest.mark.parametrize(
    ("text", "value", "half_width", "divisor"),
    [
        ("150 mm ± 0.1 mm", 0.15, 1e-4, RECTANGULAR),
        ("150 mm +/- 0.1 mm", 0.15, 1e-4, RECTANGULAR),
        ("150 mm, ±0.1 mm", 0.15, 1e-4, RECTANGULAR),
        ("150 mm (± 0.1 mm)", 0.15, 1e-4, RECTANGULAR),
        ("150 ± 0.1 mm", 0.15, 1e-4, RECTANGULAR),
        ("150±0.1mm", 0.15, 1e-4, RECTANGULAR),
        ("(150 ± 0.1) mm", 0.15, 1e-4, RECTANGULAR),
        ("(150 ± 0.1) mm (k=2)", 0.15, 1e-4, 2.0),
        ("150 mm ± 0.5 %", 0.15, 7.5e-4, RECTANGULAR),
        ("150 mm ± 0.5 % of value", 0.15, 7.5e-4, RECTANGULAR),
        ("150 mm ± 0.1 mm (k=2)", 0.15, 1e-4, 2.0),
        ("150 mm ± 0.1 mm, triangular", 0.15, 1e-4, TRIANGULAR),
        ("150 mm (U = 0.2 mm, k=2)", 0.15, 2e-4, 2.0),
        ("150 mm, U = 0.2 mm, k=2", 0.15, 2e-4, 2.0),
        ("150 mm (expanded uncertainty 0.2 mm, k=2)", 0.15, 2e-4, 2.0),
        ("150 mm (u = 0.05 mm)", 0.15, 5e-5, 1.0),
        ("150 mm (s = 0.05 mm, n = 6)", 0.15, 5e-5, 1.0),
        ("-5 Pa ± 0.5 Pa", -5.0, 0.5, RECTANGULAR),
        ("-5 ± 0.5 Pa", -5.0, 0.5, RECTANGULAR),
        ("(-5 ± 0.5) Pa", -5.0, 0.5, RECTANGULAR),
        ("-200 Pa ± 2 %", -200.0, 4.0, RECTANGULAR),
        ("2.0 s^-1 ± 0.1 s^-1", 2.0, 0.1, RECTANGULAR),
        ("0.6 1/h ± 0.5 1/h", 0.6 / 3600, 0.5 / 3600, RECTANGULAR),
        ("(0.6 ± 0.5) 1/h", 0.6 / 3600, 0.5 / 3600, RECTANGULAR),
        ("0.6 ± 0.5 1/h", 0.6 / 3600, 0.5 / 3600, RECTANGULAR),
        ("0.6 1/h ± 0.5 1/h (k=2)", 0.6 / 3600, 0.5 / 3600, 2.0),
        ("0.6 1/h ± 10 %", 0.6 / 3600, 0.06 / 3600, RECTANGULAR),
        ("6 /h ± 0.5 /h", 6 / 3600, 0.5 / 3600, RECTANGULAR),
        ("1 m/s ± (2 % of value or 0.05 m/s, whichever is greater)", 1.0, 0.05, RECTANGULAR),
    ],
)
def test_value_with_tolerance(text, value, half_width, divisor):
    read_value, (component,) = parse_value(text, reader(convert), convert)
    assert read_value == pytest.approx(value, rel=1e-12)
    assert float(component.half_width(read_value)) == pytest.approx(half_width, rel=1e-12)
    assert float(component.standard(read_value)) == pytest.approx(half_width / divisor, rel=1e-12)
    assert component.name == "tolerance"


@pytest.mark.parametrize(
    ("text", "value", "half_width"),
    [
        ("0.98 ± 0.02", 0.98, 0.02),
        ("0.98 ± 2 % of value", 0.98, 0.0196),
        ("(85 ± 2) %", 0.85, 0.02),
        ("85 % ± 2 % of value", 0.85, 0.017),
        ("0.98 (U = 0.02, k=2)", 0.98, 0.02),
    ],
)
def test_pure_number_with_tolerance(text, value, half_width):
    read_value, (component,) = parse_value(text, reader(number_of), number_of)
    assert read_value == pytest.approx(value, rel=1e-12)
    assert float(component.half_width(read_value)) == pytest.approx(half_width, rel=1e-12)


@pytest.mark.parametrize("text", ["41 % ± 2 %", "41 %RH ± 2 %", "41 ± 2 %RH", "41 ± 2 %", "(41 ± 2) %RH", "(41 ± 2) %"])
def test_humidity_with_tolerance_in_points(text):
    def read(words: str) -> float:
        return humidity(float(words.split("%")[0]), "%RH")

    value, (component,) = parse_value(text, read, humidity, relative_unit="%RH")
    assert value == pytest.approx(0.41)
    assert float(component.half_width(value)) == pytest.approx(0.02, rel=1e-12)


def test_temperature_with_tolerance_is_a_difference():
    value, (component,) = parse_value("20 degC ± 0.5 degC", reader(kelvin), convert)
    assert (value, float(component.half_width(value))) == (pytest.approx(293.15), 0.5)


@pytest.mark.parametrize("text", ["150 mm", " 150 mm ", "-5 Pa", "2 s^-1"])
def test_plain_value_has_no_components(text):
    value, components = parse_value(text, reader(convert), convert)
    assert value == convert(float(text.split()[0]), text.split()[1])
    assert components == ()


@pytest.mark.parametrize(
    ("text", "units", "word"),
    [
        ("150 mm +0.2/-0.1 mm", convert, "middle"),
        ("150 +0.2/-0.1 mm", convert, "middle"),
        ("150 mm -0.1/+0.2 mm", convert, "middle"),
        ("150 mm +0.2 -0.1 mm", convert, "middle"),
        ("150 mm (+0.2/-0.1 mm)", convert, "middle"),
        ("150 mm + 0.1 mm", convert, "middle"),
        ("± 0.1 mm", convert, "before its tolerance"),
        ("150 mm ± 0 mm", convert, "exact"),
        ("0 Pa ± 2 %", convert, "share of nothing"),
        ("150 mm ± 0.1", convert, "its unit"),
        ("150 mm ± 0.1 furlong", convert, "no such unit"),
        ("150 mm ± 0.1 mm banana", convert, "no such unit"),
        ("150 mm ± 0.1 mm (banana)", convert, "accepted are"),
        ("150 mm (U = 0.2 mm)", convert, "without k"),
        ("150 mm ± 0,1 mm", convert, "decimal point"),
        ("150 mm (± 0.1 mm", convert, "bracket"),
        ("(150 ± 0.1 mm", convert, "bracket"),
        ("150 mm ± 1 digit", convert, "resolution"),
        ("0.98 ± 2 %", number_of, "percentage points"),
        ("85 % ± 2 %", number_of, "percentage points"),
        ("20 degC ± 0.5 %", convert, "convention"),
    ],
)
def test_tolerance_that_is_refused(text, units, word):
    read = reader(kelvin) if "degC" in text else reader(units)
    with pytest.raises(StatementError) as caught:
        parse_value(text, read, units)
    assert word.casefold() in str(caught.value).casefold()
    assert caught.value.text == text


@pytest.mark.parametrize(
    "text",
    ["150 furlong", "150, U = 0.2 mm, k=2", "150 furlong ± 0.1 mm", "150 mm (k=2)", "1 - 2 mm", "0,9 ± 1 mm", ""],
)
def test_faults_of_the_value_itself_come_from_its_reader(text):
    with pytest.raises(ValueError, match=r"no such unit|no value") as caught:
        parse_value(text, reader(convert), convert)
    assert not isinstance(caught.value, StatementError)


def test_what_is_taken_for_a_plain_value_has_no_tolerance():
    texts = ("".join(text) for n in range(1, 6) for text in product("5+-±=(u ", repeat=n))
    plain = [text for text in texts if PLAIN.fullmatch(text)]
    assert "+5 u5" in plain
    assert [text for text in plain if ValueParser(text, convert, name="").split() is not None] == []


numbers = st.floats(1e-3, 1e3).map(lambda x: float(f"{x:.6g}"))


@given(value=numbers, width=numbers, frame=st.sampled_from(["{0} Pa ± {1} Pa", "{0} ± {1} Pa", "({0} +/- {1}) Pa"]))
def test_every_spelling_of_a_tolerance_gives_value_and_width(value, width, frame):
    read_value, (component,) = parse_value(frame.format(value, width), lambda text: float(text.split()[0]), convert)
    assert read_value == value
    assert float(component.half_width(value)) == pytest.approx(width, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("from 140 mm to 160 mm", 0.14, 0.16),
        ("from 140 to 160 mm", 0.14, 0.16),
        ("From 140 Pa to 0.16 kPa", 140.0, 160.0),
        ("from -5 to 5 Pa", -5.0, 5.0),
        ("from -5 Pa to -2 Pa", -5.0, -2.0),
        ("from 1.5 to 2.5 m/s", 1.5, 2.5),
    ],
)
def test_a_range_is_its_middle_and_half_its_width(text, low, high):
    value, (component,) = parse_value(text, reader(convert), convert)
    assert value == pytest.approx((low + high) / 2, abs=1e-15)
    assert float(component.half_width(value)) == pytest.approx((high - low) / 2, rel=1e-12)
    assert component.divisor == RECTANGULAR


def test_a_range_of_temperatures_is_a_difference():
    # the zero of the scale is a convention: from 20 to 24 degC is 295.15 K ± 2 K
    value, (component,) = parse_value("from 20 to 24 degC", reader(kelvin), convert)
    assert value == pytest.approx(295.15)
    assert float(component.half_width(value)) == pytest.approx(2.0)


@pytest.mark.parametrize("text", ["from 160 to 140 mm", "from 5 Pa to 5 Pa", "from 2 to -2 Pa"])
def test_a_range_has_its_lower_end_first(text):
    with pytest.raises(StatementError, match="lower end first"):
        parse_value(text, reader(convert), convert)


@pytest.mark.parametrize("text", ["from 140 mm", "from 140 mm to", "from to 160 mm", "from 1 to 2 to 3 Pa"])
def test_half_a_range_is_none(text):
    with pytest.raises(ValueError, match=r"no value|no such unit"):
        parse_value(text, reader(convert), convert)
