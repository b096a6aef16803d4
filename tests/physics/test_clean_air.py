"""Clean-air rates from decays, for targets, and of a cleaner that draws its own air, against worked figures."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowrig.physics import (
    clean_air_for_air_changes,
    clean_air_for_concentration,
    clean_air_for_persons,
    clean_air_from_decay,
    room_gain,
    room_loss,
    short_circuit_clean_air,
    short_circuit_share,
    steady_concentration,
)
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "room_worked.toml").read_text(encoding="utf-8"))
DECAY = tomllib.loads((REFERENCE / "decay_answers.toml").read_text(encoding="utf-8"))
TARGETS = rows("room_clean_air_targets.csv")
CFM = 0.3048**3 * 60  # m3/h


# Source: synthetic pair of decays, its slopes by two regression libraries; definition of ANSI/AHAM AC-1.
@pytest.mark.recomputed
def test_two_decay_rates():
    rates = DECAY["cadr"]
    volume = DECAY["chamber"]["volume_ft3"]
    clean = clean_air_from_decay(volume, rates["k_total_per_min"], rates["k_natural_per_min"])
    assert clean == pytest.approx(rates["cadr_cfm"], rel=1e-7)
    assert clean * CFM == pytest.approx(rates["cadr_m3_per_h"], rel=1e-7)
    true = DECAY["true_values_used_to_make_data"]
    clean = clean_air_from_decay(volume, true["k_total_per_min"], true["k_natural_per_min"])
    assert clean == pytest.approx(true["cadr_cfm"], rel=1e-7)


# Source: the same; the slopes fitted here by numpy to the points themselves.
@pytest.mark.recomputed
def test_a_pair_of_decays_from_its_points():
    table = rows("decay_pair.csv")
    minutes = np.array([float(row["time_min"]) for row in table])
    natural, operating = (
        -np.polyfit(minutes, np.log([float(row[f"{run}_count_per_cm3"]) for row in table]), 1)[0]
        for run in ("natural", "operating")
    )
    assert clean_air_from_decay(DECAY["chamber"]["volume_ft3"], operating, natural) == pytest.approx(
        DECAY["cadr"]["cadr_cfm"], rel=1e-7
    )


def test_a_cleaner_that_does_nothing_may_measure_below_0():
    assert clean_air_from_decay(50.0, 0.4, 0.5) == pytest.approx(-5.0)
    assert np.isnan(clean_air_from_decay(0.0, 0.5, 0.4))


# Source: balance of a room in smoke, recomputed for the reference: 250 to 9 ug/m3 in 200 m3.
@pytest.mark.recomputed
@pytest.mark.parametrize(("changes", "wanted"), [(0.5, 2062), (2.0, 8429)])
def test_smoke(changes, wanted):
    gain, loss = room_gain(250.0, 0.8, changes, 0.0, 200.0), room_loss(changes, 0.3, 0.0, 200.0)
    clean = clean_air_for_concentration(9.0, gain, loss, 200.0)
    assert float(clean) == pytest.approx(200 * (0.8 * changes * 250 / 9 - changes - 0.3), rel=1e-14)
    assert round(float(clean)) == wanted
    held = steady_concentration(gain, room_loss(changes, 0.3, clean, 200.0))
    assert held == pytest.approx(9.0, rel=1e-14)


# Source: the balance of `short_circuit_clean_air`, solved for the share; 0.6667 Q at s = 0.2 stands in the reference.
@given(efficiency=st.floats(0.05, 1.0), share=st.floats(-0.2, 1.0))
def test_the_share_drawn_back_is_found_again(efficiency, share):
    clean = 2.0 * efficiency * (1.0 - share) / (1.0 - share * (1.0 - efficiency))
    assert short_circuit_share(2.0, efficiency, clean) == pytest.approx(share, abs=1e-9)


def test_no_share_gives_more_than_a_cleaner_could():
    assert float(short_circuit_share(1.0, 0.8, 2.0 / 3.0)) == pytest.approx(0.2)
    assert short_circuit_share(1.0, 0.5, 0.0) == 1.0
    assert np.isnan(short_circuit_share(1.0, 0.5, 1.0))  # Q eta/(1 - eta)
    assert np.isnan(short_circuit_share(0.0, 0.5, 0.2))
    assert np.isnan(short_circuit_share(1.0, 0.0, 0.2))


@given(
    target=st.floats(0.1, 300.0),
    outdoor=st.floats(0.0, 500.0),
    source=st.floats(0.0, 5000.0),
    changes=st.floats(0.01, 5.0),
    blown=st.floats(0.0, 600.0),
)
def test_the_rate_for_a_target_holds_it_and_no_smaller_one_does(target, outdoor, source, changes, blown):
    gain, loss = room_gain(outdoor, 0.8, changes, source, 200.0, blown, 0.5), room_loss(changes, 0.3, 0, 200.0, blown)
    clean = clean_air_for_concentration(target, gain, loss, 200.0)
    held = steady_concentration(gain, loss + clean / 200.0)
    if clean > 0.0:
        assert held == pytest.approx(target, rel=1e-9)
    else:
        assert held <= target * (1 + 1e-12)


def test_targets_at_the_edge():
    assert clean_air_for_concentration(0.0, 1.0, 0.5, 50.0) == math.inf  # no rate brings a fed room to 0
    assert clean_air_for_concentration(0.0, 0.0, 0.5, 50.0) == 0.0  # it comes there by itself
    assert clean_air_for_concentration(3.0, 1.0, 0.5, 50.0) == 0.0  # met
    assert clean_air_for_concentration(3.0, 3.0, 0.0, 50.0) == 50.0
    assert np.isnan(clean_air_for_concentration(3.0, 0.0, 0.0, 50.0))
    assert np.isnan(clean_air_for_concentration(-1.0, 1.0, 0.5, 50.0))


# Source: 5 air changes an hour, CDC ventilation guidance 2023; 30 cfm a person, California Department of Public Health
# (interim guidance), the larger of the two. The room is invented, its figures recomputed.
@pytest.mark.recomputed
def test_air_changes_and_persons():
    sizing, volume = WORKED["sizing"], WORKED["inputs"]["volume_m3"]
    changes = clean_air_for_air_changes(sizing["target_equivalent_ach"], volume)
    assert changes == pytest.approx(sizing["needed_cadr_m3_per_h"], rel=1e-12)
    assert changes / CFM == pytest.approx(sizing["needed_cadr_cfm"], rel=5e-8)
    (guidance,) = (row for row in TARGETS if row["space"].startswith("CDPH"))
    persons = clean_air_for_persons(sizing["occupants"], float(guidance["cfm_per_person"]))
    assert persons == sizing["cdph_30cfm_per_person_cfm"]
    governing = max(persons, changes / CFM)
    assert governing == sizing["cdph_governing_cfm"]
    assert math.ceil(governing / 160) == sizing["units_of_160_cfm_needed"]


# Source: ASHRAE 241-2023, Table 5-1; the L/s column is converted from cfm.
@pytest.mark.from_memory
@pytest.mark.parametrize("row", [row for row in TARGETS if row["cfm_per_person"]], ids=lambda row: row["space"][:20])
def test_clean_air_for_each_person(row):
    whole = clean_air_for_persons(25, float(row["cfm_per_person"]) * CFM / 3600)
    assert 1000 * whole / 25 == pytest.approx(float(row["L_s_per_person"]), abs=0.0501)


def test_outdoor_air_counts_until_it_is_enough():
    assert clean_air_for_air_changes(5.0, 50.0, 100.0) == 150.0
    assert clean_air_for_air_changes(5.0, 50.0, 300.0) == 0.0
    assert clean_air_for_persons(10.0, 30.0, 100.0) == 200.0
    assert clean_air_for_persons(10.0, 30.0, 400.0) == 0.0
    assert np.isnan(clean_air_for_air_changes(5.0, 0.0, 10.0))
    assert np.isnan(clean_air_for_persons(10.0, 30.0, -1.0))


# Source: balance of inlet, outlet and room; figure of the reference: efficiency 0.8 and a fifth drawn back, 0.6667 Q.
@pytest.mark.recomputed
def test_a_cleaner_that_draws_its_own_air():
    assert round(float(short_circuit_clean_air(1.0, 0.8, 0.2)), 4) == 0.6667
    assert short_circuit_clean_air(300.0, 0.8, 0.0) == pytest.approx(240.0)
    assert short_circuit_clean_air(300.0, 0.8, 1.0) == 0.0
    assert short_circuit_clean_air(300.0, 1.0, 0.3) == pytest.approx(210.0)
    assert np.isnan(short_circuit_clean_air(300.0, 0.0, 1.0))
    assert np.isnan(short_circuit_clean_air(300.0, 0.8, -0.1))


@given(efficiency=st.floats(0.01, 1.0), share=st.floats(0.0, 0.99))
def test_a_short_circuit_pass_by_pass(efficiency, share):
    """What the inlet draws, followed round and round, instead of the sum of the series."""
    inlet, remaining = 0.0, 1.0 - share
    while remaining > 1e-17:
        inlet += remaining
        remaining *= share * (1.0 - efficiency)
    assert short_circuit_clean_air(2.0, efficiency, share) == pytest.approx(2.0 * efficiency * inlet, rel=1e-9)
