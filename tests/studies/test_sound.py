"""Levels of a unit: background, places, bands, sound power and levels elsewhere, from record to result."""

from __future__ import annotations

import math
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import flowrig
from flowrig.physics import energy_mean, energy_sum, power_level_from_room, room_constant, room_level
from flowrig.report.text import result_text
from flowrig.studies.result import Quantity
from flowrig.studies.sound import SoundResult
from flowrig.studies.sound_level import spread_of
from flowrig.uncertainty.interval import coverage_factor
from tests.reference.load import rows
from tests.studies.cleaners import codes

WORKED = tomllib.loads((Path(__file__).parents[1] / "reference" / "sound_worked.toml").read_text(encoding="utf-8"))
BACKGROUND = WORKED["background_correction"]
OCTAVES = [63, 125, 250, 500, 1000, 2000, 4000, 8000]
ROOT3 = math.sqrt(3)
METER = {"measures": "sound level", "serial": "S1", "accuracy": "0.9 dB"}
GOOD = {"microphone": "out of the jet", "setting": "high", "filter_state": "new"}
FLOOR = {"distance": "1 m", "stands": "on the floor", "surroundings": "in the open"}
LIMIT = 0.9 / ROOT3


def dB(*levels: float) -> list[str]:  # noqa: N802 - the unit is spelled so
    return [f"{x:.12g} dB" for x in levels]


def record(at: list[dict[str, Any]] | None = None, **said: Any) -> dict[str, Any]:
    heading = {"title": "A cleaner", "date": date(2026, 8, 21), "invented": True}
    made = heading | {"instruments": {"meter": METER}, "sound": GOOD | said}
    return made | ({"sound_at": at} if at is not None else {})


def heard(at: list[dict[str, Any]] | None = None, **said: Any) -> SoundResult:
    part = flowrig.reduce(record(at, **said)).parts["sound"]
    assert isinstance(part, SoundResult)
    return part


def level(**said: Any) -> Quantity:
    return heard(**said).quantities["level"]


# Source: ISO 3744:2010, correction from memory; invented levels, recomputed.
@pytest.mark.from_memory
def test_background_taken_off():
    found = heard(level=dB(BACKGROUND["L_total"]), background=dB(BACKGROUND["L_bg"]))
    q = found.quantities["level"]
    assert q.value == pytest.approx(BACKGROUND["L_source"], abs=5e-7)
    # the meter errs alike in both, so that only the level moves by it; the background may have been 1 dB off
    slope = 1 / (10 ** ((BACKGROUND["L_total"] - BACKGROUND["L_bg"]) / 10) - 1)
    assert q.u == pytest.approx(math.hypot(LIMIT, slope / ROOT3), rel=2e-3)
    assert "background read once" in codes(found.findings)
    assert "47.0 dB, background 40.0 dB: 1.0 dB taken off." in found.sentences[0]


# Source: ISO 3744:2010, below 6 dB no more than 1.3 dB is taken off and an upper bound told; from memory, recomputed.
@pytest.mark.from_memory
def test_a_background_that_is_too_near_gives_an_upper_bound():
    near = BACKGROUND["below_6_dB"]
    said = {"level": dB(near["L_total"]), "background": dB(near["L_bg"], near["L_bg"])}
    result = flowrig.reduce(record(**said) | {"claims": {"sound": "40 dB"}})
    found = result.parts["sound"]
    assert set(found.quantities) == {"level_at_most"}
    q = found.quantities["level_at_most"]
    assert float(q.estimate.value) == pytest.approx(near["reported_upper_bound"])
    assert (q.bound, q.low) == ("at most", -math.inf)
    assert float(q.high) == pytest.approx(
        near["reported_upper_bound"] + 0.9 * 0.9, abs=0.01
    )  # 95 % of the meter's limit
    assert "background too near" in codes(found.findings)
    text = " ".join(result_text(result).split())
    assert "1.3 dB taken off, which is all that is allowed: at most 45.7 dB as read." in text
    assert "Sound level at most 46.5" in text
    assert "is at most 6.5 dB above the stated 40 dB." in text
    # at survey grade it is a level
    survey = level(**said, grade="survey")
    assert survey.value == pytest.approx(near["uncapped_L_source"])


