"""What a cause is, and that one id never means two things."""

import math
from dataclasses import replace

import pytest

from flowrig.errors import FlowrigError
from flowrig.uncertainty.cause import Cause, CauseConflict, unite

MANOMETER = Cause("manometer 7, 2024-03-01, 500 Pa:limit", shape="rectangular", scope="calibration", label="manometer")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"n": 0}, "n is 0"),
        ({"dof": 0.0}, "dof is 0.0"),
        ({"dof": -1.0}, "dof is -1.0"),
        ({"dof": math.nan}, "dof is nan"),
        ({"dof": 4.0, "shape": "rectangular"}, "normal shape"),
        ({"dof": 4.0, "shape": "triangular"}, "normal shape"),
    ],
)
def test_a_cause_that_cannot_be_is_refused_by_name(given, said):
    with pytest.raises(ValueError, match=said) as caught:
        Cause("the culprit", **given)
    assert "'the culprit'" in str(caught.value)


def test_the_label_is_for_people_and_no_part_of_the_identity():
    other = replace(MANOMETER, label="the grey one")
    assert other == MANOMETER
    assert hash(other) == hash(MANOMETER)
    assert MANOMETER.name == "manometer"
    assert replace(MANOMETER, label="").name == MANOMETER.id


def test_a_block_has_a_direction_for_every_place_and_no_axis():
    noise = Cause("noise", n=2, dof=7, each="row")
    assert noise.block(5) == Cause("noise", n=10, dof=7)
    assert MANOMETER.block(5) is MANOMETER


def test_unite_keeps_each_cause_once_in_the_order_met():
    a, b, c = Cause("a"), Cause("b"), Cause("c")
    assert unite([[b, a], [a, c], [], [b]]) == [b, a, c]
    assert unite([]) == []


@pytest.mark.parametrize(
    "change", [{"n": 2}, {"dof": 9.0, "shape": "normal"}, {"shape": "normal"}, {"each": "row"}, {"scope": "setup"}]
)
def test_one_id_with_two_meanings_is_an_error(change):
    with pytest.raises(CauseConflict, match="manometer 7") as caught:
        unite([[MANOMETER], [replace(MANOMETER, **change)]])
    assert isinstance(caught.value, FlowrigError)
