"""Published targets of clean air against the table they are from, and how they are found by name."""

import pytest

from flowrig.records.guidance import GUIDANCE, MEMORY, READ, find_guidance, nearest_guidance
from tests.reference.load import rows

CFM = 0.3048**3 / 60
PRINTED = rows("room_clean_air_targets.csv")
SPACES = [row for row in PRINTED if row["source"].startswith("ASHRAE 241-2023")]


# Source: ASHRAE 241-2023, Table 5-1, from memory and not confirmed.
@pytest.mark.from_memory
@pytest.mark.parametrize("row", SPACES, ids=lambda row: row["space"])
def test_a_space_of_the_standard(row):
    found = find_guidance(f"{row['space']}, ASHRAE 241-2023")
    assert found.per_person / CFM == pytest.approx(float(row["cfm_per_person"]))
    assert 1000 * found.per_person == pytest.approx(float(row["L_s_per_person"]), abs=0.06)
    assert found.air_changes is None
    assert found.status == MEMORY


# Source: CDC ventilation guidance, updated in May 2023; CDPH interim guidance; both read.
@pytest.mark.published
def test_air_changes_and_the_larger_of_two():
    cdc = find_guidance("Occupied space, CDC 2023")
    assert cdc.air_changes * 3600 == pytest.approx(5.0)
    assert cdc.per_person is None
    both = find_guidance("larger of two,  cdph")
    assert both.air_changes * 3600 == pytest.approx(5.0)
    assert both.per_person / CFM == pytest.approx(30.0)
    assert {cdc.status, both.status} == {READ}
    general = [row["space"] for row in PRINTED if row["group"] == "General"]
    assert [">= 5 air changes per h" in general[0], "5 air changes per h or 30 cfm" in general[1]] == [True, True]


def test_nothing_is_there_that_the_table_does_not_have():
    assert len(GUIDANCE) == len(PRINTED) == len(SPACES) + 2
    assert {row["status"].split(";")[0] for row in SPACES} == {MEMORY}


@pytest.mark.parametrize(
    ("name", "of", "words"),
    [
        ("classroom", "per_person", "classroom, ASHRAE 241-2023"),
        ("clasroom, ASHRAE 241-2023", "per_person", "classroom, ASHRAE 241-2023"),
        ("CDC", "air_changes", "occupied space, CDC 2023"),
        ("whatever", "per_person", "or the number itself"),
    ],
)
def test_a_name_that_is_none(name, of, words):
    assert find_guidance(name) is None
    assert words in nearest_guidance(name, of)
