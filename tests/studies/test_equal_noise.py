"""More and slower cleaners at equal noise, against worked figures and independent draws."""

from __future__ import annotations

import json
import math
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from flowrig.errors import InputError
from flowrig.report.blocks import plain
from flowrig.report.noise_text import noise_blocks
from flowrig.report.predict_tables import predict_csv, predict_json
from flowrig.report.predict_text import alarms, predict_text
from flowrig.studies.equal_noise import MIDDLE, NONE, SURE, EqualNoise, equal_noise
from flowrig.studies.predict import predict
from flowrig.studies.reduce import load, reduce
from tests.reference.load import rows
from tests.studies.cleaners import DIP_FLOWS, cleaner, codes, fan, panel, still_air

REFERENCE = Path(__file__).parents[1] / "reference"
FANS = tomllib.loads((REFERENCE / "fans_worked.toml").read_text(encoding="utf-8"))["operating_point_quadratic"]
HALVES = tomllib.loads((REFERENCE / "fan_half_speed.toml").read_text(encoding="utf-8"))["speed_law"][
    "two_half_flow_units_vs_one"
]
WORKED = tomllib.loads((REFERENCE / "sound_worked.toml").read_text(encoding="utf-8"))["speed_law"]
LEVEL = {"level": "57 dB ± 2 dB", "distance": "1 m"}
EFFICIENT = {"particles": "1 to 3 um", "efficiency": ["90 %", "80 %"], "efficiency_velocity": ["0.2 m/s", "1.4 m/s"]}
AIR = still_air()
FEW = 100  # draws, where a test looks at no interval


def quadratic(**limits: str) -> dict[str, Any]:
    """The made-up fan of the worked figures: 70 - 0.012 Q - 2.5e-5 Q², Q in m3/h."""
    flows = np.linspace(0.0, FANS["free_air_m3_h"], 61)
    pressures = 70 - 0.012 * flows - 2.5e-5 * flows**2
    pressures[-1] = 0.0
    return fan(flows, pressures, density=AIR["density"], **limits)


def bank(**fields: str) -> dict[str, Any]:
    return panel(width="508 mm", height="508 mm", **{"linear": "38 Pa", "quadratic": "14 Pa", **AIR, **fields})


def tried(
    noise: dict[str, Any],
    *,
    count: int = 2,
    filter_: dict[str, Any] | None = None,
    fan_: dict[str, Any] | None = None,
    **task: Any,
) -> dict[str, Any]:
    made = cleaner({"filter": filter_ or bank(), "count": count}, fan=fan_ or quadratic(), **task)
    return made | {"noise": LEVEL | noise}


def found(record: dict[str, Any], samples: int | None = FEW) -> EqualNoise:
    result = equal_noise(load(record), samples=samples)
    assert result is not None
    return result


# Source: the file's recomputed rows: 36.5, 40.7 and 44.6 % of the flow at half the speed, not 50 %.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_half_the_speed_is_less_than_half_the_flow(number):
    # a limit of 50 lg 0.5 dB below one as it is has it turn at half its speed, whatever else is known of the level
    limit = 57.0 + WORKED["dL"][WORKED["speed_ratio"].index(0.5)]
    got = found(tried({"limit": f"{limit} dB", "slope": "50 dB", "most": 1}, count=number))
    flow = got.quiet["flow"].value
    assert got.quiet["speed"].value == pytest.approx([100.0, 50.0], rel=1e-6)
    k = HALVES["n_filters"].index(number)
    assert 100 * flow[1] / flow[0] == pytest.approx(HALVES["flow_at_half_speed_pct_of_full"][k], rel=2e-5)
    assert got.quiet["total_level"].value == pytest.approx([57.0, limit])


