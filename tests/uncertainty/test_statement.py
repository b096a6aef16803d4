"""Accuracy statements as they are worded, against half-widths and standard uncertainties worked by hand.

The divisors are those of JCGM 100:2008, 4.3.7 (sqrt 3) and 4.3.9 (sqrt 6); k from a level: 1.960 for 95 % and 2.576 for
99 %, table G.1, t = 2.26 for 95 % at 9 degrees of freedom, table G.2; all from memory, the further digits from scipy.
The wordings are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.uncertainty.statement import (
    Component,
    StatementError,
    Term,
    covers,
    parse,
    parse_drift,
    resolution,
)
from tests.uncertainty.statement_units import convert, humidity, kelvin

BARE = "a bare 2 % taken as of reading"
LIMITS = "maker's limits taken as rectangular"
RECTANGULAR, TRIANGULAR = math.sqrt(3.0), math.sqrt(6.0)
READINGS = np.array([-500.0, 0.0, 0.7, 100.0, 250.0])


# text, half-width as a function of the reading, divisor
WORDINGS = [
    ("±(2 % of reading + 3 fpm)", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("+/-(2 % of reading + 3 fpm)", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("+-( 2%of reading+3fpm )", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2 % of reading + 3 fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2% rdg + 3 fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2%rdg+3fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2 PERCENT OF READING PLUS 3 fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2 per cent of the reading + 3 fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("2 % × reading + 3 fpm", lambda r: 0.02 * r + 0.01524, RECTANGULAR),
    ("0.5 % of rdg ± 0.25 Pa", lambda r: 0.005 * r + 0.25, RECTANGULAR),
    ("± 0.5 % of rdg. ± 0.25 Pa", lambda r: 0.005 * r + 0.25, RECTANGULAR),
    ("2 % of value", lambda r: 0.02 * r, RECTANGULAR),
    ("2 % mv", lambda r: 0.02 * r, RECTANGULAR),
    ("2 % m.v.", lambda r: 0.02 * r, RECTANGULAR),
    ("3 % of measured value plus 0.1 m/s", lambda r: 0.03 * r + 0.1, RECTANGULAR),
    ("Accuracy: ±2 % of reading", lambda r: 0.02 * r, RECTANGULAR),
    ("accuracy of ±2 % of reading max.", lambda r: 0.02 * r, RECTANGULAR),
    ("maximum permissible error 0.3 Pa", lambda r: 0.3 + 0 * r, RECTANGULAR),
    ("0.25 % of full scale (1000 Pa)", lambda r: 2.5 + 0 * r, RECTANGULAR),
    ("0.25 % of full-scale (1 kPa)", lambda r: 2.5 + 0 * r, RECTANGULAR),
    ("0.25 % of 1000 Pa", lambda r: 2.5 + 0 * r, RECTANGULAR),
    ("0.25 % of range (1000 Pa)", lambda r: 2.5 + 0 * r, RECTANGULAR),
    ("0.1 % of span (1000 Pa)", lambda r: 1.0 + 0 * r, RECTANGULAR),
    ("0.1 % of span (1000 Pa) (95 %)", lambda r: 1.0 + 0 * r, 1.959964),
    ("1 % of reading + 0.1 % F.S. (1000 Pa) + 0.2 Pa", lambda r: 0.01 * r + 1.2, RECTANGULAR),
    ("2 % of reading or 0.05 m/s, whichever is greater", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("2 % of reading or 0.05 m/s whichever is larger", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("2 % of reading or 0.05 m/s (whichever is the greater)", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("±(2 % of reading or 0.05 m/s, whichever is greater)", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("the greater of 2 % of reading and 0.05 m/s", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("greater of 2 % of reading or 0.05 m/s", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("max(2 % of reading, 0.05 m/s)", lambda r: np.maximum(0.02 * r, 0.05), RECTANGULAR),
    ("max(2 % of reading,0.05 m/s) (k=2)", lambda r: np.maximum(0.02 * r, 0.05), 2.0),
    ("the greater of 1 % of reading + 0.2 Pa and 0.5 Pa", lambda r: np.maximum(0.01 * r + 0.2, 0.5), RECTANGULAR),
    ("max(1 % of reading, 0.5 Pa) + 0.2 Pa", lambda r: np.maximum(0.01 * r, 0.5) + 0.2, RECTANGULAR),
    ("(1 % rdg or 0.5 Pa, whichever is greater) + 0.2 Pa", lambda r: np.maximum(0.01 * r, 0.5) + 0.2, RECTANGULAR),
    ("0.2 Pa + max(1 % rdg, 0.5 Pa)", lambda r: np.maximum(0.01 * r, 0.5) + 0.2, RECTANGULAR),
    ("the greater of (1 % rdg + 0.2 Pa) and (0.5 Pa)", lambda r: np.maximum(0.01 * r + 0.2, 0.5), RECTANGULAR),
    (
        "max(1 % of reading, 0.5 Pa, 0.2 Pa + 0.5 % of reading)",
        lambda r: np.max([0.01 * r, 0.5 + 0 * r, 0.2 + 0.005 * r], axis=0),
        RECTANGULAR,
    ),
    ("U = 0.8 Pa (k=2)", lambda r: 0.8 + 0 * r, 2.0),
    ("U=0.8Pa(K=2)", lambda r: 0.8 + 0 * r, 2.0),
    ("U = 0.3 K, k=2", lambda r: 0.3 + 0 * r, 2.0),
    ("U = 0.3 K k=2", lambda r: 0.3 + 0 * r, 2.0),
    ("U = 1.2 % (k = 2)", lambda r: 0.012 * r, 2.0),
    ("U = 0.5 % of reading + 0.2 Pa, coverage factor k = 2", lambda r: 0.005 * r + 0.2, 2.0),
    ("U = 0.8 Pa with a coverage factor of 2", lambda r: 0.8 + 0 * r, 2.0),
    ("expanded uncertainty 0.8 Pa, k=2", lambda r: 0.8 + 0 * r, 2.0),
    ("Expanded uncertainty: 0.8 Pa (k=2, 95 %)", lambda r: 0.8 + 0 * r, 2.0),
    ("uncertainty 0.8 Pa (2 sigma)", lambda r: 0.8 + 0 * r, 2.0),
    ("U=0.8 Pa (95 %)", lambda r: 0.8 + 0 * r, 1.959964),
    ("0.8 Pa at 95 % level of confidence", lambda r: 0.8 + 0 * r, 1.959964),
    ("U = 0.8 Pa (99 percent)", lambda r: 0.8 + 0 * r, 2.575829),
    ("U = 0.8 Pa (95 %, dof = 9)", lambda r: 0.8 + 0 * r, 2.262157),
    ("0.5 % of reading + 0.2 Pa (k=2)", lambda r: 0.005 * r + 0.2, 2.0),
    ("0.8 Pa (k=2; normal)", lambda r: 0.8 + 0 * r, 2.0),
    ("u = 0.3 degC", lambda r: 0.3 + 0 * r, 1.0),
    ("u = 1 % of reading", lambda r: 0.01 * r, 1.0),
    ("standard uncertainty of 0.3 degC, ν = 9", lambda r: 0.3 + 0 * r, 1.0),
    ("u = 0.3 Pa, rectangular", lambda r: 0.3 + 0 * r, 1.0),
    ("s = 0.2 Pa, n = 10", lambda r: 0.2 + 0 * r, 1.0),
    ("standard deviation 0.2 Pa (n = 10)", lambda r: 0.2 + 0 * r, 1.0),
    ("0.5 % of reading, rectangular", lambda r: 0.005 * r, RECTANGULAR),
    ("0.2 Pa (uniform distribution)", lambda r: 0.2 + 0 * r, RECTANGULAR),
    ("0.2 Pa triangular", lambda r: 0.2 + 0 * r, TRIANGULAR),
    ("1-year accuracy 0.5 % of reading", lambda r: 0.005 * r, RECTANGULAR),
    ("5 m^3/h", lambda r: 5 / 3600 + 0 * r, RECTANGULAR),
    ("5 m³/h + 1 s^-1", lambda r: 5 / 3600 + 1 + 0 * r, RECTANGULAR),
    ("0.01 in of water", lambda r: 2.49 + 0 * r, RECTANGULAR),
    ("0.01 in. w.c. + 1 % rdg", lambda r: 2.49 + 0.01 * r, RECTANGULAR),
    ("1e-1 Pa + .5 Pa", lambda r: 0.6 + 0 * r, RECTANGULAR),
]


@pytest.mark.parametrize(("text", "expected", "divisor"), WORDINGS, ids=[row[0] for row in WORDINGS])
def test_wording_gives_half_width_and_standard_uncertainty(text, expected, divisor):
    (component,) = parse(text, convert)
    half_width = expected(np.abs(READINGS))
    np.testing.assert_allclose(component.half_width(READINGS), half_width, rtol=1e-12)
    np.testing.assert_allclose(component.standard(READINGS), half_width / divisor, rtol=1e-6)
    assert component.half_width(READINGS.reshape(5, 1)).shape == (5, 1)
    assert float(component.standard(100.0)) == pytest.approx(float(half_width[3]) / divisor, rel=1e-6)
    assert component.name == "accuracy"
    assert (component.low, component.high) == (-math.inf, math.inf)


@pytest.mark.parametrize(
    ("text", "shape", "dof"),
    [
        ("2 % of reading", "rectangular", math.inf),
        ("2 % of reading, triangular", "triangular", math.inf),
        ("U = 0.8 Pa (k=2)", "normal", math.inf),
        ("2 % of reading (k=2)", "normal", math.inf),
        ("2 % of reading (95 %)", "normal", math.inf),
        ("U = 0.8 Pa (k=2.26, dof = 9)", "normal", 9.0),
        ("u = 0.3 Pa, degrees of freedom = 9", "normal", 9.0),
        ("u = 0.3 Pa (rectangular)", "rectangular", math.inf),
        ("s = 0.2 Pa, n = 10", "normal", 9.0),
    ],
)
def test_shape_and_degrees_of_freedom(text, shape, dof):
    (component,) = parse(text, convert)
    assert (component.shape, component.dof) == (shape, dof)


@pytest.mark.parametrize(
    ("text", "assumed"),
    [
        ("2 % of reading, rectangular", ()),
        ("2 % of reading", (LIMITS,)),
        ("2 %", (BARE, LIMITS)),
        ("U = 2 % (k=2)", (BARE,)),
        ("U = 0.8 Pa (k=2)", ()),
        ("U = 0.8 Pa (95 %)", ("a level of 95 % taken as normal: k = 1.960",)),
        ("U = 0.8 Pa, ν = 9, 95 %", ("a level of 95 % taken as Student's t at 9 degrees of freedom: k = 2.262",)),
        ("s = 0.2 Pa, n = 5", ("the standard deviation is taken to be that of one reading, not of the mean",)),
    ],
)
def test_what_was_assumed_is_recorded(text, assumed):
    (component,) = parse(text, convert)
    assert component.assumed == assumed


# Source: layout of JCGM 100:2008, tables G.1 and G.2; figures evaluated again with scipy.stats.t.ppf, six digits.
@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("level", "dof", "k"),
    [
        (90, None, 1.64485),
        (95, None, 1.95996),
        (99, None, 2.57583),
        (95, 1, 12.7062),
        (95, 10, 2.22814),
        (90, 9, 1.83311),
        (99, 9, 3.24984),
        (95, 100, 1.98397),
    ],
)
def test_coverage_factor_of_a_level(level, dof, k):
    (component,) = parse(f"U = 0.8 Pa ({level} %" + (")" if dof is None else f", dof = {dof})"), convert)
    assert component.divisor == pytest.approx(k, rel=5e-6)


def test_one_limit_is_one_component_and_keeps_its_terms():
    (component,) = parse("0.5 % of reading + 0.25 Pa", convert, name="indication")
    assert component == Component(
        "indication",
        (Term(relative=0.005), Term(absolute=0.25)),
        "sum",
        "rectangular",
        math.sqrt(3.0),
        assumed=(LIMITS,),
    )
    (greater,) = parse("1 % of reading + 0.2 Pa or 0.5 Pa, whichever is greater", convert)
    assert greater.combine == "greater"
    assert greater.terms == (Term(0.01, 0.2), Term(0.0, 0.5))


@pytest.mark.parametrize(
    "text",
    [
        "0.25 % FS",
        "0.25 % f.s.",
        "0.25 % of full scale",
        "0.25 % of range",
        "0.25 % FS (95%)",
        "0.25%FS (1 year)",
        "0.25 % FS (12-month)",
        "0.25% FS (1 kPa)",
    ],
)
def test_full_scale_from_the_instrument(text):
    (component,) = parse(text, convert, full_scale=1000.0)
    assert float(component.half_width(3.0)) == pytest.approx(2.5, rel=1e-12)
    assert ("the range taken as the instrument's full scale" in component.assumed) == ("range" in text)


@pytest.mark.parametrize(("text", "digits"), [("± 2 digits", 2), ("1 digit", 1), ("2 COUNTS", 2), ("3dgt", 3)])
def test_digits_count_the_resolution(text, digits):
    (component,) = parse(f"0.5 % of reading + {text}", convert, resolution=0.1)
    assert float(component.half_width(100.0)) == pytest.approx(0.5 + 0.1 * digits, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("±2 %RH", 0.02),
        ("2 % RH", 0.02),
        ("3 % rh", 0.03),
        ("2 % R.H. + 1 % of reading", 0.025),
        ("2 %", 0.02),
        ("2 % of reading", 0.01),
        ("1 % of full scale (100 %RH)", 0.01),
        ("1 % of full scale (100 percent RH)", 0.01),
        ("1.5 % + 0.5 % rdg", 0.0175),
        ("10..90 % RH: 2 % RH; 90..100 %: 4 % RH", 0.02),
    ],
)
def test_percent_that_is_itself_the_unit(text, expected):
    component = parse(text, humidity, relative_unit="%RH")[0]
    assert float(component.half_width(0.5)) == pytest.approx(expected, rel=1e-12)
    bare = any("percentage points (%RH)" in line for line in component.assumed)
    assert bare == (text in ("2 %", "1.5 % + 0.5 % rdg"))


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("1-year accuracy 0.5 % of reading", 1.0),
        ("1 year accuracy: 0.5 % of reading", 1.0),
        ("0.5 % of reading (1 year)", 1.0),
        ("0.5 % of reading, 12 months", 1.0),
        ("0.5 % of reading, valid for 18 months", 1.5),
        ("0.5 % of reading within 2 years", 2.0),
        ("0.5 % of reading", None),
    ],
)
def test_time_for_which_a_statement_holds(text, years):
    (component,) = parse(text, convert)
    assert component.valid_years == (None if years is None else pytest.approx(years))


RANGES = [
    "0..250 Pa: 0.5 % of reading + 0.25 Pa; 250..1000 Pa: 1 % of reading",
    "0 – 250 Pa: 0.5 % of reading + 0.25 Pa; 250 – 1000 Pa: 1 % of reading;",
    "0-250 Pa: 0.5 % rdg + 0.25 Pa; 250-1000 Pa: 1 % rdg",
    "0…250 Pa : 0.5 % rdg + 0.25 Pa ; 0.25 … 1 kPa : 1 % rdg",
    "from 0 to 250 Pa: 0.5 % of reading + 0.25 Pa; from 250 up to 1000 Pa: 1 % of reading",
    "0 Pa to 0.25 kPa: 0.5 % of reading + 0.25 Pa; 250 Pa to 1 kPa: 1 % of reading",
    "250..1000 Pa: 1 % of reading; 0..250 Pa: 0.5 % of reading + 0.25 Pa",
    "up to 250 Pa: 0.5 % of reading + 0.25 Pa; above 250 Pa: 1 % of reading",
    "<= 250 Pa: 0.5 % of reading + 0.25 Pa; > 250 Pa: 1 % of reading",
    "≤ 250 Pa: 0.5 % of reading + 0.25 Pa; over 250 to 1000 Pa: 1 % of reading",
    "1-year accuracy: 0..250 Pa: 0.5 % of reading + 0.25 Pa; 250..1000 Pa: 1 % of reading",
]


@pytest.mark.parametrize("text", RANGES)
def test_each_reading_belongs_to_one_range(text):
    components = parse(text, convert)
    assert [component.range_label != "" for component in components] == [True, True]
    readings = np.array([10.0, 250.0, 250.001, 900.0])
    widths = np.array([component.half_width(readings) for component in components])
    assert np.isnan(widths).sum(axis=0).tolist() == [1, 1, 1, 1]
    np.testing.assert_allclose(np.nansum(widths, axis=0), [0.3, 1.5, 2.50001, 9.0], rtol=1e-12)
    assert covers(components, readings).all()
    assert {c.valid_years for c in components} == ({1.0} if "year" in text else {None})


def test_covers_is_false_outside_every_range_and_where_another_cause_is_not_stated():
    components = parse("0..250 Pa: 0.5 % of reading; 250..1000 Pa: 1 % of reading", convert)
    readings = np.array([[-0.1, 0.0, 250.0], [1000.0, 1000.1, np.nan]])
    expected = [[False, True, True], [True, False, False]]
    assert covers(components, readings).tolist() == expected
    assert covers((*components, resolution(0.1)), readings).tolist() == expected
    assert covers((resolution(0.1),), readings[:, :2]).all()
    assert not covers((), readings).any()
    assert np.isnan(components[0].standard(-0.1))
    assert covers(components, 3.0).shape == ()


def test_strict_ends_of_ranges():
    below, above = parse("< 250 Pa: 0.1 Pa; >= 250 Pa: 0.2 Pa", convert)
    assert below.holds([249.9, 250.0]).tolist() == [True, False]
    assert above.holds([249.9, 250.0]).tolist() == [False, True]
    below, above = parse("below 0 Pa: 0.1 Pa; above 0 Pa: 0.2 Pa", convert)
    assert covers((below, above), [-1.0, 0.0, 1.0]).all()
    assert parse("above 250 Pa: 0.1 Pa", convert)[0].holds([250.0, 250.1]).tolist() == [False, True]
    assert parse(">= 250 Pa: 0.1 Pa", convert)[0].holds([249.9, 250.0]).tolist() == [False, True]
    (only,) = parse("-50..50 Pa: 0.1 Pa", convert)
    assert only.holds([-51.0, -50.0, 50.0, 50.1]).tolist() == [False, True, True, False]


def test_scale_whose_zero_is_a_convention():
    cold, warm = parse("-20..0 degC: 1 degC; 0..50 degC: 0.5 degC", convert, point=kelvin)
    assert (cold.low, warm.high) == (pytest.approx(253.15), pytest.approx(323.15))
    assert float(warm.half_width(293.15)) == 0.5
    with pytest.raises(StatementError) as caught:
        parse("0.5 degC + 0.1 % of reading", convert, point=kelvin)
    assert caught.value.part == "0.1 % of reading"


def test_resolution_is_half_a_step_to_each_side():
    component = resolution(0.1)
    assert component.name == "resolution"
    np.testing.assert_allclose(component.standard([0.0, 7.0]), 0.1 / math.sqrt(12.0), rtol=1e-12)
    for step in (0.0, -0.1, math.nan, math.inf):
        with pytest.raises(StatementError):
            resolution(step)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.5 % of reading per year", 0.75),
        ("0.5 % rdg/yr", 0.75),
        ("drift: 0.2 Pa/year", 0.3),
        ("0.2 Pa per annum", 0.3),
        ("0.1 % FS per year", 1.5),
        ("0.1 % of full scale (1000 Pa) per 12 months", 1.5),
        ("0.1 Pa per month", 1.8),
        ("0.5 % of reading per year + 0.2 Pa per year", 1.05),
        ("(0.5 % of reading + 0.2 Pa) per year", 1.05),
        ("±(0.5 % of reading + 0.2 Pa)/year", 1.05),
        ("max(0.5 % of reading, 0.2 Pa) per year", 0.75),
        ("the greater of 0.5 % of reading per year and 0.2 Pa per year", 0.75),
    ],
)
def test_drift_grows_with_the_years(text, expected):
    (component,) = parse_drift(text, convert, 1.5, full_scale=1000.0)
    assert component.name == "drift"
    assert float(component.half_width(100.0)) == pytest.approx(expected, rel=1e-12)
    assert float(component.standard(100.0)) == pytest.approx(expected / math.sqrt(3.0), rel=1e-12)
    (fresh,) = parse_drift(text, convert, 0.0, full_scale=1000.0)
    assert float(fresh.half_width(100.0)) == 0.0


@pytest.mark.parametrize(
    ("text", "years", "word"),
    [
        ("0.5 % of reading", 1.0, "a rate"),
        ("0.5 % of reading (1 year)", 1.0, "a rate"),
        ("0.5 % of reading + 0.2 Pa per year", 1.0, "bracket them"),
        ("(0.2 Pa per year) per year", 1.0, "not a rate"),
        ("0.2 Pa per year", -0.5, "dates"),
        ("0.2 Pa per year", math.nan, "dates"),
        ("0.2 Pa per fortnight", 1.0, "no such unit"),
    ],
)
def test_drift_that_is_no_rate_is_refused(text, years, word):
    with pytest.raises(StatementError, match=word):
        parse_drift(text, convert, years)


def test_drift_refuses_percent_of_reading_where_zero_is_a_convention():
    with pytest.raises(StatementError):
        parse_drift("0.1 % of reading per year", convert, 1.0, point=kelvin)


numbers = st.floats(1e-3, 1e3).map(lambda x: float(f"{x:.6g}"))
relatives = st.sampled_from(["{} % of reading", "{}% rdg", "{} percent of the reading", "{} % OF MEASURED VALUE"])
absolutes = st.sampled_from(["{} Pa", "{}Pa", "( {} Pa )"])
joins = st.sampled_from([" + ", "+", " plus ", " ± ", "+/-", " +- "])
signs = st.sampled_from(["", "±", "+/- ", "+-"])


@given(
    a=numbers,
    b=numbers,
    relative=relatives,
    absolute=absolutes,
    join=joins,
    sign=signs,
    swap=st.booleans(),
    reading=st.floats(-1e4, 1e4),
)
def test_every_spelling_of_a_sum_is_the_sum_of_its_parts(a, b, relative, absolute, join, sign, swap, reading):
    parts = [relative.format(a), absolute.format(b)]
    text = sign + join.join(reversed(parts) if swap else parts)
    (whole,) = parse(text, convert)
    split = sum(float(parse(part, convert)[0].half_width(reading)) for part in parts)
    assert float(whole.half_width(reading)) == pytest.approx(split, rel=1e-12)
    assert split == pytest.approx(a / 100.0 * abs(reading) + b, rel=1e-12)


@given(
    a=numbers,
    b=numbers,
    relative=relatives,
    absolute=absolutes,
    reading=st.floats(-1e4, 1e4),
    frame=st.sampled_from(
        ["{} or {}, whichever is greater", "the greater of {} and {}", "max({}, {})", "±({} or {} whichever is larger)"]
    ),
)
def test_every_spelling_of_the_greater_is_the_greater_of_its_parts(a, b, relative, absolute, reading, frame):
    (component,) = parse(frame.format(relative.format(a), absolute.format(b)), convert)
    expected = max(a / 100.0 * abs(reading), b)
    assert float(component.half_width(reading)) == pytest.approx(expected, rel=1e-12)
