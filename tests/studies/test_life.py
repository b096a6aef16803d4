"""A cleaner over its running time, against single predictions, hand figures and searches of the tests' own."""

import numpy as np
import pytest
from scipy.optimize import brentq

from flowrig.report.blocks import lines_of, plain
from flowrig.report.explain import explain
from flowrig.report.life_text import life_blocks
from flowrig.studies import filter_change as change
from flowrig.studies.cleaner import setup
from flowrig.studies.efficiency import held_back
from flowrig.studies.life import DRAWS, life
from flowrig.studies.operating_point import operating_point
from flowrig.studies.reduce import load
from tests.studies.cleaners_in_use import LIFE, NEW_DROP, cleaner

HOUR = 3600.0
EVENLY = {"life_to_final": "1000 h"}
LOADING = {"time [h]": [0, 500, 1000, 2000], "drop [Pa]": [70, 90, 120, 200]}
CHARGE = {"time [h]": [0, 10, 100, 2000], "efficiency [%]": [86, 60, 50, 43]}


_lived = {}


def lived(life_=None, draws=400, **parts):
    """The life of a cleaner; the same one is not computed twice. Few draws where its bars are not on trial."""
    known = repr((life_, draws, sorted(parts.items())))
    if known not in _lived:
        _lived[known] = life(load(cleaner(life={**LIFE, **(life_ or {})}, **parts)), draws=draws)
    return _lived[known]


def codes(result):
    return {f.code for f in result.findings}


def row(result, hours):
    return int(np.flatnonzero(np.isclose(result.times, hours * HOUR))[0])


def clean_air_at(loaded):
    """Clean air of a single design, without the rows of a life. [m3/s]"""
    record = load(cleaner(entry={"loaded": f"{100 * loaded:.12g} %"}))
    found = setup(record)
    [places] = found.crossings()
    out = found.solved(np.asarray(max(t for t, falls in places if falls)))
    held, _ = held_back(found.entries, out, ())
    return float(held.clean.value)


# ---------------------------------------------------------------- a time is a design


def test_a_time_is_the_single_design_of_that_load():
    result = lived(filter=EVENLY)
    for hours in (0, 500, 1000):
        k = row(result, hours)
        alone = operating_point(load(cleaner(entry={"loaded": f"{hours / 10} %"})), samples=2000)
        for name, other in (
            ("flow", "flow"),
            ("pressure", "pressure"),
            ("power", "power"),
            ("clean_air_kept", "clean_air"),
        ):
            assert result[name].value[k] == pytest.approx(float(alone[other].value), rel=1e-7), (hours, name)
        assert result["motor_temperature"].value[k] == pytest.approx(float(alone["motor_temperature"].value), rel=1e-9)


def test_a_new_filter_has_the_error_bars_of_a_single_design():
    result, alone = lived(draws=DRAWS, filter=EVENLY), operating_point(load(cleaner()), samples=100_000)
    for name in ("flow", "pressure"):
        u = float(alone[name].u)
        assert result[name].u[0] == pytest.approx(u, rel=1e-6)
        assert result[name].low[0] == pytest.approx(float(alone[name].low), abs=0.12 * u)  # 4000 draws
        assert result[name].high[0] == pytest.approx(float(alone[name].high), abs=0.12 * u)


def test_a_loading_by_table_gives_the_drop_of_the_table_at_its_velocity():
    # a fan that gives just as much as the filter takes at its final velocity: 1.25 m/s over 2 · 0.245 m2
    flow = 1.25 * 2 * 0.495**2 * 3600
    fan = {
        "flow": ["0 m3/h", f"{flow} m3/h", "3000 m3/h"],
        "pressure": ["300 Pa", f"{NEW_DROP + 50.0} Pa", "0 Pa"],
        "power": None,
        "motor_temperature": None,
    }
    air = {
        "unit": {"temperature": "20 degC ± 1 degC", "pressure": "1013 hPa ± 1 hPa", "relative_humidity": "(40 ± 5) %"}
    }
    result = lived(filter={"loading": LOADING}, fan=fan, air=air)
    k = row(result, 1000)  # 120 Pa where the new filter of the table had 70 Pa
    assert result["flow"].value[k] == pytest.approx(flow, rel=0.003)  # air of 20 degC for that of the coefficients
    assert result["pressure"].value[k] == pytest.approx(NEW_DROP + 50.0, rel=0.006)


