"""Every figure of a room with its cleaners."""

from __future__ import annotations

from flowrig.report.figures.picture import Picture
from flowrig.report.figures.room_level import level_pictures
from flowrig.report.figures.units_needed import units_pictures
from flowrig.studies.room import RoomResult


def room_pictures(result: RoomResult) -> list[Picture]:
    """How many units each target takes, then what becomes of the air."""
    return [*units_pictures(result), *level_pictures(result)]
