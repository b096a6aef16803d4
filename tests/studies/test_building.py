"""A building with a filter in its ducts: against a solver of two balances, and against figures worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from flowrig.errors import InputError
from flowrig.studies.building import ALL, DUCT, NOTHING, UNITS
from flowrig.studies.room import room as study
from flowrig.studies.room_targets import AIR_CHANGES, LEVEL
from tests.studies.cleaners import cleaner, fan, panel
from tests.studies.rooms import room, smoke, unit

FEW = 1000
HOUSE = {"volume": "500 m3 ± 0.0001 m3", "initial_concentration": "60 ug/m3", "outdoor_concentration": "100 ug/m3"}
DUCTS = {
    "flow": "2000 m3/h ± 0.0001 m3/h", "flow_loss": "0.1 ± 0.000001", "efficiency": "0.7 ± 0.000001",
    "particles": "0.3 to 1 um", "efficiency_now": "0.2", "runtime": "0.8", "runtime_now": "0.3",
    "supply_leakage": "0.1", "return_leakage": "0.06", "leak_concentration": "180 ug/m3", "power": "450 W ± 0.001 W",
}  # fmt: skip


def house(*cleaners, duct=None, **tables):
    tables.setdefault("room", HOUSE)
    return room(*cleaners, duct={k: v for k, v in (DUCTS | (duct or {})).items() if v is not None}, **tables)


# Source: scipy's solver of the building's air, with the air in the ducts followed by hand: what leaks in before the
# filter, what the filter lets through, what leaks out behind it, and the outdoor air that makes up for the difference.
@pytest.mark.library
def test_each_option_against_a_solver():
    found = study(house(unit(count=2)), samples=FEW)
    assert [o.name for o in found.options] == [NOTHING, DUCT, UNITS, ALL]

    def rate(level, runtime, flow, caught, units):
        moved = runtime * flow
        into, out = 0.06, 0.1
        drawn = moved * (1 - into)  # out of the rooms; what is left of the flow leaks in
        mixed = (drawn * level + moved * into * 180.0) / moved
        blown = moved * (1 - out) * (1 - caught) * mixed  # into the rooms
        infiltrating = 0.5 * 500.0 + max(drawn - moved * (1 - out), 0.0)
        leaving = infiltrating + moved * (1 - out) - drawn
        gained = infiltrating * 0.8 * 100.0 + blown
        lost = (drawn + leaving + units) * level + 0.4 * 500.0 * level
        return (gained - lost) / 500.0

    hours = found.times / 3600.0
    now, better = (0.3, 2000.0, 0.2), (0.8, 1800.0, 0.7)
    for each, ducts, units in zip(found.options, (now, better, now, better), (0, 0, 500, 500), strict=True):
        told = solve_ivp(lambda t, c, d=ducts, u=units: [rate(c[0], *d, u)], (0, 4), [60.0], t_eval=hours, rtol=1e-10,
                         atol=1e-10)  # fmt: skip
        assert each.curve.value == pytest.approx(told.y[0], rel=1e-6)
    added = 0.8 * 1800 * 0.7 * 0.9 * 0.94 - 0.3 * 2000 * 0.2 * 0.9 * 0.94
    assert [o.quantities["added"].value for o in found.options] == pytest.approx([0, added, 500, added + 500])


# Source: f Q eta (1 - L), common practice, no source; counted towards guidance on infection.
@pytest.mark.recomputed
def test_the_duct_filter_against_units():
    target = {"air_changes": "5 1/h", "source": "a test"}
    record = house(unit(rate="251 m3/h ± 0.0001 m3/h"), air_change_target=target, duct={"return_leakage": "0"})
    found = study(record, samples=FEW)
    now, better = found[AIR_CHANGES].cases
    assert now.needed.value == pytest.approx(2500 - 0.3 * 2000 * 0.2 * 0.9)
    assert better.needed.value == pytest.approx(2500 - 0.8 * 1800 * 0.7 * 0.9)
    assert [case.units[0].sure for case in (now, better)] == [10, 7]
    duct = found.options[1]
    assert duct.quantities["power"].value == pytest.approx(450 * 0.5)
    assert duct.quantities["energy"].value == pytest.approx(450 * 0.5 * 24 / 1000)
    season = study(house(duct={"season": "30 d"}), samples=FEW)
    assert season.options[1].quantities["energy"].value == pytest.approx(450 * 0.5 * 24 * 30 / 1000)


def test_a_fan_that_runs_no_more_takes_no_more():
    found = study(house(duct={"runtime": "0.3"}), samples=FEW)
    assert found.options[1].quantities["power"].value == 0.0


# Source: 1 - 1850/2000, its bar from that of both flows, which are read apart: 5 % each, rectangular.
@pytest.mark.recomputed
def test_the_flow_lost_to_the_better_filter():
    flows = {"flow": "2000 m3/h ± 100 m3/h", "flow_with_filter": "1850 m3/h ± 92.5 m3/h", "flow_loss": None}
    found = study(house(duct=flows), samples=FEW)
    assert found.lost.value == pytest.approx(7.5)
    assert found.lost.u == pytest.approx(92.5 * 0.05 * math.sqrt(2 / 3), rel=1e-3)
    much = study(house(duct={"flow_loss": "0.3 ± 0.05"}), samples=FEW)
    assert "better filter takes much of the flow" in [f.code for f in much.findings]


def test_the_prediction_of_a_duct_filter():
    made = panel(particles="0.3 to 1 um", efficiency=["75 %"], efficiency_velocity=["1.5 m/s"])
    predicted = cleaner({"filter": made, "count": 2}, fan=fan(power=["100 W"] * 7, power_is="electrical"))
    record = house(duct={"prediction": predicted, "flow_loss": None, "efficiency": None, "particles": None})
    found = study(record, samples=FEW)
    flow = found.facts.ducts["better"]["duct_flow"]
    from flowrig.studies.predict import predict

    told = predict(predicted, samples=FEW)
    assert flow.value == told.flow.estimate.value
    assert found.facts.ducts["better"]["duct_efficiency"].value == pytest.approx(0.75)
    assert found.facts.duct_particles == "0.3 to 1 um"
    sold = panel(particles="ePM1", efficiency=["75 %"], efficiency_velocity=["1.5 m/s"])
    predicted = cleaner({"filter": sold, "count": 2}, fan=fan())
    with pytest.raises(InputError, match="a prediction that tells an efficiency"):
        study(record | {"duct": record["duct"] | {"prediction": predicted}})
    with pytest.raises(InputError, match="a prediction that tells a clean-air rate"):
        study(room({"name": "a cleaner", "prediction": predicted}))


def test_leaks_of_the_return_that_outweigh_the_filter():
    attic = {"return_leakage": "0.3", "supply_leakage": "0.3", "leak_concentration": "900 ug/m3",
             "efficiency_now": "0.2", "efficiency": "0.3 ± 0.000001"}  # fmt: skip
    found = study(house(duct=attic, concentration_target=smoke("30 ug/m3")), samples=FEW)
    assert "leaks of the return outweigh the filter" in [f.code for f in found.findings]
    now, better = found[LEVEL].cases
    assert better.needed.value > now.needed.value
    sealed = study(house(), samples=FEW)
    assert "leaks of the return outweigh the filter" not in [f.code for f in sealed.findings]


def test_a_return_of_which_nothing_is_said_leaks_in_outdoor_air():
    """It is the concentration outdoors itself, errors and all, and said to be assumed."""
    outdoors = HOUSE | {"outdoor_concentration": "100 ug/m3 ± 20 ug/m3"}
    silent = study(house(room=outdoors, duct={"leak_concentration": None}), samples=FEW)
    said = study(house(room=outdoors, duct={"leak_concentration": "100 ug/m3"}), samples=FEW)
    one, other = (found.options[1].quantities["level"] for found in (silent, said))
    assert one.value == pytest.approx(float(other.value))
    assert one.u > 1.01 * other.u
    assert "duct.leak_concentration" in [name for name, _, _ in silent.facts.assumed]
    assert "duct.leak_concentration" not in [name for name, _, _ in said.facts.assumed]


# Source: the same balance drawn with numpy alone.
@pytest.mark.recomputed
def test_the_bar_of_the_level_against_independent_draws():
    wide = {
        "flow": "2000 m3/h ± 300 m3/h", "flow_loss": "(10 ± 5) %", "efficiency": "(70 ± 15) %",
        "runtime": "(80 ± 10) %", "supply_leakage": "(10 ± 8) %", "return_leakage": "(6 ± 5) %",
        "leak_concentration": "180 ug/m3 ± 80 ug/m3",
    }  # fmt: skip
    limits = {"infiltration": "0.5 1/h ± 0.3 1/h", "deposition": "0.4 1/h ± 0.2 1/h", "penetration": "0.8 ± 0.15"}
    found = study(house(room=HOUSE | limits, duct=wide))
    level = found.options[1].quantities["level"]
    rng = np.random.default_rng(3)
    n = 200_000

    def limit(value, half):
        return value + half * rng.uniform(-1, 1, n)

    leak, settle, through = limit(0.5, 0.3), limit(0.4, 0.2), limit(0.8, 0.15)
    moved = limit(2000, 300) * (1 - limit(0.1, 0.05)) * limit(0.8, 0.1)
    caught, out, into, attic = limit(0.7, 0.15), limit(0.1, 0.08), limit(0.06, 0.05), limit(180, 80)
    gain = leak * through * 100 + moved / 500 * (
        into * (1 - out) * (1 - caught) * attic + np.maximum(out - into, 0) * through * 100
    )
    loss = (
        leak + settle + moved / 500 * (caught * (1 - out) * (1 - into) + np.maximum(into * (1 - out), out * (1 - into)))
    )
    low, high = np.quantile(gain / loss, [0.025, 0.975])
    spread = np.std(gain / loss)
    assert level.low == pytest.approx(low, abs=0.06 * spread)
    assert level.high == pytest.approx(high, abs=0.06 * spread)


def test_the_power_at_a_shaft_is_no_power_from_the_socket():
    made = panel(particles="0.3 to 1 um", efficiency=["75 %"], efficiency_velocity=["1.5 m/s"])
    watts = []
    for said in ("electrical", "shaft"):
        predicted = cleaner({"filter": made, "count": 2}, fan=fan(power=["100 W"] * 7, power_is=said))
        found = study(room({"name": "a cleaner", "prediction": predicted, "count": 1}), samples=FEW)
        assert found.sorts["a cleaner"].how == "predicted"
        watts.append("power" in found.options[1].quantities)
    assert watts == [True, False]