# Source: the same: two that pass half the flow each are 7.6, 8.8 and 10.0 dB quieter than one, not 12.04 dB.
@pytest.mark.recomputed
@pytest.mark.parametrize("number", [1, 2, 4])
def test_two_at_half_the_flow_each(number):
    got = found(tried({"most": 2}, count=number))
    k = HALVES["n_filters"].index(number)
    saved = HALVES["dL_two_units_each_at_half_flow_vs_one_at_full"][k]
    assert got.enough["speed"].value == pytest.approx([100.0, 100 * HALVES["speed_ratio_for_half_flow"][k]], rel=1e-5)
    assert got.enough["against"].value == pytest.approx([0.0, saved], abs=2e-4)
    assert got.enough["total_level"].value == pytest.approx([57.0, 57.0 + saved], abs=2e-4)
    # the level itself cancels against one: what is left is the rise with the speed, 5 dB either way
    u = abs(math.log10(HALVES["speed_ratio_for_half_flow"][k])) * 5 / math.sqrt(3)
    assert got.enough["against"].u[1] == pytest.approx(u, rel=1e-3)  # and 1.5 % of the viscosity of air


# Source: 10 lg N and 50 lg n: as loud together as one alone is n = N^(-1/5).
@pytest.mark.recomputed
def test_as_loud_as_one():
    got = found(tried({"most": 6}), 4000)
    number = np.arange(1, 7)
    assert got.quiet["speed"].value == pytest.approx(100 * number**-0.2)
    assert got.quiet["total_level"].value == pytest.approx(np.full(6, 57.0))
    assert got.quiet["total_flow"].value == pytest.approx(number * got.quiet["flow"].value)
    # whatever the level is: only the rise of 45 to 55 dB moves the speed
    slopes = 100 * number ** (-10 / np.array([[45.0], [55.0]]))
    assert got.quiet["speed"].low == pytest.approx(np.min(slopes, axis=0), abs=0.2)
    assert got.quiet["speed"].high == pytest.approx(np.max(slopes, axis=0), abs=0.2)
    assert (got.answer, got.verdict) == (None, "")


@pytest.mark.library
def test_the_error_bar_by_independent_draws():
    """4000 draws of numpy in closed form: their quantiles are good to about a thirtieth of the bar."""
    spread = bank(linear="38 Pa ± 6 Pa (k=2)", quadratic="14 Pa ± 4 Pa (k=2)")
    got = found(tried({"limit": "50 dB", "most": 3}, filter_=spread), None)
    rng = np.random.default_rng(7)
    n = 4000
    level, slope = 57 + rng.uniform(-2, 2, n), rng.uniform(45, 55, n)
    a, b = 38 + 3 * rng.standard_normal(n), 14 + 2 * rng.standard_normal(n)
    a = a * (1 + 0.015 * rng.uniform(-1, 1, n))  # the equation of viscosity holds to 1.5 %
    for row, number in ((1, 1), (3, 3)):
        speed = np.minimum(10 ** ((50 - level - 10 * math.log10(number)) / slope), 1.0)
        face = 2 * 0.508**2 * 3600  # m3/h at 1 m/s
        straight, bent = 0.012 * speed + a / face, 2.5e-5 + b / face**2
        flow = number * 2 * 70 * speed**2 / (straight + np.sqrt(straight**2 + 4 * bent * 70 * speed**2))
        low, high = np.quantile(flow, [0.025, 0.975])
        q = got.quiet["total_flow"]
        assert q.value[row] == pytest.approx(np.median(flow), rel=0.02)
        assert [q.low[row], q.high[row]] == pytest.approx([low, high], abs=0.05 * (high - low))


def test_a_fan_with_backflow_losses_and_two_fans_gives_the_wanted_flow_at_the_speed_that_is_told():
    """The speed that is told, put into a prediction by itself, gives the flow that was wanted."""
    more = {"fans": 2, "arrangement": "side by side", "backflow_area": "60 cm2", "backflow_coefficient": "0.6"}
    record = tried({"required_flow": "1500 m3/h", "most": 2}, fan_=fan(), **more)
    record["losses"] = [{"name": "grille", "coefficient": "1.5", "area": "0.2 m2"}]
    got = found(record)
    for number, speed in zip(got.number, got.enough["speed"].value, strict=True):
        alone = {k: v for k, v in record.items() if k != "noise"}
        alone["predict"] = record["predict"] | {"speed_ratio": f"{speed:.12g} %"}
        assert number * predict(alone, samples=100).flow.value == pytest.approx(1500, rel=1e-6)


