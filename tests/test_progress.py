"""What is being done: told to whoever listens, and to nobody else."""

from __future__ import annotations

import pytest

from flowrig.progress import doing, each, listening


@doing("the whole")
def work(number: int) -> int:
    """As a study does."""
    with doing("a part"):
        return number + 1


def test_nobody_is_told_where_nobody_listens() -> None:
    told: list[tuple[str, ...]] = []
    with listening(told.append):
        pass
    assert work(1) == 2
    assert told == []


def test_what_is_done_is_told_within_what_else() -> None:
    told: list[tuple[str, ...]] = []
    with listening(told.append):
        assert work(1) == 2
    assert told == [("the whole",), ("the whole", "a part"), ("the whole",), ()]
    assert work.__doc__ == "As a study does."


def test_items_are_counted_where_there_are_several() -> None:
    told: list[tuple[str, ...]] = []
    with listening(told.append):
        assert list(each("flow", ["a", "b"])) == ["a", "b"]
        assert list(each("flow", ["a"])) == ["a"]
        assert list(each("flow", [])) == []
    assert [words for words in told if words] == [("flow 1 of 2",), ("flow 2 of 2",), ("flow",)]


def test_it_ends_with_an_error_too() -> None:
    told: list[tuple[str, ...]] = []
    with listening(told.append), pytest.raises(ValueError, match="no"), doing("one"), doing("two"):
        raise ValueError("no")
    assert told == [("one",), ("one", "two"), ("one",), ()]
