"""The block of averages, classes and clean-air rates: within 80 columns, every rate with its sizes, no rating."""

from __future__ import annotations

import numpy as np
import pytest

import flowrig
from flowrig.report.blocks import lines_of
from flowrig.report.clean_air_text import clean_air_blocks
from flowrig.studies.clean_air_rate import clean_air_of
from tests.studies.counted_filters import CLEAN, SIX, TWELVE, beside, efficient, filter_by_size
from tests.studies.records import nozzle

EFFICIENCIES = [0.3, 0.5, 0.7, 0.9, 0.95, 0.97]


def block(by_size, *, flow=True, power=False, section=None, **options):
    record = nozzle()
    if power:
        record["instruments"]["watt meter"] = {"measures": "power", "serial": "W1", "accuracy": "1 % of reading"}
        record["electrical"] = {"power": "90 W"}
    result = flowrig.reduce(record, **options)
    if not flow:
        result.flows.clear()
    lines = list(lines_of(clean_air_blocks(clean_air_of(result, by_size, section or beside(**CLEAN)))))
    assert max(map(len, lines)) <= 80, max(lines, key=len)
    return lines


def test_a_handheld_counter():
    lines = block(efficient(EFFICIENCIES, SIX, 1e6), power=True)
    text = " ".join(" ".join(lines).split())
    assert lines[0] == "Averages over published ranges of size, 95 % intervals in brackets"
    assert any(line.startswith("  E2      1 to 3 um") for line in lines)
    assert "The whole unit, filters clean, performed in this test like class" in text
    assert "of ANSI/ASHRAE 52.2-1999 and -2007, at most" in text
    assert text.count("performed in this test like") == 2  # two tables of limits, three editions
    assert "row 11 read, rows 12 to 16 seen in a public listing of a code" in text
    assert any(line.startswith("  smoke range from 0.3 um  ") for line in lines)
    assert "Ranges: smoke 0.1 to 1 um, dust 0.5 to 3 um, pollen 5 to 11 um (ANSI/AHAM AC-1, from memory)." in text
    assert "never with how many particles were in it" in text
    assert "Clean air per watt" in text
    assert "m3/h/W" in text
    assert "cfm" in text
    assert not any(word in text.lower() for word in ("rated", "merv", "rating"))


def test_numbers_of_the_table_are_those_of_the_result():
    by_size = efficient(EFFICIENCIES, SIX, 1e6)
    found = clean_air_of(flowrig.reduce(nozzle()), by_size, beside(**CLEAN))
    [line] = [x for x in lines_of(clean_air_blocks(found)) if x.startswith("  dust range")]
    q = found.ranges["dust"].clean_air.quantity
    value, low, _, high = line.split("  ")[-1].replace("[", "").replace("]", "").split()
    for shown, own in ((value, q.value), (low, q.low), (high, q.high)):
        assert float(shown) == pytest.approx(float(own), abs=0.51 * 10 ** -len(shown.partition(".")[2]))


def test_at_least_where_nothing_came_through():
    by_size = filter_by_size([[900, 9], [300, 0]], (3.0, 5.0, 10.0))
    found = clean_air_of(flowrig.reduce(nozzle()), by_size, beside(**CLEAN))
    [channel] = [line for line in lines_of(clean_air_blocks(found)) if line.startswith("  5 to 10 um")]
    assert channel.split()[4:6] == ["at", "least"]
    limit = float(found.channels[-1].clean_air.quantity.limit)
    assert limit - 10 < float(channel.split()[-1]) <= limit  # rounded down


def test_a_wide_table_becomes_two():
    """So many counts that efficiencies have six digits: they have no room beside the rates."""
    lines = block(efficient([0.999984] * 12, TWELVE, 1e10))
    heads = [line for line in lines if line.lstrip().startswith("range ")]
    assert [head.split() for head in heads] == [["range", "efficiency", "[%]"], ["range", "clean", "air", "[m3/h]"]]
    [together] = [line for line in block(efficient(EFFICIENCIES, SIX)) if line.lstrip().startswith("range ")]
    assert together.split() == ["range", "efficiency", "[%]", "clean", "air", "[m3/h]"]


def test_without_a_flow():
    lines = block(efficient(EFFICIENCIES, SIX), flow=False)
    assert lines[-1] == "  No clean-air rate: the record holds no flow."
    assert not any("m3/h" in line for line in lines)


def test_media_and_another_coverage():
    lines = block(
        efficient(EFFICIENCIES, SIX, coverage=0.9),
        section=beside(filter_state="used", measured_on="media"),
        coverage=0.9,
    )
    text = " ".join(" ".join(lines).split())
    assert "90 % intervals in brackets" in text
    assert "At most: the efficiency is of the media" in text
    assert "The filter media, filters in use, performed in this test like class" in text


def test_nothing_to_average():
    lines = block(efficient([0.9], (0.5, np.inf)))
    assert lines[0].startswith("Clean-air rate")
    assert any(line.startswith("  from 0.5 um") for line in lines)