def test_clean_air_that_is_required_takes_the_efficiency_at_the_slower_air():
    got = found(tried({"limit": "50 dB"}, filter_=bank(**EFFICIENT), required_clean_air="1500 m3/h"), 2000)
    assert got.need.of_clean_air
    row = 3
    assert got.number[row] == 3
    # by itself at that speed a third of it is given
    speed = got.enough["speed"].value[row]
    alone = tried({}, filter_=bank(**EFFICIENT), speed_ratio=f"{speed:.12g} %")
    del alone["noise"]
    assert predict(alone, samples=100)["clean_air"].value == pytest.approx(500, rel=1e-5)
    assert (got.answer, got.verdict) == (4, SURE)
    assert got.together.low[4] > 1500 > got.together.low[3]


def test_clean_air_that_cannot_be_told_is_not_passed_over():
    predicted = predict(tried({"most": 2}, fan_=fan(), required_clean_air="500 m3/h"), samples=100)
    assert predicted.noise is not None
    assert "required clean air not looked at" in codes(predicted.noise.findings)
    text = " ".join(predict_text(predicted).split())
    assert "How many give the clean air that is required cannot be told: no efficiency is known." in text
    told = predict(
        tried({"most": 2}, fan_=fan(), filter_=bank(**EFFICIENT), required_clean_air="500 m3/h"), samples=100
    )
    assert told.noise is not None
    assert "required clean air not looked at" not in codes(told.noise.findings)


def test_the_three_verdicts():
    plain = {"fan_": fan(), "filter_": bank()}
    q = found(tried({"limit": "50 dB", "most": 2}, **plain), 2000).together
    for flow, told in (
        (0.98 * q.low[2], (2, SURE)),
        (0.5 * (q.low[2] + q.value[2]), (2, MIDDLE)),
        (1.02 * q.value[2], (None, NONE)),
    ):
        got = found(tried({"limit": "50 dB", "most": 2, "required_flow": f"{flow} m3/h"}, **plain), 2000)
        assert (got.answer, got.verdict) == told
    # without a requirement as much as one gives as it is, which holds its own error: only the level is in the way
    alone = found(tried({"limit": "60 dB", "most": 2}, **plain))
    assert (alone.answer, alone.verdict) == (1, SURE)
    # without a limit no louder than one as it is
    more = found(tried({"required_flow": f"{1.5 * q.value[0]} m3/h", "most": 3}, **plain), 2000)
    assert (more.answer, more.verdict) == (2, SURE)


def test_one_that_is_quiet_enough_runs_no_faster_than_it_is_meant_to():
    got = found(tried({"limit": "80 dB", "most": 3}, fan_=fan()))
    assert got.quiet["speed"].value == pytest.approx([100, 100, 100, 100])
    assert got.quiet["total_level"].value == pytest.approx(57 + 10 * np.log10([1, 1, 2, 3]))
    slowed = found(tried({"limit": "80 dB", "most": 1}, fan_=fan(), speed_ratio="70 %"))
    assert slowed.quiet["speed"].value == pytest.approx([70, 70])
    assert slowed.quiet["total_level"].value == pytest.approx(57 + WORKED["dL"][2])  # 50 lg 0.7


def test_a_level_that_was_read_at_another_speed():
    got = found(tried({"speed_ratio": "50 %", "most": 1}, fan_=fan()))
    assert got.quiet["total_level"].value == pytest.approx(57 - WORKED["dL"][3])
    assert got.quiet["total_level"].u == pytest.approx(math.hypot(2, 5 * math.log10(2)) / math.sqrt(3), rel=1e-6)


def test_flags():
    few = found(tried({"most": 2}, count=4, fan_=fan()))
    assert "level by the speed alone" in codes(few.findings)
    assert "far below the speed of the curve" not in codes(few.findings)
    many = found(tried({"most": 4}, count=4, fan_=fan()))
    [slow] = [f for f in many.findings if f.code == "far below the speed of the curve"]
    assert "electrician" in slow.meaning.meaning
    assert slow.message == f"down to {many.enough['speed'].value[3]:.0f} % of it"


