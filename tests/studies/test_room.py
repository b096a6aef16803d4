"""A room from record to a number of units, against worked figures, printed tables, a solver and independent draws."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import flowrig
from flowrig.studies.room import room as study
from flowrig.studies.room_inputs import Asked
from flowrig.studies.room_targets import AIR_CHANGES, BOTH, LEVEL, PER_PERSON
from flowrig.studies.room_units import number_needed, units_for
from flowrig.studies.room_verdict import sentences, verdict
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from tests.reference.load import rows
from tests.studies.rooms import option, room, smoke, unit

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "room_worked.toml").read_text(encoding="utf-8"))
FACTS = tomllib.loads((REFERENCE / "clean_air_facts.toml").read_text(encoding="utf-8"))
CFM = 0.3048**3 / 60
FEW = 1000  # draws, where a test looks at no interval


def codes(findings):
    return [f.code for f in findings]


# Source: an invented room, computed in closed form and by a solver of differential equations, which agree.
@pytest.mark.recomputed
@pytest.mark.parametrize(("source", "table"), [("0 mg/h", "steady_state"), ("2 mg/h", "with_indoor_source")])
def test_the_worked_room(source, table):
    found = study(
        room(unit(count=1), room={"indoor_source": source, "initial_concentration": "100 ug/m3"}), samples=FEW
    )
    bare, cleaned = found.options
    worked = WORKED[table]
    assert bare.quantities["level"].value == pytest.approx(worked["without_cleaner_ug_m3"], rel=1e-6)
    assert cleaned.quantities["level"].value == pytest.approx(worked["with_cleaner_ug_m3"], rel=1e-6)
    assert cleaned.quantities["added"].value == pytest.approx(250.0)
    if table == "steady_state":
        sealed = [float(m.time.value) for m in cleaned.cleared]
        assert sealed[1] == pytest.approx(
            WORKED["decay_from_100"]["minutes_to_99pct_removal_no_outdoor_source"], rel=1e-6
        )
        # 90 % of 100 ug/m3 gone is 10 ug/m3
        assert cleaned.come_down[0].time.value == pytest.approx(
            WORKED["decay_from_100"]["minutes_to_reach_10_ug_m3"], rel=1e-6
        )
        assert math.isinf(cleaned.come_down[1].time.value)  # 2.4 ug/m3 come in for ever: 1 ug/m3 is never reached
        assert cleaned.come_down[1].never == 1.0


# Source: the same room.
@pytest.mark.recomputed
def test_the_worked_decay_over_time():
    found = study(room(unit(count=1), room={"initial_concentration": "100 ug/m3", "over": "1 h"}), samples=FEW)
    curve = option(found, "1 × a cleaner").curve
    at = [np.searchsorted(found.times, 60.0 * minutes - 1e-6) for minutes in (15, 30, 60)]
    assert curve.value[at] == pytest.approx(WORKED["decay_from_100"]["C_at_15_30_60_min"], rel=1e-6)
    assert curve.value[0] == pytest.approx(100.0)


# Source: scipy's solver of the balance, with everything that enters and leaves.
@pytest.mark.library
def test_the_level_over_time_against_a_solver():
    fields = {
        "indoor_source": "2 mg/h", "outdoor_air": "60 m3/h", "outdoor_air_efficiency": "0.5",
        "initial_concentration": "12 ug/m3",
        "mixing": "0.8 ± 0.000001",
    }  # fmt: skip
    found = study(room(unit(count=2), room=fields), samples=FEW)
    [bare, cleaned] = found.options
    gain = 35.0 * (0.8 * 0.5 + 0.5 * 60.0 / 50.0) + 2000.0 / 50.0  # ug/(m3 h)
    for each, clean in ((bare, 0.0), (cleaned, 0.8 * 2 * 250.0)):
        loss = 0.5 + 0.4 + (60.0 + clean) / 50.0
        hours = found.times / 3600.0
        told = solve_ivp(lambda t, c, k=loss: gain - k * c, (0.0, 4.0), [12.0], t_eval=hours, rtol=1e-10, atol=1e-10)
        assert each.curve.value == pytest.approx(told.y[0], rel=1e-6)
        assert each.quantities["level"].value == pytest.approx(gain / loss, rel=1e-6)


# Source: CDC, Guidelines for Environmental Infection Control in Health-Care Facilities (2003), Appendix B, Table B.1.
@pytest.mark.published
@pytest.mark.parametrize("row", rows("room_air_change_minutes.csv")[::3], ids=lambda row: row["ach"])
def test_minutes_of_the_printed_table(row):
    rate = f"{50 * float(row['ach'])} m3/h ± 0.0001 m3/h"
    tight = {"infiltration": "0 1/h", "deposition": "0 1/h", "outdoor_concentration": None}
    cleaned = study(room(unit(rate=rate, count=1), room=tight), samples=FEW).options[1]
    assert [round(float(m.time.value)) for m in cleaned.cleared[1:]] == [
        int(row[f"minutes_{name}_printed"]) for name in ("99pct", "99_9pct")
    ]
    assert cleaned.quantities["air_changes"].value == pytest.approx(float(row["ach"]))


# Source: V [(P lambda C_out + E/V)/C_t - lambda - k_d]; 2062 and 8429 m3/h recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize(("infiltration", "needed"), [("0.5 1/h", 2062), ("2 1/h", 8429)])
def test_sizing_for_smoke(infiltration, needed):
    fields = {"volume": "200 m3 ± 0.00001 m3", "outdoor_concentration": "250 ug/m3", "deposition": "0.3 1/h"}
    target = smoke("9 ug/m3")
    found = study(room(room=fields | {"infiltration": infiltration}, concentration_target=target), samples=FEW)
    [case] = found[LEVEL].cases
    assert case.needed.value == pytest.approx(needed, abs=0.5)
    tall = needed / 200 > 30
    assert ("not achievable in a well-mixed room" in codes(case.findings)) is tall


# Source: AHAM room-size rule: 80 % of smoke removed once steady, 1.21 1/h of other losses, 8 ft: 1.55 ft2 for each cfm,
# a clean-air rate of two thirds of the area in cfm (read on secondary pages; arithmetic recomputed).
@pytest.mark.published
def test_the_room_size_rule():
    rule = FACTS["room_size_rule"]
    feet = {
        "volume": None, "floor_area": "155 ft2 ± 0.0001 ft2", "ceiling_height": "8 ft ± 0.00001 ft",
        "infiltration": "1 1/h", "deposition": f"{rule['implied_other_losses_per_h'] - 1:.2f} 1/h", "penetration": "1",
        "outdoor_concentration": "100 ug/m3",
    }  # fmt: skip
    without = 100.0 / rule["implied_other_losses_per_h"]
    found = study(room(room=feet, concentration_target=smoke(f"{0.2 * without} ug/m3")), samples=FEW, unit="cfm")
    needed = float(found[LEVEL].cases[0].needed.value)
    assert 155 / needed == pytest.approx(rule["area_ft2_per_cfm"], rel=1e-3)
    assert needed / (155 * 8 / 60) == pytest.approx(rule["air_changes_per_h_at_8ft"], rel=1e-3)
    assert needed / 155 == pytest.approx(2 / 3, abs=0.025)


# Source: 5 air changes an hour of 50 m3 (recomputed); CDPH: larger of that and 30 cfm a person (read); two units of
# 160 cfm for 180 cfm (recomputed).
@pytest.mark.recomputed
def test_the_two_rules_of_infection_and_the_larger():
    sizing = WORKED["sizing"]
    tables = {"per_person_target": {"guidance": "larger of two, CDPH"}}
    found = study(room(unit(rate="160 cfm ± 0.0001 cfm"), room={"persons": 6}, **tables), unit="cfm", samples=FEW)
    assert [t.kind for t in found.targets] == [AIR_CHANGES, PER_PERSON, BOTH]
    needed = {t.kind: float(t.cases[0].needed.value) for t in found.targets}
    assert needed[AIR_CHANGES] == pytest.approx(sizing["needed_cadr_cfm"], rel=1e-6)
    assert needed[PER_PERSON] == pytest.approx(sizing["cdph_30cfm_per_person_cfm"], rel=1e-6)
    assert needed[BOTH] == pytest.approx(sizing["cdph_governing_cfm"], rel=1e-6)
    [units] = found[BOTH].cases[0].units
    assert (units.on_mean, units.sure) == (2, sizing["units_of_160_cfm_needed"])
    [units] = found[AIR_CHANGES].cases[0].units
    assert units.sure == 1
    large = study(room(room={"persons": 6, "volume": "100 m3 ± 0.00001 m3"}, **tables), unit="cfm", samples=FEW)
    assert large[BOTH].cases[0].needed.value == pytest.approx(2 * sizing["needed_cadr_cfm"], rel=1e-6)


# Source: the trap of the worked room: deposition and infiltration are in the mass balance alone.
@pytest.mark.recomputed
def test_what_counts_towards_which_target():
    both = {"air_change_target": {"guidance": "occupied space, CDC 2023"}, "concentration_target": smoke("5 ug/m3")}
    kept = {"infiltration": "0.5 1/h", "deposition": "0.4 1/h"}

    def needed(**fields):
        found = study(room(room=kept | fields, **both), samples=FEW)
        return [float(found[kind].cases[0].needed.value) for kind in (AIR_CHANGES, LEVEL)]

    plain = needed()
    assert plain == pytest.approx([250.0, 50 * (0.8 * 0.5 * 35 / 5 - 0.9)])
    for field in ("infiltration", "deposition"):
        changed = needed(**{field: "1.5 1/h"})
        assert changed[0] == plain[0]  # no target of clean air knows of it
        assert changed[1] != pytest.approx(plain[1], rel=0.1)
    blown = needed(outdoor_air="100 m3/h", outdoor_air_efficiency="0.9")
    assert blown[0] == pytest.approx(150.0)  # counts whole, filter or not
    assert blown[1] == pytest.approx(plain[1] + 0.1 * 100 * 35 / 5 - 100)
    assert needed(outdoor_air="100 m3/h")[1] > plain[1] > blown[1]


def test_each_target_says_what_it_does_not_speak_of():
    tables = {
        "air_change_target": {"guidance": "occupied space, CDC 2023"},
        "per_person_target": {"guidance": "classroom, ASHRAE 241-2023"},
        "concentration_target": smoke("9 ug/m3"),
    }
    found = study(room(unit(), room={"persons": 28}, **tables), samples=FEW)
    assert [t.kind for t in found.targets] == [AIR_CHANGES, PER_PERSON, BOTH, LEVEL]
    assert {t.silent for t in found.targets[:3]} == {"It says nothing about smoke."}
    assert found[LEVEL].silent == "It says nothing about infection."
    assert len({t.title for t in found.targets}) == 4
    assert {t.cases[0].units[0].reached.name for t in found.targets} == {"air_changes", "per_person", "added", "level"}
    assert "target from memory" in codes(found[PER_PERSON].findings)
    assert "target from memory" not in codes(found[AIR_CHANGES].findings)
    assert found[PER_PERSON].cases[0].needed.to("cfm").value == pytest.approx(28 * 40)


# Source: the same balance drawn with numpy alone: limits of clean air, volume, infiltration, penetration and outdoors.
@pytest.mark.recomputed
def test_probability_of_a_number_against_independent_draws():
    fields = {
        "volume": "180 m3 ± 9 m3", "infiltration": "0.5 1/h ± 0.3 1/h", "penetration": "0.8 ± 0.15",
        "deposition": "0.3 1/h ± 0.2 1/h", "outdoor_concentration": "150 ug/m3 ± 40 ug/m3", "mixing": "0.85 ± 0.1",
    }  # fmt: skip
    cleaner = unit(rate="400 m3/h ± 60 m3/h (k=2)")
    [found] = study(room(cleaner, room=fields, concentration_target=smoke("20 ug/m3")))[LEVEL].cases
    [units] = found.units
    rng = np.random.default_rng(8)
    n = 200_000

    def limit(value, half):
        return value + half * rng.uniform(-1, 1, n)

    volume, leak, through, settle = limit(180, 9), limit(0.5, 0.3), limit(0.8, 0.15), limit(0.3, 0.2)
    outdoors, mixing = limit(150, 40), limit(0.85, 0.1)
    clean = 400 + 30 * rng.standard_normal(n)  # the two or more units are of one sort: off together
    for number, chance in zip(units.numbers, units.probability, strict=True):
        level = through * leak * outdoors / (leak + settle + number * mixing * clean / volume)
        share = np.mean(level <= 20.0)
        assert chance == pytest.approx(share, abs=5 * math.sqrt(max(share * (1 - share), 1e-6) / 100_000))
    needed = np.maximum(volume * (through * leak * outdoors / 20.0 - leak - settle), 0.0)
    assert found.needed.low == pytest.approx(np.quantile(needed, 0.025), abs=0.02 * np.std(needed))
    assert found.needed.high == pytest.approx(np.quantile(needed, 0.975), abs=0.03 * np.std(needed))
    assert (units.on_mean, units.sure) == (2, 3)
    assert units.probability[units.sure] >= 0.975 > units.probability[units.sure - 1]
    level = through * leak * outdoors / (leak + settle + 3 * mixing * clean / volume)
    assert units.reached.low[3] == pytest.approx(np.quantile(level, 0.025), abs=0.06 * np.std(level))
    assert units.reached.high[3] == pytest.approx(np.quantile(level, 0.975), abs=0.08 * np.std(level))


def test_a_higher_coverage_takes_no_fewer_units():
    record = room(unit(rate="400 m3/h ± 100 m3/h"), air_change_target={"air_changes": "13.6 1/h", "source": "a test"})
    sure = [study(record, coverage=c)[AIR_CHANGES].cases[0].units[0].sure for c in (0.5, 0.95, 0.99)]
    [found] = study(record)[AIR_CHANGES].cases[0].units
    assert found.on_mean == 2  # 680 of 800 m3/h
    assert sure == [2, 3, 3]  # with 75 %, with 97.5 % and with 99.5 %
    assert found.probability[2] == pytest.approx(0.8, abs=0.01)  # a rate above 340 of 300 to 500 m3/h


# Source: 10 lg N: ANSI/ASA practice, any textbook of acoustics.
@pytest.mark.recomputed
def test_watts_and_sound_of_several():
    cleaner = unit(power="70 W ± 3 W", sound="52 dB ± 2 dB", sound_distance="1.5 m", count=3)
    found = study(room(cleaner, concentration_target=smoke("9 ug/m3")), samples=FEW)
    [units] = found[LEVEL].cases[0].units
    assert units.power.value[:3] == pytest.approx([0, 70, 140])
    assert units.sound.value[1:3] == pytest.approx([52.0, 55.0103], abs=1e-4)
    assert math.isnan(units.sound.value[0])
    together = option(found, "3 × a cleaner")
    assert together.quantities["sound"].value == pytest.approx(56.7712, abs=1e-4)
    assert together.quantities["sound"].label.endswith("each at 1.5 m")
    assert together.quantities["power"].value == pytest.approx(210.0)
    assert together.quantities["energy"].value == pytest.approx(0.210 * 24)


def test_sorts_beside_each_other():
    record = room(
        unit("large", "301 m3/h ± 0.0001 m3/h", count=1), unit("small", "101 m3/h ± 0.0001 m3/h"),
        air_change_target={"air_changes": "10 1/h", "source": "a test"},
    )  # fmt: skip
    found = study(record, samples=FEW)
    [case] = found[AIR_CHANGES].cases
    large, small = case.units
    assert case.needed.value == pytest.approx(500.0)
    assert large.sure == 2  # alone: the number of small ones is not stated
    assert small.sure == 2  # beside the large one that is there
    assert case.there == 0.0
    assert [o.title for o in found.options] == ["nothing added", "1 × large", "1 × large, 2 × small"]


def test_a_number_that_is_not_allowed_is_said_plainly():
    record = room(
        unit(rate="251 m3/h ± 0.0001 m3/h"),
        room={"most_units": 2},
        air_change_target={"air_changes": "20 1/h", "source": "a test"},
    )
    found = study(record, samples=FEW)
    [case] = found[AIR_CHANGES].cases
    [units] = case.units
    assert (units.sure, units.most, units.allowed) == (4, 2, False)
    assert "more units than allowed" in codes(case.findings)
    said = verdict(found[AIR_CHANGES], case, units)
    assert said.startswith("Not achievable with at most 2 of a cleaner: 4 would be needed")
    assert "10.04 1/h (10.04 to 10.04)" in said
    assert "One gives 251 of the 1000 m3/h that it takes." in said


# Source: the share of a normal distribution below nothing, by the error function.
@pytest.mark.recomputed
def test_no_number_does_it_where_a_unit_may_add_nothing():
    rate = Estimate(100.0, (), {Cause("rate"): [60.0]})
    found = units_for("a cleaner", Estimate(250.0), Estimate(0.0), rate, Asked())
    assert found.on_mean == 3
    assert found.sure is None
    assert not found.allowed
    assert found.never == pytest.approx(0.5 * math.erfc(100 / 60 / math.sqrt(2)), abs=0.002)
    assert found.probability[3] == pytest.approx(0.5 * math.erfc((250 / 3 - 100) / 60 / math.sqrt(2)), abs=0.004)


# Source: of two sorts that share nothing the sum is normal; of one sort all are off together.
@pytest.mark.recomputed
def test_units_of_one_sort_are_off_together():
    rate, other = (Estimate(100.0, (), {Cause(name): [20.0]}) for name in ("one sort", "another"))
    alike = units_for("a cleaner", Estimate(190.0), rate, rate, Asked())
    apart = units_for("a cleaner", Estimate(190.0), other, rate, Asked())
    assert alike.probability[1] == pytest.approx(0.5 * math.erfc(-10 / 40 / math.sqrt(2)), abs=0.004)
    assert apart.probability[1] == pytest.approx(0.5 * math.erfc(-10 / 20 / 2), abs=0.004)


def test_a_target_below_what_comes_in_is_said_plainly():
    record = room(unit(), concentration_target=smoke("0.1 ug/m3"), room={"infiltration": "3 1/h"})
    target = study(record, samples=FEW)[LEVEL]
    [case] = target.cases
    assert "not achievable in a well-mixed room" in codes(case.findings)
    [first, _] = sentences(target, case)
    assert first.startswith("Not achievable in a room that stays well mixed")
    assert f"{0.8 * 3 * 35 / 0.1 - 3.4:.3g} times an hour" in first


def test_met_without_any():
    found = study(room(unit(), concentration_target=smoke("20 ug/m3")), samples=FEW)
    [case] = found[LEVEL].cases
    assert case.needed.value == 0.0
    assert case.units[0].sure == 0
    assert case.without == 1.0
    assert "target met without cleaners" in codes(case.findings)


# Source: A h (1 - d), recomputed; its bar from the three, which share nothing.
@pytest.mark.recomputed
def test_the_volume_of_the_air():
    sides = {"volume": None, "floor_area": "60 m2 ± 3 m2", "ceiling_height": "3 m ± 0.06 m", "displaced": "(10 ± 3) %"}
    volume = study(room(unit(), room=sides), samples=FEW).facts.inputs["volume"]
    assert volume.value == pytest.approx(162.0)
    assert volume.u == pytest.approx(162 * math.sqrt(0.05**2 + 0.02**2 + (0.03 / 0.9) ** 2) / math.sqrt(3))


@pytest.mark.parametrize(
    ("needed", "base", "each", "number"),
    [
        (250.0, 0.0, 100.0, 2.5),
        (250.0, 200.0, 100.0, 0.5),
        (250.0, 300.0, 100.0, 0.0),  # there already
        (250.0, 300.0, -1.0, 0.0),
        (250.0, 250.0, 0.0, 0.0),
        (250.0, 0.0, 0.0, math.inf),
        (250.0, 0.0, -1.0, math.inf),
    ],
)
def test_number_of_units(needed, base, each, number):
    assert number_needed(needed, base, each) == pytest.approx(number)
    assert np.isnan(number_needed(math.nan, base, each))
    assert np.isnan(number_needed(needed, base, math.nan))


def test_public_name():
    assert flowrig.room is study
