"""Every figure of a result, whatever the command that it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import Any

from flowrig.report.figures.picture import Picture

# By the class of the result: module of this package and function, from the result to its pictures.
PICTURES: dict[str, tuple[str, str]] = {
    "Calibrated": ("calibrated", "calibrate_pictures"),
    "Plan": ("planned", "plan_pictures"),
    "Predicted": ("predicted", "predict_pictures"),
    "Result": ("reduced", "reduced_pictures"),
    "RoomResult": ("roomed", "room_pictures"),
    "Owned": ("owned", "own_pictures"),
    "Verified": ("verified", "verify_pictures"),
}
# Of a record reduced, by the name of the part: module and function, from the result and the part to its pictures.
PARTS: dict[str, tuple[str, str]] = {
    "decay": ("decays", "decay_pictures"),
    "particles": ("by_size", "particles_pictures"),
}


def parts_pictures(result: Any) -> Iterator[Picture]:
    """Pictures of what a record holds beside its flows, part by part."""
    for name, part in result.parts.items():
        if name in PARTS:
            module, function = PARTS[name]
            yield from getattr(import_module(f"flowrig.report.figures.{module}"), function)(result, part)


def pictures_of(result: Any) -> list[Picture]:
    """Pictures in the order in which a page shows them; none where there is nothing to draw."""
    known = PICTURES.get(type(result).__name__)
    if known is None:
        return []
    module, function = known
    found: list[Picture] = getattr(import_module(f"flowrig.report.figures.{module}"), function)(result)
    return found