def test_several_crossings_at_a_speed_are_told():
    made = fan(DIP_FLOWS, (72, 58, 47, 22, 46, 44, 33, 18, 0))
    narrow = panel(linear="0.001 Pa", quadratic="48 Pa")
    got = found(tried({"most": 2}, count=1, fan_=made, filter_=narrow))
    [flag] = [f for f in got.findings if f.code == "several crossings in some designs"]
    assert flag.message == "at the speeds of 1, 2 cleaners"
    alone = predict(cleaner({"filter": narrow, "count": 1}, fan=made), samples=100)
    assert got.quiet["flow"].value[0] == pytest.approx(alone.flow.value)  # the one of the greatest flow


# Source: a catalogued blower of an open dataset, whose points reach neither free air nor shut-off.
def test_no_speed_gives_so_little_through_so_much():
    points = [row for row in rows("fan_curves.csv") if row["fan"] == "blower_400_1750rpm"]
    flows, pressures = ([float(row[c]) for row in points] for c in ("flow_cfm", "static_pressure_inwg"))
    made = fan(flows, pressures, ("cfm", "inH2O"), density=AIR["density"])
    drops = panel(width="1 m", height="1 m", law="power", flow=["1500 cfm", "2600 cfm"], drop_limit="0 %",
                  drop=["1.02 inH2O", "1.95 inH2O"], **AIR)  # fmt: skip
    record = cleaner({"filter": drops}, fan=made) | {"noise": LEVEL | {"required_flow": "20 m3/h", "most": 1}}
    got = found(record)
    assert np.isfinite(got.quiet["flow"].value).all()
    assert np.isnan(got.enough["speed"].value).all()
    assert "no balance at some speeds" in codes(got.findings)
    assert got.answer == 1


def test_as_text_json_and_csv():
    made = fan(flow_limit="6 %", pressure_limit="8 %")
    record = tried({"limit": "50 dB", "most": 3}, filter_=bank(**EFFICIENT), fan_=made, required_clean_air="3000 m3/h")
    predicted = predict(record, samples=400)
    text = predict_text(predicted)
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    assert "One was read at 57 dB ± 2 dB, 1 m away. Taken: 50 dB ± 5 dB for ten times the speed" in flat
    assert "All together no louder than 50 dB:" in flat
    assert "To give 3000 m3/h of clean air all together:" in flat
    assert "Beyond what the fan can give at its full speed, whatever the noise: 1, 2." in flat
    assert "Not achievable with up to 3 of them: 3000 m3/h of clean air at no more noise than 50 dB." in flat
    assert alarms(predicted) == []
    body = json.loads(predict_json(predicted))["noise"]
    assert body["number"] == [1, 1, 2, 3]
    assert body["smallest_number"] is None
    assert {e["name"] for e in body["at_the_limit"]} == {
        "speed", "flow", "total_flow", "total_clean_air", "total_level"
    }  # fmt: skip
    lines = predict_csv(predicted).splitlines()
    assert sum(line.startswith('"2 cleaners, as loud as allowed"') for line in lines) == 5
    assert sum(line.startswith('"1 cleaner, as it is"') for line in lines) == 5
    assert all("level by the speed alone" in line for line in lines if line.startswith('"2 cleaners'))


@pytest.mark.parametrize(
    ("noise", "said"),
    [
        ({"level": "57 dB"}, "noise.level"),
        ({"level": "57"}, "noise.level"),
        ({"level": None}, "neither level nor test"),
        ({"distance": None}, "no distance"),
        ({"distance": "0 m"}, "above 0"),
        ({"slope": "0 dB"}, "from 20 dB"),
        ({"slope": "50"}, "noise.slope"),
        ({"limit": "50 dB ± 1 dB"}, "noise.limit"),
        ({"required_flow": "0 m3/h"}, "noise.required_flow"),
        ({"most": 0}, "a whole number from 1 to 100"),
        ({"quiet": "50 dB"}, "noise.quiet"),
    ],
)
def test_bad_tables(noise: dict[str, Any], said: str) -> None:
    record = tried(noise)
    record["noise"] = {k: v for k, v in record["noise"].items() if v is not None}
    with pytest.raises(InputError) as caught:
        load(record)
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1