def test_a_loading_by_dust_is_that_by_time_at_the_dust_of_an_hour():
    by_dust = {"dust [g]": [0, 25, 50, 100], "drop [Pa]": LOADING["drop [Pa]"]}
    one = lived(filter={"loading": LOADING})
    other = lived({"dust": "0.05 g"}, filter={"loading": by_dust})
    assert other.times == pytest.approx(one.times)
    assert other["flow"].value == pytest.approx(one["flow"].value, rel=1e-12)
    unsure = lived({"dust": "0.05 g ± 0.02 g"}, filter={"loading": by_dust})
    assert unsure["flow"].u[-5] > 1.1 * other["flow"].u[-5]
    assert any("dust" in line.cause.name for line in unsure["flow"].estimate.budget())


# ---------------------------------------------------------------- how sure the loading is


def test_a_life_without_its_limit_may_be_off_by_half():
    result = lived(draws=DRAWS, filter=EVENLY)
    assert "life with an assumed limit" in codes(result)
    progress, k = result.progress[0], row(result, 500)
    # t/T with T anywhere from 500 h to 1500 h: the 2.5 and 97.5 % points of 500 h/T are 500/1475 and 500/525
    assert progress.value[k] == pytest.approx(50.0)
    assert progress.low[k] == pytest.approx(100 * 500 / 1475, rel=0.01)
    assert progress.high[k] == pytest.approx(100 * 500 / 525, rel=0.02)
    # half of the life either way is the same whether it is said or assumed
    said = lived(filter={"life_to_final": "1000 h ± 500 h"})
    assert "life with an assumed limit" not in codes(said)
    assert said["flow"].u == pytest.approx(result["flow"].u, rel=1e-9, nan_ok=True)
    sure = lived(filter={"life_to_final": "1000 h ± 1 h"})
    assert sure["flow"].u[k] < 0.95 * result["flow"].u[k]


def test_a_load_that_is_told_with_its_limit_widens_a_single_design():
    sure, unsure = (
        operating_point(load(cleaner(entry={"loaded": text})), samples=2000) for text in ("50 %", "(50 ± 40) %")
    )
    assert float(unsure["flow"].u) > 1.02 * float(sure["flow"].u)
    assert any("load of the filters" in line.cause.name for line in unsure["flow"].estimate.budget())


def test_the_limit_of_a_table_of_loading_is_a_share_of_the_growth():
    sure = lived(filter={"loading": LOADING, "loading_limit": "0 %"})
    unsure = lived(filter={"loading": LOADING})
    assert "loading with an assumed limit" in codes(unsure)
    assert "loading with an assumed limit" not in codes(sure)
    k = row(sure, 1000)
    # progress = growth/(125 Pa - new drop): a quarter of it over the root of 3
    own = next(line for line in unsure.progress[0].estimate.budget() if "growth" in line.cause.name)
    assert own.u[k] == pytest.approx(0.25 * 50.0 / (125.0 - NEW_DROP) / np.sqrt(3.0), rel=1e-6)
    assert unsure["flow"].u[k] > sure["flow"].u[k]


# ---------------------------------------------------------------- charge


def test_clean_air_follows_the_charge_between_the_bracket():
    result = lived(filter={**EVENLY, "charge": CHARGE, "efficiency_conditioned": "(40 ± 5) %"})
    kept, used, lost = (result[f"clean_air_{name}"].value for name in ("kept", "in_use", "lost"))
    # one stage without gaps: clean air is flow times efficiency
    for hours, share in zip(CHARGE["time [h]"][:3], CHARGE["efficiency [%]"][:3], strict=True):
        k = row(result, hours)
        assert used[k] == pytest.approx(kept[k] * share / 86.0, rel=1e-9)
        assert kept[k] == pytest.approx(0.86 * result["flow"].value[k], rel=1e-9)
        assert lost[k] == pytest.approx(0.40 * result["flow"].value[k], rel=1e-9)
    assert "efficiency with its charge" not in codes(result)


