"""What an accuracy statement must not be taken for: every refusal names the piece, what was expected, and a remedy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.errors import FlowrigError
from flowrig.uncertainty.statement import StatementError, parse
from tests.uncertainty.statement_units import convert

# text, offending piece, a word of the message
REFUSED = [
    ("", "nothing more", "0.5 % of reading + 0.25 Pa"),
    ("very accurate", "very accurate", "accepted are"),
    ("2 % of readnig", "readnig", "of reading"),
    ("2 % of RH", "RH", "of reading"),
    ("2 % RH", "RH", "accepted are"),
    ("% of reading", "% of reading", "accepted are"),
    ("0.5", "0.5", "its unit"),
    ("0.5 furlong", "0.5 furlong", "no such unit"),
    ("2 % of reading + 0.3 furlong", "0.3 furlong", "no such unit"),
    ("0,5 % of reading", "0,5", "not 0,5"),
    ("0.5 % of reading + 1,000 Pa", "1,000", "thousands"),
    ("U = 0.8 Pa (k=2,95 %)", "2,95", "decimal point"),
    ("1 000 Pa", "1", "its unit"),
    ("-2 % of reading", "-2 % of reading", "no sign"),
    ("± -2 %", "-2 %", "no sign"),
    ("2 % of reading - 0.1 Pa", "- 0.1 Pa", "write +"),
    ("+2/-1 % of reading", "+2/-1 % of reading", "middle"),
    ("0 Pa", "0 Pa", "exact"),
    ("0 % of reading + 0 Pa", "0 % of reading + 0 Pa", "exact"),
    ("1e999 Pa", "1e999", "finite"),
    ("U = 0.8 Pa", "U = 0.8 Pa", "without k"),
    ("expanded uncertainty 0.8 Pa", "expanded uncertainty 0.8 Pa", "without k"),
    ("U = 0.8 Pa, rectangular", "U = 0.8 Pa", "without k"),
    ("U = 0.8 Pa (k=0)", "k=0", "above 0"),
    ("U = 0.8 Pa (k=-2)", "-2)", "coverage factor"),
    ("U = 0.8 Pa (k)", ")", "coverage factor"),
    ("U = 0.8 Pa (k=2, k=3)", "k=3", "twice"),
    ("U = 0.8 Pa (5 %)", "5 %", "above 50"),
    ("U = 0.8 Pa (100 %)", "100 %", "below 100"),
    ("U = 0.8 Pa (k=2", "nothing more", "bracket"),
    ("U = 0.8 Pa (k=2) (rectangular)", "U = 0.8 Pa", "k or a shape"),
    ("u = 0.8 Pa (k=2)", "u = 0.8 Pa", "write U"),
    ("u = 0.8 Pa (95 %)", "u = 0.8 Pa", "write U"),
    ("0.8 Pa, normal", "0.8 Pa", "with 'normal'"),
    ("0.8 Pa, dof = 9", "0.8 Pa", "degrees of freedom"),
    ("u = 0.8 Pa, dof = 0", "dof = 0", "above 0"),
    ("s = 0.2 Pa", "s = 0.2 Pa", "n = 10"),
    ("s = 0.2 Pa, n = 1", "n = 1", "above 1"),
    ("s = 0.2 Pa, n = 9.5", "n = 9.5", "whole number"),
    ("s = 0.2 Pa, n = 9, dof = 8", "s = 0.2 Pa", "no dof"),
    ("0.2 Pa, n = 10", "0.2 Pa", "s = 0.2 Pa"),
    ("2 % typical", "typical", "no limit"),
    ("2 % or 0.05 m/s, whichever is smaller", "smaller", "state the greater"),
    ("2 % or 0.05 m/s, whichever is less", "less", "state the greater"),
    ("the lesser of 2 % and 0.05 m/s", "lesser of 2 % and 0.05 m/s", "state the greater"),
    ("min(2 %, 0.05 m/s)", "min(2 %, 0.05 m/s)", "state the greater"),
    ("2 % or 0.05 m/s", "2 % or 0.05 m/s", "whichever is greater"),
    ("2 %, whichever is greater", "2 %, whichever is greater", "two widths"),
    ("max(2 %)", "max(2 %)", "two widths"),
    ("the greater of 2 %", "the greater of 2 %", "two widths"),
    ("(2 % of reading and 3 fpm)", "and 3 fpm)", "bracket"),
    ("(2 % of reading + 3 fpm", "nothing more", "bracket"),
    ("0.25 % FS", "0.25 % FS", "full scale with the instrument"),
    ("0.25 % of range", "0.25 % of range", "of range (1000 Pa)"),
    ("0.25 % of full scale (0 Pa)", "0.25 % of full scale (0 Pa)", "above zero"),
    ("0.25 % of full scale (0 Pa to 100 Pa)", "to 100 Pa)", "one number"),
    ("2 digits", "2 digits", "resolution"),
    ("0.5 % of reading, 2 digits", "2 digits", "add with +"),
    ("0.5 % of reading (0..250 Pa)", "0..250 Pa)", "in front"),
    ("0.5 % of reading banana", "banana", "accepted are"),
    ("0.5 % of reading, banana", "banana", "accepted are"),
    ("0.5 % of reading (banana)", "banana)", "accepted are"),
    ("0.5 % of reading per year", "0.5 % of reading per year", "drift"),
    ("0.5 Pa/year", "0.5 Pa/year", "drift"),
    ("0.5 % of reading, 0 years", "years", "longer than nothing"),
    ("0..250 Pa: 1 Pa; 200..1000 Pa: 2 Pa", "0..250 Pa; 200..1000 Pa", "overlap"),
    ("up to 250 Pa: 1 Pa; up to 1 kPa: 2 Pa", "up to 250 Pa; up to 1 kPa", "overlap"),
    ("0..250 Pa: 1 Pa; 300..1000 Pa: 2 Pa", "0..250 Pa; 300..1000 Pa", "gap"),
    ("0..250 Pa: 1 Pa; 2 Pa", "0..250 Pa: 1 Pa; 2 Pa", "range before each"),
    ("1 Pa; 2 Pa", "1 Pa; 2 Pa", "range before each"),
    ("250..0 Pa: 1 Pa", "250..0 Pa", "lower end first"),
    ("0..250: 1 Pa", "250", "its unit"),
    ("250 Pa: 1 Pa", ": 1 Pa", "both ends"),
    ("0..250 Pa 300: 1 Pa", "300: 1 Pa", "':'"),
    ("0..250 Pa: ", "nothing more", "accepted are"),
    ("2 % \N{SNOWMAN}", "\N{SNOWMAN}", "accepted are"),
]


@pytest.mark.parametrize(("text", "part", "word"), REFUSED, ids=[row[0] or "empty" for row in REFUSED])
def test_what_is_not_understood_is_refused_by_name(text, part, word):
    with pytest.raises(StatementError) as caught:
        parse(text, convert)
    error = caught.value
    assert error.text == text
    assert error.part == part
    assert word.casefold() in f"{error.expected} {error.remedy}".casefold()
    assert error.expected
    assert error.remedy.endswith((".", "'"))
    assert isinstance(error, FlowrigError)
    assert part in str(error)


def test_full_scale_said_twice_and_differently_is_refused():
    with pytest.raises(StatementError, match="mend one"):
        parse("0.25 % FS (500 Pa)", convert, full_scale=1000.0)


def test_converter_that_gives_no_number_is_refused():
    with pytest.raises(StatementError, match="finite width"):
        parse("0.5 Pa", lambda number, unit: math.nan)


SAMPLES = [
    "±(2 % of reading + 3 fpm)",
    "0.25 % of full scale (1000 Pa)",
    "2 % of reading or 0.05 m/s, whichever is greater",
    "max(1 % of reading, 0.5 Pa, 0.2 Pa + 0.5 % of reading)",
    "U = 0.5 % of reading + 0.2 Pa, coverage factor k = 2",
    "s = 0.2 Pa, n = 10",
    "1-year accuracy 0.5 % of reading, triangular",
    "0..250 Pa: 0.5 % of reading + 0.25 Pa; 250..1000 Pa: 1 % of reading",
]


@given(st.text(alphabet="0123456789.,%±+-()/:; URkusnPadiofger=", max_size=40))
def test_any_text_is_read_or_refused_and_never_falls_through(text):
    try:
        components = parse(text, convert)
    except StatementError:
        return
    widths = np.array([component.half_width([0.0, 1.0, 300.0]) for component in components])
    assert components
    assert np.all(np.isnan(widths) | (widths >= 0.0))
    assert all(component.divisor > 0.0 for component in components)


@given(text=st.sampled_from(SAMPLES), cut=st.integers(0, 80), put=st.sampled_from("2 %(,±-u=;:."))
def test_a_wording_with_one_mark_too_many_is_read_or_refused(text, cut, put):
    changed = text[:cut] + put + text[cut:]
    try:
        components = parse(changed, convert)
    except StatementError as error:
        assert error.part  # noqa: PT017 -- both ways out are right, a third is not
        return
    assert all(component.half_width(1.0) > 0.0 or np.isnan(component.half_width(1.0)) for component in components)