@pytest.mark.parametrize(("apart", "grade", "bound"), [(6.0, "engineering", False), (5.9, "engineering", True),
                                                       (3.0, "survey", False), (2.9, "survey", True)])  # fmt: skip
def test_the_difference_that_each_grade_asks_for(apart: float, grade: str, bound: bool) -> None:
    found = heard(level=dB(50.0), background=dB(50.0 - apart), grade=grade)
    assert ("level_at_most" in found.quantities) == bound
    assert ("level" in found.quantities) != bound


@settings(max_examples=20, deadline=None)
@given(apart=st.floats(-4.0, 5.9))
def test_a_bound_is_never_below_what_was_left_over(apart: float) -> None:
    q = heard(level=dB(50.0), background=dB(50.0 - apart)).quantities["level_at_most"]
    if apart > 0.01:
        left = 50.0 + 10 * math.log10(1 - 10 ** (-apart / 10))
        assert float(q.estimate.value) >= left - 1e-9
    assert float(q.estimate.value) <= 50.0


def test_a_background_above_the_level_is_an_alarm():
    found = heard(level=dB(50.0), background=dB(51.0))
    assert float(found.quantities["level_at_most"].estimate.value) == 50.0
    [alarm] = [f for f in found.findings if f.severity == "alarm"]
    assert alarm.code == "background above the level"


def test_no_background_at_all():
    found = heard(level=dB(52.3))
    assert found.quantities["level"].value == pytest.approx(52.3)
    assert found.quantities["level"].u == pytest.approx(LIMIT)
    assert "background not read" in codes(found.findings)
    assert found.quantities["level"].label == "level, background included"


def test_the_mean_over_the_places_is_by_energy():
    levels = [50.0, 53.0, 56.0, 51.0]
    found = heard(level=dB(*levels), place=[1, 2, 3, 4], background=dB(20.0, 20.0))
    q = found.quantities["level"]
    assert q.value == pytest.approx(energy_mean(np.array(levels)).item(), abs=0.01)
    u, dof = spread_of(np.array(levels))
    assert q.u == pytest.approx(math.hypot(LIMIT, u), rel=2e-3)
    assert dof == 3
    assert q.estimate.dof == pytest.approx(3 * (float(q.u) / u) ** 4, rel=1e-2)
    assert "one place of the microphone" not in codes(found.findings)
    assert "few readings" in codes(found.findings)
    assert found.sentences[0] == "Mean by energy over 4 places of the microphone."


def test_repeats_at_a_place_are_no_places():
    """Two readings at each of three places weigh as three; many repeats at one place do not make it louder."""
    twice = [50.0, 50.2, 53.0, 52.8, 56.0, 56.2, 56.1, 56.1]
    found = heard(level=dB(*twice), place=[1, 1, 2, 2, 3, 3, 3, 3], background=dB(20.0, 20.0))
    means = [energy_mean(np.array(own)).item() for own in (twice[:2], twice[2:4], twice[4:])]
    assert found.quantities["level"].value == pytest.approx(energy_mean(np.array(means)).item(), abs=0.01)
    assert found.level is not None
    assert (found.level.places, found.level.repeats) == (3, 2)
    # at one place their scatter is all there is
    alone = heard(level=dB(50.0, 50.4, 50.2), background=dB(20.0, 20.0))
    u, _ = spread_of(np.array([50.0, 50.4, 50.2]))
    assert alone.quantities["level"].u == pytest.approx(math.hypot(LIMIT, u), rel=1e-3)
    assert "one place of the microphone" in codes(alone.findings)


