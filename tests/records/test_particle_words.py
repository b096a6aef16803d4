"""Which particles words stand for, and whether a rate is of those that a target is of."""

import math
import tomllib
from pathlib import Path

import pytest

from flowrig.records.particle_words import in_words, is_class_average, match, sizes_of

REFERENCE = Path(__file__).parents[1] / "reference"
FACTS = tomllib.loads((REFERENCE / "clean_air_facts.toml").read_text(encoding="utf-8"))


# Source: ANSI/AHAM AC-1, ranges of the three test aerosols, from memory.
@pytest.mark.from_memory
@pytest.mark.parametrize("name", ["smoke", "dust", "pollen"])
def test_the_aerosols_of_the_tests(name):
    found = sizes_of(name)
    assert [1e6 * found.lower, 1e6 * found.upper] == pytest.approx(FACTS["aham_ac_1"][f"{name}_size_um"])


@pytest.mark.parametrize(
    ("words", "lower", "upper"),
    [
        ("0.3 to 1 um", 0.3, 1.0),
        ("0.3-1.0 µm", 0.3, 1.0),
        ("Smoke, 0.3 to 1 um", 0.3, 1.0),
        ("smoke from 0.3 um", 0.3, 1.0),
        ("from 0.3 um", 0.3, math.inf),
        ("PM2.5", 0.0, 2.5),
        ("pm 10", 0.0, 10.0),
    ],
)
def test_words_of_sizes(words, lower, upper):
    found = sizes_of(words)
    assert [1e6 * found.lower, 1e6 * found.upper] == pytest.approx([lower, upper])
    assert in_words(found) in ("0.3 to 1 um", "from 0.3 um", "up to 2.5 um", "up to 10 um")


@pytest.mark.parametrize("words", ["", "fine", "ePM1", "1 to 0.3 um", "smoky", "0.3 kg"])
def test_words_of_none(words):
    assert sizes_of(words) is None


@pytest.mark.parametrize("words", ["ePM1", "epm2.5 of 60 %", "an ePM 10"])
def test_a_class_average(words):
    assert is_class_average(words)
    assert not is_class_average("PM2.5")


# Smoke is submicrometre: a rate for larger particles promises too much.
@pytest.mark.parametrize(
    ("of", "wanted", "found"),
    [
        ("0.3 to 1 um", "smoke", "within"),
        ("0.3 to 0.5 um", "smoke", "within"),
        ("0.1 to 1 um", "smoke", "within"),
        ("0.3 to 1 um", "PM2.5", "within"),
        ("smoke", "PM2.5", "within"),
        ("0.5 to 1 um", "smoke", "partly"),  # from where they are held back better
        ("1 to 2.5 um", "PM2.5", "partly"),
        ("0.3 to 10 um", "smoke", "partly"),
        ("from 0.3 um", "smoke", "partly"),
        ("dust", "smoke", "partly"),
        ("1 to 3 um", "smoke", "apart"),
        ("3 to 10 um", "PM2.5", "apart"),
        ("pollen", "smoke", "apart"),
        ("viable ones", "Viable  Ones", "within"),
        ("viable ones", "smoke", "not known"),
        ("", "smoke", "not known"),
    ],
)
def test_match(of, wanted, found):
    assert match(of, wanted) == found
