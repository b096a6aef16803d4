"""A record with particle counts, a flow and decays of one counter: what the room has of its cleaner."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.errors import CalculationError, InputError
from flowrig.report.text import result_text
from flowrig.studies.cleaner_source import DECAY, source_of
from flowrig.studies.reduce import load
from flowrig.studies.result import Result
from tests.studies import count_records
from tests.studies.decays import ROOM, SAMPLE, VOLUME, decays
from tests.studies.rooms import room

SIZES = ("0.3 um", "0.5 um")
UP, BEHIND = (14200, 2400), (4260, 480)  # 70 % and 80 % held back
FLOW = 700.0 / 3600.0


def over_time(losses: tuple[float, ...], minutes: int) -> dict[str, Any]:
    """Counts of a channel each that fall at its own rate [1/h] to next to nothing."""
    time = np.arange(0.0, minutes + 0.5)
    first = (12e6, 3e6)
    counts = {
        name: np.round(SAMPLE * level * (np.exp(-loss * time / 60.0) + 0.002))
        for name, level, loss in zip(SIZES, first, losses, strict=True)
    }
    return {"time [min]": time, **counts}


@cache
def reduced(effectiveness: float, particles: bool = True, channels: tuple[str, ...] = SIZES) -> Result:
    """Flow, efficiency and decays; the room has of the cleaner so much of flow times efficiency."""
    rows = []
    for i in range(11):
        counts = UP if i % 2 == 0 else BEHIND
        place = "downstream" if i % 2 else "upstream"
        rows.append({"place": place} | dict(zip(channels, counts, strict=True)))
    counter = count_records.COUNTER | {"max_concentration": "1000 1/cm3"}
    record = count_records.record(rows, {"A": counter}, flow="700 m3/h ± 14 m3/h")
    cleaned = tuple(effectiveness * FLOW * 3600.0 * share / VOLUME for share in (0.7, 0.8))
    off = over_time((0.4, 0.4), 60)
    record |= {
        "title": "Whole (invented)", "date": dt.date(2026, 8, 21), "decay": dict(ROOM),
        "decay_runs": [
            {"name": "on", "cleaner": "on", "counts": over_time(tuple(0.4 + c for c in cleaned), 30)},
            {"name": "off", "cleaner": "off", "counts": off, "floor_at_most": "1 %"},
        ],
    }  # fmt: skip
    if not particles:
        del record["particles"]
    return flowrig.reduce(record, samples=2000)


def test_the_effectiveness_of_a_room_and_what_is_drawn_back():
    result = reduced(0.8)
    part = result.parts["decay"]
    for key, efficiency in (("0.3_to_0.5_um", 0.7), ("from_0.5_um", 0.8)):
        effect = part.quantities[f"effectiveness_{key}"]
        assert effect.value == pytest.approx(80.0, rel=0.01)
        assert effect.low < 80.0 < effect.high
        share = (1 - 0.8) / (1 - 0.8 * (1 - efficiency))
        assert part.quantities[f"share_{key}"].value == pytest.approx(100 * share, rel=0.05)
    [first, _] = part.told
    assert first.effect.comparison.verdict == "disagree"
    assert not first.effect.findings


def test_what_both_share_is_known():
    told = reduced(0.8).parts["decay"].told[0]
    shared = [c.name for c in told.clean_air.estimate.parts if c in told.effect.by_flow.estimate.parts]
    assert "counter A (PC-7) dead time" in shared


def test_it_is_told_within_eighty_columns():
    text = result_text(reduced(0.8))
    assert max(map(len, text.splitlines())) <= 80
    for words in ("Held against flow times efficiency", "Room effectiveness, 0.3 to 0.5 um", "drawn back in"):
        assert words in text
    assert "Held against" not in result_text(reduced(0.8, particles=False))


def test_all_of_the_flow_agrees():
    told = reduced(1.0).parts["decay"].told[0]
    assert told.effect.comparison.verdict == "agree"
    assert "agree within their error bars" in told.effect.sentence


def test_more_than_all_of_it_is_told():
    assert "more clean air than flow times efficiency" in {f.code for f in reduced(1.3).parts["decay"].findings}


def test_other_channels_are_not_held_against_each_other():
    part = reduced(0.8, channels=("0.4 um", "0.7 um")).parts["decay"]
    assert all(told.effect is None for told in part.told)
    assert "no channel of the counts has just the sizes" in part.why_not_held
    assert part.why_not_held in part.sentences


@pytest.mark.parametrize(("particles", "told"), [("0.3 to 0.5 um", True), ("1 to 3 um", False)])
def test_a_cleaner_may_be_known_by_its_decays(particles: str, told: bool) -> None:
    cleaner = {"name": "box", "count": 2, "test": decays(), "particles": particles}
    held = load(room(cleaner))
    [section] = held.parts["room"].cleaners
    if told:
        source = source_of(held, section, {})
        assert source.how == DECAY  # what the room does is in it: no mixing is to be taken off again
        assert source.clean_air.value * 3600 == pytest.approx(8.0 * VOLUME, rel=0.01)
        return
    with pytest.raises(InputError, match=r"or its \[decay\], must cover"):
        source_of(held, section, {})


def test_a_mixing_beside_a_rate_by_decay_is_refused() -> None:
    """It would be taken off twice."""
    cleaner = {"name": "box", "test": decays(), "particles": "0.3 to 0.5 um"}
    with pytest.raises(InputError, match="what a room does to a cleaner is in it already"):
        flowrig.room(room(cleaner, room={"mixing": "0.9 ± 0.05"}))


def test_runs_that_were_exchanged_are_an_alarm() -> None:
    record = decays()
    on, off = record["decay_runs"][:2]
    on["counts"], off["counts"] = off["counts"], on["counts"]
    found = flowrig.reduce(record).parts["decay"].findings
    assert "slower with the cleaner" in [f.code for f in found if f.severity == "alarm"]
    with pytest.raises(InputError, match="a clean-air rate above zero"):
        flowrig.room(room({"name": "box", "test": record, "particles": "0.3 to 0.5 um"}))


def test_counts_that_do_not_fall_tell_no_rate() -> None:
    record = decays()
    table = record["decay_runs"][0]["counts"]
    rng = np.random.default_rng(3)
    for name in [key for key in table if "um" in key]:
        table[name] = rng.poisson(float(table[name][0]), len(table[name]))
    with pytest.raises(CalculationError, match=r"of on tell no rate: they end at \d+ %"):
        flowrig.reduce(record)