# Source: Zhou and Gao 1997 for the level of a lognormal mean (from memory); the standard error of a mean.
@pytest.mark.from_memory
def test_spread_of_the_mean_by_energy():
    levels = np.array([50.0, 53.0, 56.0, 51.0])
    energy = 10 ** (levels / 10)
    by_energy = 10 / math.log(10) * np.std(energy, ddof=1) / np.mean(energy) / 2
    s2 = np.var(levels, ddof=1)
    by_level = math.sqrt(s2 / 4 + (math.log(10) / 20) ** 2 * 2 * s2**2 / 3)
    assert spread_of(levels) == (pytest.approx(max(by_energy, by_level)), 3.0)
    # of little scatter both are the scatter of the decibels
    little = 50 + 0.01 * np.array([0.0, 1.0, 3.0, -2.0])
    assert spread_of(little)[0] == pytest.approx(np.std(little, ddof=1) / 2, rel=2e-3)
    assert spread_of(np.full(3, 50.0))[0] == 0.0


@pytest.mark.coverage
@pytest.mark.parametrize(("n", "scatter"), [(3, 1.0), (6, 2.0), (12, 3.0)])
def test_the_spread_covers_the_level_of_all_places(n: int, scatter: float) -> None:
    """1500 sets of places: the share that holds the truth has a standard error of 0.56 points."""
    rng = np.random.default_rng(3)
    levels = rng.normal(0.0, scatter, (1500, n))
    reach = float(coverage_factor(0.95, n - 1))
    truth = scatter**2 * math.log(10) / 20  # of the energy of all places, whose levels are normal
    held = 0
    for own in levels:
        held += abs(energy_mean(own).item() - truth) <= reach * spread_of(own)[0]
    assert 93.0 < 100 * held / len(levels) < 97.0


# Source: a training manual's octaves, 42 dBA printed; with the weights of IEC 61672-1 42.48 dBA, recomputed.
@pytest.mark.published
def test_octaves_to_one_level():
    worked = WORKED["octave_to_dBA"]
    found = heard(level=dB(*worked["L_dB"]), bands=[f"{f} Hz" for f in worked["octave_Hz"]])
    q = found.quantities["level"]
    assert q.value == pytest.approx(worked["total_with_IEC_61672_weights"], abs=0.02)  # its weights have a decimal
    assert round(float(q.value)) == worked["total_printed_dBA"]
    assert {"weighted by octaves", "one place of the microphone"} <= codes(found.findings)
    assert "bands missing" not in codes(found.findings)
    assert found.sentences[0] == "A-weighted from 8 octaves, 63 to 8000 Hz."


# Source: IEC 61672-1, printed weights of third-octaves, read: each is half a tenth off at most.
@pytest.mark.published
def test_third_octaves_to_one_level():
    bands = [row for row in rows("sound_a_weighting.csv") if 50 <= float(row["nominal_Hz"]) <= 10000]
    levels = [60 - 0.5 * k for k in range(len(bands))]
    printed = [x + float(row["A_dB_printed"]) for x, row in zip(levels, bands, strict=True)]
    found = heard(level=dB(*levels), bands=[f"{row['nominal_Hz']} Hz" for row in bands])
    assert found.quantities["level"].value == pytest.approx(energy_sum(np.array(printed)).item(), abs=0.05)
    assert "weighted by octaves" not in codes(found.findings)


def test_background_is_taken_off_band_by_band():
    levels = np.array([50.0, 48.0, 46.0, 45.0, 44.0, 40.0, 35.0, 30.0])
    behind = levels - np.array([12.0, 6.5, 7.0, 8.0, 20.0, 20.0, 20.0, 20.0])
    bands = [f"{f} Hz" for f in OCTAVES]
    weights = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]  # IEC 61672-1
    alone = 10 * np.log10(10 ** (levels / 10) - 10 ** (behind / 10))
    q = level(level=dB(*levels), background=dB(*behind), bands=bands)
    assert q.value == pytest.approx(energy_sum(alone + weights).item(), abs=0.03)