def test_the_limit_of_an_efficiency_stays_while_the_charge_goes():
    result = lived(filter={**EVENLY, "charge": CHARGE, "efficiency_limit": "6 %"})
    k = row(result, 100)
    parts = [line for line in result["clean_air_in_use"].estimate.budget() if "efficiency" in line.cause.name]
    together = np.sqrt(sum(line.u[k] ** 2 for line in parts))
    assert len(parts) == 2
    assert together == pytest.approx(0.06 / np.sqrt(3.0) * result["flow"].estimate.value[k], rel=1e-6)


def test_drop_alone_is_no_sign_of_life_left():
    result = lived(filter=EVENLY)
    assert "efficiency with its charge" in codes(result)
    assert "clean_air_in_use" not in result.quantities
    assert "clean_air_lost" not in result.quantities
    assert result.lower == "clean_air_kept"


def test_nothing_is_told_beyond_the_last_row_of_a_table():
    short = {"time [h]": [0, 10, 700], "efficiency [%]": [86, 60, 50]}
    loading = {"time [h]": [0, 1200], "drop [Pa]": [70, 110]}
    result = lived(filter={"loading": loading, "charge": short})
    assert {"charge told no further", "loading told no further"} <= codes(result)
    hours = result.times / HOUR
    assert np.array_equal(np.isfinite(result["flow"].value), hours <= 1200 + 1e-9)
    assert np.array_equal(np.isfinite(result["clean_air_in_use"].value), hours <= 700 + 1e-9)
    assert np.array_equal(np.isfinite(result.progress[0].value), hours <= 1200 + 1e-9)
    assert np.all(np.isnan(result["flow"].low[hours > 1201]))


@pytest.mark.parametrize(
    ("first", "flagged"),
    [("charge", (70, 86)), ("loading", (70, 86)), ("", (75, 82))],
    ids=["another efficiency", "another drop", "within their limits"],
)
def test_a_table_that_begins_at_another_filter_is_told(first, flagged):
    drop, efficiency = flagged
    charge = {"time [h]": [0, 2000], "efficiency [%]": [0.86 if first == "charge" else efficiency, 0.5]}
    loading = {"time [h]": [0, 2000], "drop [Pa]": [10 if first == "loading" else drop, 200]}
    result = lived(filter={"charge": charge, "loading": loading, "efficiency_conditioned": "0 %"})
    told = [f.message for f in result.findings if f.code == "use begins at another filter"]
    assert [f"{first}: " in message for message in told] == ([True] if first else [])


@pytest.mark.parametrize(("last", "told"), [(100, False), (116, False), (113, True)])
def test_a_drop_that_falls_in_use_is_told(last, told):
    loading = {"time [h]": [0, 1000, 2000], "drop [Pa]": [70, 120 if last > 100 else 90, last]}
    assert ("loading turns back" in codes(lived(filter={"loading": loading}))) == told


def test_filters_of_which_no_loading_is_known_stay_as_they_are():
    result = lived()
    assert "loading not known" in codes(result)
    assert result["flow"].value == pytest.approx(np.full(len(result), result["flow"].value[0]))
    [_, drop, *_] = result.changes
    assert drop.status == change.NOT_KNOWN


def test_each_section_loads_by_its_own_record():
    record = cleaner(filter=EVENLY, life=LIFE)
    other = cleaner()["filters"][0]
    record["filters"].append({**other, "stage": 2, "count": 2, "loaded": "30 %"})
    result = life(load(record))
    assert result.progress[0] is not None
    assert result.progress[1] is None
    alone = cleaner(entry={"loaded": "50 %"})
    alone["filters"].append(record["filters"][1])
    by_itself = operating_point(load(alone), samples=2000)
    assert result["flow"].value[row(result, 500)] == pytest.approx(float(by_itself["flow"].value), rel=1e-7)


# ---------------------------------------------------------------- when to change


def test_the_final_drop_comes_where_the_table_says():
    result = lived(filter={"loading": LOADING})
    # 125 Pa less the new drop, on the straight line from 50 Pa of growth at 1000 h to 130 Pa at 2000 h
    by_hand = 1000 + 1000 * (125.0 - NEW_DROP - 50.0) / 80.0
    [_, drop, *_] = result.changes
    assert drop.time / HOUR == pytest.approx(by_hand, rel=0.005)  # straight between the times of the look
    assert drop.earliest < drop.time


