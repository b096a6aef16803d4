"""Every figure of a room with its cleaners."""

from __future__ import annotations

from collections.abc import Iterator

from flowrig.report.figures.budget import budget_picture
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.room_level import level_pictures
from flowrig.report.figures.units_needed import FILES, units_pictures
from flowrig.studies.building import NOW
from flowrig.studies.room import RoomResult


def room_pictures(result: RoomResult) -> list[Picture]:
    """How many units each target takes, what that hangs on, and what becomes of the air."""
    return [*units_pictures(result), *_hangs_on(result), *level_pictures(result)]


def _hangs_on(result: RoomResult) -> Iterator[Picture]:
    """Of each target the causes of the clean air that it takes, with the ducts as they are."""
    for target in result.targets:
        for case in target.cases:
            if case.state.name == NOW:
                title = f"What the need hangs on. {target.title}"
                picture = budget_picture(case.needed, f"hangs-on-{FILES[target.kind]}", title, result.record)
                if picture is not None:
                    yield picture