def test_bands_near_their_background():
    """A low hum that cannot be told from the room's own adds what it may, half of it by default; or all is a bound."""
    levels, bands = np.array([55.0, 50.0, 48.0, 40.0]), ["63 Hz", "500 Hz", "1000 Hz", "2000 Hz"]
    clear = [53.0, 30.0, 30.0, 20.0]
    found = heard(level=dB(*levels), background=dB(*clear), bands=bands)
    q = found.quantities["level"]
    others = level(level=dB(*levels[1:]), background=dB(*clear[1:]), bands=bands[1:]).value
    hum = 55.0 - 1.3 - 26.2
    middle = energy_sum(np.array([others, hum + 10 * math.log10(0.5)])).item()
    assert q.value == pytest.approx(middle, abs=0.02)
    [part] = [p for c, p in q.estimate.parts.items() if "near" in c.label]
    most = energy_sum(np.array([others, hum])).item()
    assert float(part[0]) * ROOT3 == pytest.approx(most - middle, rel=0.05)
    assert "background near in some bands" in codes(found.findings)
    # where such a band has a say in the level, the level is a bound
    loud = heard(level=dB(75.0, *levels[1:]), background=dB(73.0, *clear[1:]), bands=bands)
    assert set(loud.quantities) == {"level_at_most"}
    bound = energy_sum(np.array([others, 75.0 - 1.3 - 26.2])).item()
    assert float(loud.quantities["level_at_most"].estimate.value) == pytest.approx(bound, abs=0.02)


def test_missing_bands():
    [flag] = [f for f in heard(level=dB(50, 50, 50), bands=["125 Hz", "500 Hz", "1 kHz"]).findings
              if f.code == "bands missing"]  # fmt: skip
    assert flag.message == "none near 251 Hz, from 125 to 1000 Hz alone"


def test_a_table_of_readings():
    """Bands at places, with repeats and a background at each place: as the same readings one by one."""
    readings: dict[str, list[Any]] = {"place": [], "frequency [Hz]": [], "level [dB]": [], "background [dB]": []}
    rng = np.random.default_rng(2)
    levels = 50 + rng.normal(0, 2, (3, 4, 2))
    behind = levels.mean(axis=2) - 10 - rng.uniform(0, 5, (3, 4))
    bands = [250, 500, 1000, 2000]
    for p in range(3):
        for b, band in enumerate(bands):
            for r in range(2):
                readings["place"].append(p + 1)
                readings["frequency [Hz]"].append(band)
                readings["level [dB]"].append(levels[p, b, r])
                readings["background [dB]"].append(behind[p, b] if r == 0 else None)
    found = heard(readings=readings)
    weights = np.array([-8.6, -3.2, 0.0, 1.2])
    mean = 10 * np.log10(np.mean(10 ** (levels / 10), axis=(0, 2)))
    off = 10 * np.log10(np.mean(10 ** (behind / 10), axis=0))
    alone = 10 * np.log10(10 ** (mean / 10) - 10 ** (off / 10))
    q = found.quantities["level"]
    assert q.value == pytest.approx(energy_sum(alone + weights).item(), abs=0.03)
    places = energy_mean(energy_sum(np.swapaxes(levels, 1, 2) + weights)[..., 0])[:, 0]
    [part] = [p for c, p in q.estimate.parts.items() if c.label == "scatter of level over the places"]
    assert float(part[0]) > spread_of(places)[0]  # and more by what the background leaves
    assert "background read once" not in codes(found.findings)


# Source: ISO 3744:2010, sound power over a reflecting floor: L_p + 10 lg(2 pi r²), recomputed.
@pytest.mark.recomputed
def test_sound_power_over_a_floor():
    worked = WORKED["sound_power"]
    found = heard(level=dB(worked["Lp_at_1m"]), background=dB(10, 10), **FLOOR)
    q = found.quantities["sound_power"]
    assert q.value == pytest.approx(worked["Lw"], abs=5e-4)
    assert found.distance == 1.0
    # one place is less than survey grade asks for
    assert q.u == pytest.approx(math.hypot(LIMIT, 4.0), rel=1e-6)
    nine = heard(level=dB(*[55.0] * 9), place=list(range(1, 10)), background=dB(10, 10), **FLOOR)
    assert nine.quantities["sound_power"].u == pytest.approx(math.hypot(LIMIT, 1.5), rel=1e-6)
    [grade] = [f for f in nine.findings if f.code == "sound power by grade"]
    assert grade.message == "engineering grade, 9 places: standard uncertainty 1.5 dB"
    four = heard(level=dB(*[55.0] * 4), place=[1, 2, 3, 4], background=dB(10, 10), **FLOOR)
    assert four.quantities["sound_power"].u == pytest.approx(math.hypot(LIMIT, 3.0), rel=1e-6)