def test_an_even_life_ends_at_its_end():
    [_, drop, *_] = lived(draws=DRAWS, filter=EVENLY).changes
    assert drop.time == pytest.approx(1000 * HOUR)
    assert drop.earliest / HOUR == pytest.approx(525, rel=0.02)  # 2.5 % point of 500 h to 1500 h


def test_the_required_clean_air_is_lost_where_a_search_finds_it():
    at_500 = clean_air_at(0.5) * HOUR
    result = lived(filter=EVENLY, predict={"required_clean_air": f"{at_500:.6f} m3/h"})
    kept = result["clean_air_kept"]
    time, _ = change.first_above(result.times, -np.asarray(kept.estimate.value), -at_500 / HOUR)
    by_search = 1000 * brentq(lambda loaded: clean_air_at(loaded) * HOUR - at_500, 0.0, 1.0, xtol=1e-9)
    assert time / HOUR == pytest.approx(by_search, abs=2.0)
    assert by_search == pytest.approx(500.0, abs=1e-3)


def test_the_required_clean_air_is_lost_at_the_lower_end_of_its_bar():
    # without errors of the loading a time is the single design of that load, bars and all
    filter_ = {"life_to_final": "1000 h ± 0.01 h"}
    required = 700.0
    result = lived(draws=DRAWS, filter=filter_, predict={"required_clean_air": f"{required} m3/h"})
    [lost, *_] = result.changes
    assert lost.status == change.REACHED

    def lower_end(loaded):
        record = load(cleaner(entry={"loaded": f"{100 * loaded} %"}))
        return float(operating_point(record, samples=20_000)["clean_air"].low)

    low = brentq(lambda loaded: lower_end(loaded) - required, 0.0, 1.5, xtol=1e-3)
    k = int(np.searchsorted(result.times, lost.time))
    slope = abs(np.diff(result["clean_air_kept"].low)[k - 1] / np.diff(result.times)[k - 1]) * HOUR
    draws = 0.12 * result["clean_air_kept"].u[k] / slope  # what 4000 draws leave open, in hours
    assert lost.time / HOUR == pytest.approx(1000 * low, abs=draws)


def test_clean_air_that_new_filters_do_not_give_is_an_alarm():
    result = lived(filter=EVENLY, predict={"required_clean_air": "2000 m3/h"})
    assert [f.code for f in result.findings if f.severity == "alarm"] == ["required clean air not met"]
    assert result.ruled.time == 0.0
    assert "no change brings it" in " ".join(plain(life_blocks(result)).split())


def test_clean_air_that_needs_the_charge_is_said_to():
    filter_ = {**EVENLY, "charge": CHARGE, "efficiency_conditioned": "(30 ± 5) %"}
    result = lived(filter=filter_, predict={"required_clean_air": "450 m3/h"})
    assert "required clean air needs the charge" in codes(result)
    assert result.changes[0].time == 0.0
    assert result.held["clean_air_kept"].time != 0.0
    assert result.held["clean_air_in_use"].time > 0.0


def test_the_motor_rules_at_the_upper_end_of_its_bar():
    result = lived({"temperature_limit": "68 degC"}, draws=DRAWS, filter=EVENLY)
    motor = result.changes[2]
    q = result["motor_temperature"]
    assert motor.status == change.REACHED
    assert np.interp(motor.time, result.times, q.high) == pytest.approx(68.0, abs=1e-6)
    assert np.interp(motor.time, result.times, q.value) < 67.0
    assert result.ruled.time == min(c.time for c in result.changes if c.time is not None)
    assert "temperature of the motor in another room" in codes(result)


def test_what_is_missing_is_named():
    record = cleaner(
        life={"run": "2000 h", "temperature_limit": "70 degC"}, filter=EVENLY, fan={"motor_temperature": None}
    )
    result = life(load(record))
    said = {c.name: c for c in result.changes}
    assert said[change.CLEAN_AIR].why == "no required_clean_air in [predict]"
    assert "no motor_temperature" in said[change.TEMPERATURE].why
    assert "no filter_price" in said[change.CHEAPEST].why
    assert {said[n].status for n in (change.CLEAN_AIR, change.TEMPERATURE, change.CHEAPEST)} == {change.NOT_KNOWN}
    assert "of those that are known" in " ".join(plain(life_blocks(result)).split())


# ---------------------------------------------------------------- cost