def test_no_table_no_answer():
    record = tried({})
    del record["noise"]
    assert equal_noise(load(record)) is None


def heard_in_test(**said: Any) -> dict[str, Any]:
    meter = {"measures": "sound level", "serial": "S1", "accuracy": "0.9 dB"}
    heading = {"title": "Sound of one", "date": date(2026, 8, 1), "invented": True}
    sound = {"level": ["57 dB", "57.4 dB"], "microphone": "out of the jet", "distance": "1.5 m"}
    return heading | {"instruments": {"meter": meter}, "sound": sound | said}


def by_test(test: dict[str, Any], **noise: Any) -> dict[str, Any]:
    record = tried({})
    record["noise"] = {"test": test, "limit": "50 dB", **noise}
    return record


def test_the_level_of_a_test_with_its_causes():
    test = heard_in_test()
    part = reduce(test).parts["sound"]
    got = found(by_test(test))
    own = part.quantities["level"].estimate
    assert float(got.heard.level.value) == float(own.value)
    causes = set(got.quiet["speed"].estimate.parts)
    assert {cause.id for cause in own.parts} <= {cause.id for cause in causes}
    assert "instrument:S1|sound level|no date" in " ".join(cause.id for cause in causes)
    # the same as stated
    u = float(own.u) * math.sqrt(3)
    stated = found(tried({"level": f"{float(own.value)!r} dB ± {u!r} dB", "distance": "1.5 m", "limit": "50 dB"}))
    assert got.quiet["speed"].value == pytest.approx(stated.quiet["speed"].value, rel=1e-9)
    assert got.quiet["speed"].u == pytest.approx(stated.quiet["speed"].u, rel=1e-6)  # by differences
    # what is told of the test's sound is told here too
    warned = [f.message for f in got.findings if f.code == "background not read"]
    assert len(warned) == 1
    assert warned[0].startswith("record: ")
    text = " ".join(plain(noise_blocks(got)).split())
    assert "One was read at 57.2 dB [" in text
    assert "1.5 m away" in text


@pytest.mark.parametrize(
    ("test", "noise", "said"),
    [
        (heard_in_test(microphone="in the jet"), {}, "which tells an upper bound alone"),
        (heard_in_test(distance=""), {}, "the distance of the microphone"),
        (heard_in_test(), {"distance": "1 m"}, "no distance"),
        (heard_in_test(), {"level": "57 dB ± 1 dB"}, "only one of: level or test"),
        ({k: v for k, v in heard_in_test().items() if k != "sound"}, {}, "no [[flow]]"),
        (bank(), {}, "a record with a table [sound]"),
    ],
)
def test_tests_that_tell_no_level(test: dict[str, Any], noise: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as caught:
        found(by_test(test, **noise))
    assert said in str(caught.value)
    assert len(caught.value.faults) == 1


def test_more_than_the_fan_can_give_at_its_full_speed():
    got = found(tried({"required_flow": "3000 m3/h", "most": 4}))
    one = float(got.quiet["flow"].value[0])
    can = np.arange(1, 5) * one >= 3000.0
    assert 0 < can.sum() < 4
    assert (~got.beyond).tolist() == can.tolist()
    for q in got.enough.values():
        assert np.isfinite(q.value).tolist() == can.tolist()
    [flag] = [f for f in got.findings if f.code == "beyond the fan's full speed"]
    assert flag.rows.tolist() == (~can).tolist()
    assert "no balance at some speeds" not in codes(got.findings)
    absurd = found(tried({"required_flow": "1000000 m3/h", "most": 2}))
    text = " ".join(plain(noise_blocks(absurd)).split())
    assert "To give 1000000 m3/h of flow all together" in text
    assert "Beyond what the fan can give at its full speed, whatever the noise: any of them." in text