def test_sound_power_in_a_room_and_its_errors():
    room = {"surroundings": "in a room", "room_surface": "150 m2", "absorption": "0.2 ± 0.05"}
    said = FLOOR | room | {"distance": "1.5 m ± 10 cm", "level": dB(50.0), "background": dB(10, 10)}
    q = heard(**said).quantities["sound_power"]

    def power(distance: float, absorption: float) -> float:
        return float(power_level_from_room(50.0, 2.0, distance, room_constant(150.0, absorption)))

    assert q.value == pytest.approx(power(1.5, 0.2), abs=1e-3)
    by_distance = (power(1.6, 0.2) - power(1.4, 0.2)) / 2 / ROOT3
    by_room = (power(1.5, 0.25) - power(1.5, 0.15)) / 2 / ROOT3
    assert q.u == pytest.approx(math.hypot(LIMIT, 4.0, by_distance, by_room), rel=2e-3)
    dead = heard(**said | {"distance": "6 m", "absorption": "0.05 ± 0.01"})
    assert "mostly the room" in codes(dead.findings)
    assert "mostly the room" not in codes(heard(**said).findings)


# Source: law of distance in the open, recomputed.
@pytest.mark.recomputed
def test_levels_at_other_distances_in_the_open():
    worked = WORKED["distance_free_field"]
    at = [{"name": f"{r} m", "distance": f"{r} m"} for r in worked["r_m"]]
    found = heard(at, level=dB(worked["L_at_1m"]), background=dB(10, 10), **FLOOR).quantities
    for k, level_there in enumerate(worked["L"]):
        assert found[f"level_at_{k + 1}"].value == pytest.approx(level_there, abs=5e-4)


# Source: N equal sources, recomputed.
@pytest.mark.recomputed
def test_several_units_at_the_same_place_need_no_sound_power():
    worked = WORKED["n_equal_sources"]
    at = [{"name": "here", "units": n} for n in worked["N"]]
    found = heard(at, level=dB(worked["L1_dBA"])).quantities
    for k, total in enumerate(worked["total_dBA"]):
        q = found[f"level_at_{k + 1}"]
        assert q.value == pytest.approx(total, abs=1e-5)
        assert q.u == pytest.approx(LIMIT)


def test_a_level_in_another_room():
    there = {"name": "classroom", "distance": "3 m", "stands": "in a corner", "surroundings": "in a room",
             "room_surface": "200 m2", "absorption": "0.3 ± 0.1", "units": 2}  # fmt: skip
    found = heard([there], level=dB(50.0), background=dB(10, 10), **FLOOR)
    power = float(power_level_from_room(50.0, 2.0, 1.0, math.inf))
    level_there = float(room_level(power, 8.0, 3.0, room_constant(200.0, 0.3))) + 10 * math.log10(2)
    q = found.quantities["level_at_1"]
    assert q.value == pytest.approx(level_there, abs=1e-3)
    assert q.u > 4.0
    assert q.label == "level, classroom, 2 units"


def test_elsewhere_needs_to_know_where_it_was_measured():
    found = heard([{"name": "desk", "distance": "3 m"}], level=dB(50.0), distance="1 m")
    assert "level_at_1" not in found.quantities
    [flag] = [f for f in found.findings if f.code == "level elsewhere not told"]
    assert flag.message == "desk"
    assert "No sound power is told: stands, surroundings not said." in found.sentences


def test_a_bound_stays_one_wherever_it_goes():
    found = heard([{"name": "far", "distance": "2 m"}], level=dB(50.0), background=dB(46.0), **FLOOR).quantities
    assert set(found) == {"level_at_most", "sound_power_at_most", "level_at_1_at_most"}
    assert all(q.bound == "at most" for q in found.values())


