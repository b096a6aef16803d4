"""What can hurt somebody while a flow is measured. Printed on every blank sheet; local codes and licensed practice
come first."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """One caution, in words for the person at the rig, and where it is from."""

    text: str
    source: str


GUARD = Caution(
    "Never open a blade guard to fit a probe or a shroud. Keep hair, sleeves and hoses away from the inlet.",
    "general machine safety (from memory)",
)
UNPLUG = Caution(
    "Switch off, unplug and let the blades stand before changing filters, nozzles or anything near them.",
    "general machine safety (from memory)",
)
LOADED = Caution(
    "Loaded filters: gloves, eye protection, a respirator (N95, FFP2 or better); hold by the frame, bag at once.",
    "building-services practice; NIOSH 2003-136 (from memory)",
)
THROTTLED = Caution(
    "A fan throttled by filters or nozzles runs warmer: stay with it, and stop it if it smells, slows or grows hot.",
    "evaluation of do-it-yourself filter units for the US EPA, 2021, as quoted",
)
CORD = Caution(
    "No extension cords, no damaged cords, none where people walk; the rig stands level and cannot tip.",
    "US fan-safety lists, as quoted; extension cords from memory",
)
LICENSED = Caution(
    "Fixed wiring, speed controllers and motors: a licensed electrician, and the local code. No lamp dimmer on a fan.",
    "from memory (local codes)",
)
DRAWN_OUT = Caution(
    "A rig that blows air out of the room can draw flue gas back from open-flued heaters: switch them off first, "
    "air the room, have a carbon-monoxide alarm.",
    "US EPA guidance on combustion appliances",
)
DUCT_WALL = Caution(
    "Before a hole is drilled, find out what is in and behind the duct wall (cables, heaters, fire dampers, old "
    "insulation with asbestos) and who must allow it; edges of sheet metal cut.",
    "general trade practice (from memory)",
)
COMMON = (GUARD, UNPLUG, LOADED, THROTTLED, CORD, LICENSED, DRAWN_OUT)
