"""What is assumed of a room, and what must be said beside its numbers."""

from __future__ import annotations

import pytest

from flowrig.records.room_facts import ROOM
from flowrig.studies.room import room as study
from flowrig.studies.room_targets import AIR_CHANGES, LEVEL
from tests.studies.rooms import room, smoke, unit

FEW = 1000


def codes(findings):
    return [f.code for f in findings]


def test_what_is_not_stated_is_assumed_with_its_limits():
    bare = {"infiltration": None, "penetration": None, "deposition": None, "mixing": None, "combustion": None}
    found = study(room(room=bare, concentration_target=smoke("9 ug/m3")), samples=FEW)
    told = {name: (shown, basis) for name, shown, basis in found.facts.assumed}
    names = ("displaced", "infiltration", "penetration", "deposition", "indoor_source", "outdoor_air")
    assert set(told) == {f"room.{name}" for name in names}
    for name in ("infiltration", "penetration", "deposition"):
        shown, basis = told[f"room.{name}"]
        assert "±" in shown
        assert basis
        assert found.facts.inputs[name].u > 0.1 * found.facts.inputs[name].value
    [said] = [f.message for f in found.findings if f.code == "assumed"]
    assert "room.infiltration = 0.6 1/h ± 0.5 1/h" in said
    assert {"perfect mixing assumed", "combustion appliances not said"} <= set(codes(found.findings))
    causes = {line.cause.name for line in found[LEVEL].cases[0].needed.estimate.budget()[:3]}
    assert {"infiltration of the room", "penetration of the room"} <= causes


# Source: medians and seasons of three metropolitan areas, doi 10.1111/j.1600-0668.2009.00622.x (abstract); penetration
# of 0.1 to 1 um, a review; deposition of 0.3 to 0.5 um, doi 10.1016/j.atmosenv.2003.09.012 (abstracts read).
@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "published"),
    [
        ("infiltration", (0.71, 0.87, 0.88, 0.47, 0.61, 0.37, 0.4, 0.35)),
        ("penetration", (0.78 - 0.17, 0.78 + 0.17)),
        ("deposition", (0.3, 0.6)),
    ],
)
def test_assumed_limits_hold_what_is_published(name, published):
    text = ROOM.field(name).default
    middle, half = (float(part.split()[0]) for part in text.split("±"))
    assert all(middle - half <= x <= middle + half for x in published)
    assert middle - half >= 0.0


def test_what_is_stated_without_a_bar_is_said_to_be_exact():
    found = study(room(unit()), samples=FEW)
    [said] = [f.message for f in found.findings if f.code == "taken as exact"]
    assert all(name in said for name in ("infiltration", "penetration", "deposition"))
    assert "outdoor" not in said  # a case that is looked at
    sure = {"infiltration": "0.5 1/h ± 0.1 1/h", "penetration": "0.8 ± 0.1", "deposition": "0.4 1/h ± 0.1 1/h"}
    assert "taken as exact" not in codes(study(room(unit(), room=sure), samples=FEW).findings)
    assert "perfect mixing assumed" not in codes(found.findings)


@pytest.mark.parametrize(
    ("particles", "target", "code", "severity"),
    [
        ("0.3 to 1 um", "smoke", "smoke range from 0.3 um", "note"),
        ("0.1 to 1 um", "smoke", None, ""),
        ("1 to 3 um", "smoke", "rate of other particles", "alarm"),
        ("0.3 to 10 um", "smoke", "rate of partly other particles", "warning"),
        ("0.3 to 1 um", "smouldering", "particles not compared", "warning"),
    ],
)
def test_particles_of_rate_and_target(particles, target, code, severity):
    found = study(room(unit(particles=particles), concentration_target=smoke("9 ug/m3", target)), samples=FEW)
    told = [f for f in found[LEVEL].findings if f.code in
            ("smoke range from 0.3 um", "rate of other particles", "rate of partly other particles",
             "particles not compared")]  # fmt: skip
    assert [(f.code, f.severity) for f in told] == ([(code, severity)] if code else [])


