"""The balance of a well-mixed room, against worked figures, a printed table and a solver of differential equations."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from flowrig.physics import (
    concentration_at,
    loss_from_half_life,
    removal_time,
    room_gain,
    room_loss,
    steady_concentration,
    time_to_concentration,
)
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "room_worked.toml").read_text(encoding="utf-8"))
ROOM = WORKED["inputs"]
FACTS = tomllib.loads((REFERENCE / "clean_air_facts.toml").read_text(encoding="utf-8"))
HALF_LIVES = tomllib.loads((REFERENCE / "fans_worked.toml").read_text(encoding="utf-8"))["half_life_rows"]

# The kernels hold in any coherent units: hours, m3 and ug/m3 here, as in the reference.
GAIN = room_gain(ROOM["C_out_ug_m3"], ROOM["penetration"], ROOM["lambda_per_h"], 0.0, ROOM["volume_m3"])
SMOKY = room_gain(
    ROOM["C_out_ug_m3"],
    ROOM["penetration"],
    ROOM["lambda_per_h"],
    1000 * WORKED["with_indoor_source"]["E_mg_per_h"],
    ROOM["volume_m3"],
)
WITHOUT = room_loss(ROOM["lambda_per_h"], ROOM["k_dep_per_h"], 0.0, ROOM["volume_m3"])
WITH = room_loss(ROOM["lambda_per_h"], ROOM["k_dep_per_h"], ROOM["cadr_m3_per_h"], ROOM["volume_m3"])


# Source: an invented room, computed in closed form and by a solver of differential equations, which agree.
@pytest.mark.recomputed
def test_steady_concentrations():
    steady = WORKED["steady_state"]
    without, with_ = steady_concentration(GAIN, WITHOUT), steady_concentration(GAIN, WITH)
    assert without == pytest.approx(steady["without_cleaner_ug_m3"], rel=5e-8)
    assert with_ == pytest.approx(steady["with_cleaner_ug_m3"], rel=5e-8)
    assert 1 - with_ / without == pytest.approx(steady["effectiveness"], rel=5e-8)
    share = room_gain(1.0, ROOM["penetration"], ROOM["lambda_per_h"], 0.0, ROOM["volume_m3"])
    assert steady_concentration(share, WITHOUT) == pytest.approx(steady["infiltration_factor_without"], rel=5e-8)
    assert steady_concentration(share, WITH) == pytest.approx(steady["infiltration_factor_with"], rel=2e-7)
    source = WORKED["with_indoor_source"]
    assert steady_concentration(SMOKY, WITHOUT) == pytest.approx(source["without_cleaner_ug_m3"], rel=5e-8)
    assert steady_concentration(SMOKY, WITH) == pytest.approx(source["with_cleaner_ug_m3"], rel=5e-8)


# Source: the same room.
@pytest.mark.recomputed
def test_a_decay():
    decay = WORKED["decay_from_100"]
    levels = concentration_at(np.array([0.25, 0.5, 1.0]), decay["C0_ug_m3"], GAIN, WITH)
    assert levels == pytest.approx(decay["C_at_15_30_60_min"], rel=5e-8)
    minutes = 60 * time_to_concentration(10.0, decay["C0_ug_m3"], GAIN, WITH)
    assert minutes == pytest.approx(decay["minutes_to_reach_10_ug_m3"], rel=5e-8)
    minutes = 60 * removal_time(0.99, WITH)
    assert minutes == pytest.approx(decay["minutes_to_99pct_removal_no_outdoor_source"], rel=5e-8)


# Source: CDC, Guidelines for Environmental Infection Control in Health-Care Facilities (2003), Appendix B, Table B.1.
@pytest.mark.published
@pytest.mark.parametrize("row", rows("room_air_change_minutes.csv"), ids=lambda row: row["ach"])
@pytest.mark.parametrize(("share", "column"), [(0.99, "minutes_99pct"), (0.999, "minutes_99_9pct")])
def test_minutes_of_the_printed_table(row, share, column):
    minutes = float(60 * removal_time(share, float(row["ach"])))
    assert round(minutes) == int(row[f"{column}_printed"])
    assert minutes == pytest.approx(float(row[f"{column}_exact"]), abs=5.1e-4)  # recomputed, to three decimals


# Source: room-size rule of AHAM as read on secondary pages: 1.55 ft2 for each cfm, 4.84 air changes an hour at 8 ft.
@pytest.mark.published
def test_the_room_size_rule_is_four_fifths_of_smoke_removed():
    rule = FACTS["room_size_rule"]
    changes = 60 / (rule["area_ft2_per_cfm"] * 8)
    assert changes == pytest.approx(rule["air_changes_per_h_at_8ft"], abs=5e-3)
    # what else removes smoke, so that a cleaner of that rate leaves a fifth
    other = changes / 4
    assert other == pytest.approx(rule["implied_other_losses_per_h"], abs=5e-3)
    with_, without = (steady_concentration(1.0, room_loss(1.0, other - 1, rate, 1.0)) for rate in (changes, 0.0))
    assert with_ / without == pytest.approx(0.2, rel=1e-12)


# Source: rows printed with measured box-fan cleaners; the room of 31 m3 and the half-lives read, rates recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize("setting", ["low", "medium", "high"])
def test_half_lives(setting):
    row = HALF_LIVES[setting]
    rate = HALF_LIVES["room_m3"] * loss_from_half_life(row["half_life_min"])
    assert rate == pytest.approx(row["cadr_continuous_m3_min"], rel=5e-8)
    discrete = HALF_LIVES["room_m3"] * (1 - math.exp(-loss_from_half_life(row["half_life_min"])))
    assert discrete == pytest.approx(row["cadr_discrete_m3_min"], rel=5e-8)  # the formula that is low


def test_half_life_and_removal_time_undo_each_other():
    assert removal_time(0.5, loss_from_half_life(734.0)) == pytest.approx(734.0, rel=1e-14)
    assert np.isnan(loss_from_half_life(0.0))


rates = st.floats(0.0, 20.0)
levels = st.floats(0.0, 500.0)


# Library: scipy's solver of differential equations, on the balance written out term by term.
@pytest.mark.library
@given(
    outdoor=levels,
    initial=levels,
    infiltration=rates,
    deposition=rates,
    source=st.floats(0.0, 5000.0),
    clean_air=st.floats(0.0, 1500.0),
    blown=st.floats(0.0, 500.0),
    caught=st.floats(0.0, 1.0),
    time=st.floats(0.01, 3.0),
)
def test_the_closed_form_solves_the_balance(
    outdoor, initial, infiltration, deposition, source, clean_air, blown, caught, time
):
    volume, penetration = 60.0, 0.7

    def change(_, level):
        enters = penetration * infiltration * volume * outdoor + blown * (1 - caught) * outdoor + source
        leaves = (infiltration * volume + blown + deposition * volume + clean_air) * level
        return (enters - leaves) / volume

    solved = solve_ivp(change, (0.0, time), [initial], method="LSODA", rtol=1e-10, atol=1e-10).y[0, -1]
    gain = room_gain(outdoor, penetration, infiltration, source, volume, blown, caught)
    loss = room_loss(infiltration, deposition, clean_air, volume, blown)
    assert concentration_at(time, initial, gain, loss) == pytest.approx(solved, rel=1e-6, abs=1e-7)


@given(initial=st.floats(20.0, 500.0), gain=st.floats(0.0, 50.0), loss=st.floats(0.1, 20.0), part=st.floats(0.01, 1.0))
def test_the_time_to_a_concentration_leads_there(initial, gain, loss, part):
    steady = gain / loss
    target = steady + part * (initial - steady)
    time = time_to_concentration(target, initial, gain, loss)
    if target < initial:
        assert concentration_at(time, initial, gain, loss) == pytest.approx(target, rel=1e-9)
    else:
        assert time == 0.0


def test_a_room_without_any_loss():
    assert steady_concentration(1.0, 0.0) == math.inf
    assert np.isnan(steady_concentration(0.0, 0.0))
    assert concentration_at(10.0, 5.0, 2.0, 0.0) == 25.0
    nearly = concentration_at(10.0, 5.0, 2.0, 1e-14)
    assert nearly == pytest.approx(25.0, rel=1e-12)
    assert concentration_at(1.5, 0.0, 2.0, 5e-324) == 3.0  # a rate of one bit
    assert removal_time(0.5, 0.0) == math.inf
    assert removal_time(0.0, 0.0) == 0.0


def test_a_concentration_that_is_never_reached():
    assert time_to_concentration(5.0, 100.0, 10.0, 2.0) == math.inf  # its steady concentration itself
    assert time_to_concentration(4.0, 100.0, 10.0, 2.0) == math.inf
    assert time_to_concentration(4.0, 100.0, 0.0, 0.0) == math.inf
    assert time_to_concentration(0.0, 100.0, 0.0, 3.0) == math.inf
    assert time_to_concentration(4.0, 3.0, 10.0, 2.0) == 0.0  # below it now, though it rises to 5
    assert removal_time(1.0, 5.0) == math.inf


@pytest.mark.parametrize("place", range(5))
def test_what_cannot_enter_is_missing(place):
    inputs = [35.0, 0.8, 0.5, 2000.0, 50.0]
    inputs[place] = -1.0
    assert np.isnan(room_gain(*inputs)) == (place != 1)  # penetration is taken as it is
    assert np.isnan(room_gain(35.0, 0.8, 0.5, 0.0, 0.0))
    assert np.isnan(room_loss(0.5, -0.1, 0.0, 50.0))
    assert room_loss(0.5, 0.0, -5.0, 50.0) == pytest.approx(0.4)  # a measured rate below 0
    assert np.isnan(removal_time(1.1, 5.0))
