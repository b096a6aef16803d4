"""Published targets of clean air for occupied rooms: guidance on infection, none of it on smoke.

The figures alone are here, each with the edition it stands in and whether it was read there or is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from flowrig import units
from flowrig.records.files import near_name
from flowrig.records.words import folded

MEMORY, READ = "from memory", "read"
ASHRAE, CDC, CDPH = "ASHRAE 241-2023", "CDC 2023", "CDPH"
LARGER = f"larger of two, {CDPH}"


@dataclass(frozen=True)
class Guidance:
    """One target.

    Attributes
    ----------
    name : str
        As it is written in a record: kind of space, then edition.
    cfm : float or None
        Clean air for each person, as it is printed. [cfm]
    hourly : float or None
        Clean air in volumes of the room, as it is printed. [1/h]
    source : str
    status : {'read', 'from memory'}
    note : str
    """

    name: str
    cfm: float | None
    hourly: float | None
    source: str
    status: str
    note: str = ""

    @property
    def per_person(self) -> float | None:
        """[m3/s]"""
        return None if self.cfm is None else float(units.to_si(self.cfm, "cfm", "flow"))

    @property
    def air_changes(self) -> float | None:
        """[1/s]"""
        return None if self.hourly is None else float(units.to_si(self.hourly, "1/h", "rate"))


SPACES = {  # space: cfm a person
    "cell": 30,
    "day room": 40,
    "food and beverage facilities": 60,
    "gym": 80,
    "office": 30,
    "retail": 40,
    "transportation waiting": 60,
    "classroom": 40,
    "lecture hall": 50,
    "manufacturing": 50,
    "sorting, packing, light assembly": 20,
    "warehouse": 20,
    "exam room": 40,
    "group treatment area": 70,
    "patient room": 70,
    "resident room": 50,
    "waiting room": 90,
    "auditorium": 50,
    "place of religious worship": 50,
    "museum": 60,
    "convention": 60,
    "spectator area": 50,
    "lobbies": 50,
    "common space": 50,
    "dwelling unit": 30,
}


GUIDANCE = {
    folded(one.name): one
    for one in (
        *(
            Guidance(
                f"{space}, {ASHRAE}",
                number,
                None,
                "ASHRAE 241-2023, Table 5-1",
                MEMORY,
                "not confirmed; the standard's own figures in L/s are rounded to whole fives",
            )
            for space, number in SPACES.items()
        ),
        Guidance(f"occupied space, {CDC}", None, 5.0, "CDC ventilation guidance, updated in May 2023", READ),
        Guidance(
            LARGER,
            30.0,
            5.0,
            "California Department of Public Health, interim guidance on ventilation, filtration and air quality "
            "indoors",
            READ,
            "the larger of 5 air changes an hour and 30 cfm a person",
        ),
    )
}


def find_guidance(name: str) -> Guidance | None:
    """The target of a name, whatever its case and spaces."""
    return GUIDANCE.get(folded(name))


def nearest_guidance(name: str, of: str) -> str:
    """What to do about a name that is none.

    Parameters
    ----------
    name : str
    of : {'per_person', 'air_changes'}
        What the target is to be told in.
    """
    known = [one.name for one in GUIDANCE.values() if getattr(one, of) is not None]
    begun = [each for each in known if folded(each).startswith(f"{folded(name)},")]
    near = begun[0] if begun else near_name(name, known)
    if near:
        return f'Did you mean "{near}"? The edition belongs to the name.'
    shown = f"occupied space, {CDC}" if of == "air_changes" else f"classroom, {ASHRAE}"
    return f'Write "{shown}", for instance, or the number itself with its source.'