@pytest.mark.parametrize(
    ("microphone", "code", "severity"),
    [
        ("in the jet", "microphone in the jet", "alarm"),
        ("in the jet, with a windscreen", "windscreen in the jet", "warning"),
        ("not said", "jet not said", "warning"),
        ("out of the jet", "", ""),
    ],
)
def test_the_jet(microphone: str, code: str, severity: str) -> None:
    found = heard(level=dB(50.0), background=dB(10, 10), microphone=microphone)
    told = {(f.code, f.severity) for f in found.findings if "jet" in f.code}
    assert told == ({(code, severity)} if code else set())
    assert ("level_at_most" in found.quantities) == (microphone == "in the jet")


def test_places_that_are_far_apart():
    apart = heard(level=dB(50, 52, 54, 54.5), place=[1, 2, 3, 4], background=dB(10, 10))
    [flag] = [f for f in apart.findings if f.code == "places far apart"]
    assert flag.message == "4.5 dB over 4 places"
    near = heard(level=dB(50, 52, 53, 53.9), place=[1, 2, 3, 4], background=dB(10, 10))
    assert "places far apart" not in codes(near.findings)


def test_a_unit_that_people_will_switch_off():
    assert "louder than people like" in codes(heard(level=dB(55.0), background=dB(10, 10)).findings)
    assert "louder than people like" not in codes(heard(level=dB(50.5), background=dB(10, 10)).findings)


def test_an_odd_reading_is_named():
    found = heard(level=dB(50.1, 50.2, 50.0, 50.3, 80.2, 50.1), background=dB(10, 10))
    [flag] = [f for f in found.findings if f.code == "odd reading"]
    assert "reading 5: 80.2 dB" in flag.message


def test_all_that_is_said_fits():
    room = {"surroundings": "in a room", "room_surface": "150 m2", "absorption": "0.2 ± 0.05"}
    at = [{"name": "the far end of a rather long corridor outside of the classroom, door open", "units": 3}]
    text = result_text(flowrig.reduce(record(at, level=dB(52, 53, 54), place=[1, 2, 3], **FLOOR | room)))
    assert max(map(len, text.splitlines())) <= 80


def test_slips_of_distance_level_and_meter():
    far = heard([{"name": "a", "distance": "3 m"}], level=dB(52, 53), **FLOOR)
    assert {"sound_power", "level_at_1"} <= set(far.quantities)
    near = heard([{"name": "a", "distance": "3 m"}], level=dB(52, 53), **FLOOR | {"distance": "1 mm"})
    assert list(near.quantities) == ["level"]
    assert [f.message for f in near.findings if f.severity == "alarm"] == ["sound: 1 mm"]
    assert "microphone near the unit" in codes(heard(level=dB(52, 53), **FLOOR | {"distance": "40 cm"}).findings)
    there = heard([{"name": "a", "distance": "1 mm"}], level=dB(52, 53), **FLOOR)
    assert list(there.quantities) == ["level", "sound_power"]
    assert [f.message for f in there.findings if f.severity == "alarm"] == ["sound_at[1]: 1 mm"]
    assert "level hardly likely" in codes(heard(level=dB(5.2, 5.3), **FLOOR).findings)
    assert "level hardly likely" not in codes(heard(level=dB(15.2, 15.3), **FLOOR).findings)
    for meter, coarse in (
        ({"accuracy": "7 dB"}, True),
        ({"resolution": "2 dB"}, True),
        ({"resolution": "1 dB"}, False),
    ):
        made = record(level=dB(52, 53))
        made["instruments"]["meter"] = METER | meter
        found = flowrig.reduce(made).parts["sound"].findings
        assert ("coarse sound-level meter" in codes(found)) == coarse


def test_long_names_that_begin_alike_stay_apart():
    at = [{"name": f"the desk nearest to the window, {n}", "distance": "2 m"} for n in ("left", "right")]
    found = heard(at, level=dB(52, 53), **FLOOR)
    assert len({q.label for q in found.quantities.values()}) == len(found.quantities) == 4


def test_where_and_at_what_it_was_read_is_told():
    assert heard(level=dB(52, 53), **FLOOR).sentences[0] == (
        "1 m from the middle of the unit; setting: high; filters: new."
    )
    made = record(level=dB(52, 53))
    del made["sound"]["setting"], made["sound"]["filter_state"]
    assert not any("filters" in said for said in flowrig.reduce(made).parts["sound"].sentences)
