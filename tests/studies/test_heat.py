"""The rise of a winding with its error bar, and what a limit says of it."""

import math

import pytest

from flowrig.errors import InputError
from flowrig.report.blocks import plain
from flowrig.report.life_text import heat_blocks
from flowrig.studies.heat import ABOVE, BELOW, NO_LIMIT, OPEN, heat
from flowrig.studies.reduce import load
from tests.studies.cleaners_in_use import cleaner

WINDING = {
    "cold": "20 ohm ± 0.2 ohm",
    "hot": "25 ohm ± 0.1 ohm",
    "room_cold": "20 degC ± 0.5 degC",
    "room_hot": "22 degC ± 0.4 degC",
}


def found(**lines):
    return heat(load(cleaner(winding={**WINDING, **lines})))


def test_the_error_bar_is_that_of_the_hand_made_derivatives():
    # JCGM 100:2008 5.1.2 (from memory): derivatives of (R2/R1 - 1)(234.5 + T1) - (T2 - T1), limits over the root of 3
    slopes = {
        "cold": -25.0 / 20.0**2 * 254.5 * 0.2,
        "hot": 254.5 / 20.0 * 0.1,
        "room_cold": 25.0 / 20.0 * 0.5,
        "room_hot": 0.4,
    }
    by_hand = math.sqrt(sum(x**2 for x in slopes.values()) / 3.0)
    rise = found().rise
    assert rise.value == pytest.approx(61.625, abs=1e-9)
    assert rise.u == pytest.approx(by_hand, rel=1e-3)
    assert rise.low < rise.value - by_hand < rise.value + by_hand < rise.high


@pytest.mark.parametrize(
    ("limit", "verdict", "code"),
    [
        ("75 K", BELOW, None),
        ("62 K", OPEN, "winding may be too hot"),
        ("60 K", OPEN, "winding may be too hot"),
        ("50 K", ABOVE, "winding too hot"),
    ],
)
def test_a_limit_is_held_against_the_whole_error_bar(limit, verdict, code):
    result = found(limit=limit)
    assert result.verdict == verdict
    codes = [f.code for f in result.findings]
    assert (code in codes) if code else not {"winding may be too hot", "winding too hot"} & set(codes)
    assert verdict in plain(heat_blocks(result))


def test_without_a_limit_none_is_made_up():
    result = found()
    assert (result.verdict, result.limit) == (NO_LIMIT, None)


def test_an_instrument_and_repeats_bring_their_errors():
    record = cleaner(
        winding={**WINDING, "hot": ["24.9 ohm", "25.0 ohm", "25.1 ohm"], "cold": "20 ohm"},
        instruments={"ohmmeter": {"measures": "resistance", "serial": "R1", "accuracy": "0.5 % of reading"}},
    )
    rise = heat(load(record)).rise
    names = [line.cause.name for line in rise.estimate.budget()]
    assert any("R1" in name for name in names)
    assert "scatter of hot" in names
    # a limit holds at each level by itself (JCGM 100:2008 4.3.7, from memory): of two levels it does not cancel
    own = sum(line.u**2 for line in rise.estimate.budget() if "R1" in line.cause.name)
    each = 25.0 / 20.0 * 254.5 * 0.005 / math.sqrt(3.0)
    assert math.sqrt(own) == pytest.approx(math.sqrt(2.0) * each, rel=1e-3)


def test_without_a_winding_there_is_the_caution_alone():
    assert heat(load(cleaner())) is None
    said = " ".join(plain(heat_blocks(None)).split())
    for word in ("unattended", "guards", "cord", "can run hotter"):
        assert word in said
    assert " K" not in said


def test_a_hot_winding_with_less_resistance_is_refused():
    with pytest.raises(InputError) as caught:
        found(hot="19 ohm ± 0.1 ohm")
    [fault] = caught.value.faults
    assert fault.where == "record, winding.hot"
    assert "more than the cold winding has, 20 ohm" in fault.expected
