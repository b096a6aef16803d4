"""Particles in words: published ranges, and an ePM that is refused under the name of a clean-air rate."""

from __future__ import annotations

import pytest

from flowrig.physics.size_averages import CLEAN_AIR_RANGES
from flowrig.records.cleaner_facts import CLEANERS
from flowrig.records.particle_words import TEST_DUSTS
from flowrig.records.rate_sizes import weighed_by_volume
from flowrig.records.walk import Walker

STATED = {"name": "four-filter box-fan cleaner", "clean_air_rate": "410 m3/h ± 40 m3/h", "particles": "0.3 to 1 um"}


def faults(**changed: str) -> list[str]:
    walker = Walker(lambda *path: f"room.toml, {path[-1]}")
    section = walker.section(CLEANERS, STATED | changed, ("cleaners", 0))
    walker.complete(section)
    return [str(fault) for fault in walker.faults]


def test_a_rate_of_sizes_is_sound() -> None:
    assert faults() == []


@pytest.mark.parametrize("said", ["ePM1", "ISO ePM2.5 60%", "PM2.5", "pm 10", "EPM1", "ePM2,5", "epm_1 and larger"])
def test_flow_times_epm_is_refused_under_the_name_of_a_rate(said: str) -> None:
    [fault] = faults(particles=said)
    assert fault.startswith(
        f"room.toml, particles: read '{said}'; expected particles between two sizes: an ePM or PM weighs"
    )
    assert "flow times ePM is not a clean-air rate" in fault
    assert '"0.3 to 1 um"' in fault


@pytest.mark.parametrize("said", ["0.3 to 1 um", "1 to 2.5 um", "smoke", "pm", "10 am to 1 pm", "PM100", "PM1.3"])
def test_what_is_no_epm(said: str) -> None:
    assert weighed_by_volume(said) == ""


def test_published_ranges_are_those_of_the_equations() -> None:
    assert {name: (own.lower, own.upper) for name, own in TEST_DUSTS.items()} == CLEAN_AIR_RANGES