def test_the_cost_of_clean_air_by_hand():
    result = lived()  # no loading: flow and power stay
    hours = 1000.0
    k = row(result, hours)
    spent = 2 * 24.0 + 15.0 + 0.17 * result["power"].value[0] / 1000.0 * hours
    delivered = result["clean_air_kept"].value[0] * hours
    assert result["cost"].value[k] == pytest.approx(1000.0 * spent / delivered, rel=1e-9)
    assert result["cost"].unit == "USD/1000 m3"
    assert np.isnan(result["cost"].value[0])


def test_the_limit_of_a_price_is_in_the_cost():
    sure, unsure = lived(), lived({"filter_price": "24 USD ± 10 USD"})
    assert any("filter price" in line.cause.name for line in unsure["cost"].estimate.budget())
    assert unsure["cost"].u[-1] > sure["cost"].u[-1]


def test_the_cheapest_time_against_a_dense_search():
    times = np.linspace(0.0, 2000.0, 25)

    def cost(t):  # 60 spent at once and 0.01 an hour, clean air that fails evenly to nothing at 1600 h
        with np.errstate(all="ignore"):
            return np.where(t > 0.0, (60.0 + 0.01 * t) / (t - t**2 / 3200.0), np.nan)

    found = change.cheapest(times[times < 2500], cost(times), "")
    dense = np.linspace(1.0, 2000.0, 200_000)
    assert found.time == pytest.approx(dense[np.argmin(cost(dense))], rel=0.01)
    near = dense[cost(dense) <= 1.02 * np.min(cost(dense))]
    assert near.min() - 84 <= found.earliest
    assert found.latest <= near.max() + 84


def test_the_cheapest_time_of_a_filter_that_clogs():
    steep = {"time [h]": [0, 200, 400, 600, 700], "drop [Pa]": [70, 100, 400, 3000, 4500]}
    result = lived({"run": "700 h", "filter_price": "1 USD", "change_price": "0 USD"}, filter={"loading": steep})
    cheap = result.changes[3]
    assert cheap.status == change.REACHED
    cost = result["cost"].value
    k = int(np.nanargmin(cost))
    assert result.times[k - 1] <= cheap.time <= result.times[k + 1]
    # at the least cost a further hour costs as much as an hour cost so far; before it less, after it more
    further = 0.17 * result["power"].value / result["clean_air_kept"].value
    assert further[k - 1] < cost[k] < further[k + 1]


def test_a_cost_that_still_falls_is_at_no_least():
    cheap = lived(filter=EVENLY).changes[3]
    assert cheap.time is None


# ---------------------------------------------------------------- for people


def test_every_cause_and_every_flag_can_be_asked_for():
    filter_ = {"loading": {"dust [g]": [0, 25, 50], "drop [Pa]": [70, 90, 120]}, "charge": CHARGE}
    prices = {"filter_price": "24 USD ± 2 USD", "energy_price": "0.17 USD/kWh ± 0.02 USD/kWh"}
    dusty = lived({"dust": "0.05 g ± 0.02 g", "temperature_limit": "70 degC", **prices}, filter=filter_)
    even = lived(filter=EVENLY, predict={"required_clean_air": "2000 m3/h"})
    for result in (dusty, even, lived()):
        quantities = [*result.quantities.values(), *filter(None, result.progress)]
        names = {line.cause.name for q in quantities for line in q.estimate.budget()}
        for asked in (*names, *(f.code for f in result.findings)):
            assert explain(asked), asked


def test_the_text_keeps_to_eighty_columns_and_names_what_ruled():
    result = lived(
        {"temperature_limit": "68 degC"},
        filter={**EVENLY, "charge": CHARGE, "efficiency_conditioned": "(40 ± 5) %"},
        predict={"required_clean_air": "300 m3/h"},
    )
    lines = list(lines_of(life_blocks(result)))
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    assert result.ruled.name == change.TEMPERATURE  # its upper end is at 68 degC before the clean air is lost
    hours = f"{float(f'{result.ruled.time / HOUR:.3g}'):.10g} h"
    assert f"Change them after {hours} of running: the earliest of those that are known is {change.TEMPERATURE}" in text
    assert f"{result['flow'].value[0]:.0f} [" in text
    for name in ("charge kept", "charge as told", "charge lost"):
        assert name in text