def test_particles_of_guidance_are_compared_where_they_are_stated():
    target = {"guidance": "occupied space, CDC 2023"}
    found = study(room(unit(), air_change_target=target), samples=FEW)
    assert codes(found[AIR_CHANGES].findings) == ["sizes of the guidance not stated"]
    found = study(room(unit(), air_change_target=target | {"particles": "1 to 3 um"}), samples=FEW)
    assert codes(found[AIR_CHANGES].findings) == ["rate of other particles"]


def test_what_is_assumed_of_small_particles_is_not_taken_for_large_ones():
    bare = {"penetration": None, "deposition": None}
    target = smoke("9 ug/m3", "3 to 10 um")
    found = study(room(unit(particles="3 to 10 um"), room=bare, concentration_target=target), samples=FEW)
    assert "assumed for other particles" in codes(found[LEVEL].findings)
    found = study(room(unit(particles="3 to 10 um"), concentration_target=target), samples=FEW)
    assert "assumed for other particles" not in codes(found[LEVEL].findings)


def test_outdoor_air_in_smoke():
    blown = {"outdoor_air": "100 m3/h"}
    found = study(room(room=blown, concentration_target=smoke("9 ug/m3")), samples=FEW)
    assert "outdoor air brings smoke" in codes(found.findings)
    assert ("room.outdoor_air_efficiency", "0 %") in [(name, shown) for name, shown, _ in found.facts.assumed]
    found = study(room(room=blown, air_change_target={"air_changes": "5 1/h"}), samples=FEW)
    assert "outdoor air brings smoke" not in codes(found.findings)
    assert "target without a source" in codes(found[AIR_CHANGES].findings)


@pytest.mark.parametrize(
    ("combustion", "out", "code"),
    [
        ("present", True, "air blown out beside a flue"),
        ("not said", True, "air blown out beside a flue"),
        ("none", True, None),
        ("present", False, None),
        ("not said", False, "combustion appliances not said"),
    ],
)
def test_a_flue_in_the_room(combustion, out, code):
    found = study(room(unit(), room={"combustion": combustion, "blows_out": out}), samples=FEW)
    told = {"air blown out beside a flue", "combustion appliances not said"} & set(codes(found.findings))
    assert told == ({code} if code else set())


# Source: the balance is linear in concentrations, so that numbers of particles come out as masses do.
@pytest.mark.recomputed
def test_numbers_of_particles_as_masses():
    numbers = {
        "concentrations": "number",
        "outdoor_concentration": "35 1/cm3",
        "indoor_source": "2e6 particles/h",
        "initial_concentration": "100 1/cm3",
    }
    counted = study(room(unit(count=1), room=numbers, concentration_target=smoke("5 1/cm3")), samples=FEW)
    masses = {"indoor_source": "2 mg/h", "initial_concentration": "100 ug/m3"}
    weighed = study(room(unit(count=1), room=masses, concentration_target=smoke("5 ug/m3")), samples=FEW)
    # 2e6 particles an hour in 50 m3 are 0.04 a cm3 and hour, 2 mg are 40 ug a m3
    for found, set_free in ((counted, 0.04), (weighed, 40.0)):
        gain = 35 * 0.8 * 0.5 + set_free
        assert found.options[0].quantities["level"].value == pytest.approx(gain / 0.9)
        assert found.options[1].quantities["level"].value == pytest.approx(gain / 5.9)
        assert found[LEVEL].cases[0].needed.value == pytest.approx(max(50 * (gain / 5 - 0.9), 0))
    assert counted.options[0].quantities["level"].unit == "1/cm3"


def test_a_room_of_which_only_clean_air_is_known():
    found = study(room(unit(count=2), room={"outdoor_concentration": None}), samples=FEW)
    [bare, cleaned] = found.options
    assert "level" not in cleaned.quantities
    assert not cleaned.come_down
    assert cleaned.curve.unit == "%"
    assert cleaned.curve.value[0] == pytest.approx(100.0)
    assert cleaned.curve.value[-1] < bare.curve.value[-1] < 100.0
