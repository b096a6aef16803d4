"""Sound of a unit: its level alone, its sound power, and the level at another place, in another room, of several."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import Any

import numpy as np

from flowrig.physics.sound import equal_sources_level, power_level_from_room, room_constant, room_level
from flowrig.records import flags as reading_flags
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Array, Section, as_written
from flowrig.records.record import Record
from flowrig.records.sound_facts import (
    AS_MEASURED,
    ENGINEERING,
    IN_JET,
    NOT_SAID,
    OPEN,
    OUT_OF_JET,
    SCREENED,
    STANDS,
    SURVEY,
)
from flowrig.studies import sound_flags as flags
from flowrig.studies.beside_reading import state_said, state_unsaid
from flowrig.studies.one_sided import one_sided
from flowrig.studies.result import PartResult, Quantity, Result, unused
from flowrig.studies.sound_level import GRADES, Level, level_alone
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import interval
from flowrig.uncertainty.propagate import linear

FEW = 5
NAME = 25  # characters of a name beside a number
# Standard deviation of reproducibility of a sound power level by grade, and from which number of places on
REPRODUCED = {ENGINEERING: (9, 1.5), SURVEY: (4, 3.0)}
FEWER = 4.0  # dB: with fewer places than survey grade asks for; own judgement, no source
MOST_OF_ROOM = {ENGINEERING: 4.0, SURVEY: 7.0}  # dB that the room may add to what comes straight
LOUD = 50.0  # dB
LIKELY = (15.0, 110.0)  # dB
COARSE = (6.0, 1.0)  # dB: of a meter's limits, and of its last digit
NEAR, TOO_NEAR = 0.5, 0.1  # m
FROM, TO = 125.0, 8000.0  # Hz, octaves that a level from bands should hold


@dataclass
class SoundResult(PartResult):
    """Sound of a unit.

    Attributes
    ----------
    level : Level or None
    distance : float or None
        From the middle of the unit to the microphone. [m]
    """

    level: Level | None = None
    distance: float | None = None


@dataclass(frozen=True)
class Place:
    """Where a level is heard.

    Attributes
    ----------
    distance : Estimate
        [m]
    directivity : float
    constant : Estimate
        Of the room. [m2]; infinite in the open.
    """

    distance: Estimate
    directivity: float
    constant: Estimate

    @property
    def by_room(self) -> float:
        """What the room adds to what comes straight. [dB]"""
        straight = self.directivity / (4.0 * math.pi * float(self.distance.value) ** 2)
        return 10.0 * math.log10(1.0 + 4.0 / float(self.constant.value) / straight)


def sound(result: Result) -> SoundResult:
    """What the tables [sound] and [[sound_at]] say."""
    return _Reduction(result).run()


class _Reduction:
    """Readings of a meter on their way to levels."""

    def __init__(self, result: Result) -> None:
        self.result, self.record = result, result.record
        self.content = self.record.parts["sound"]
        self.section: Section = self.content.section
        self.level = level_alone(self.content, self.record)
        self.part = SoundResult("sound", "Sound, A-weighted", level=self.level, distance=self.section.value("distance"))
        self.bound = self.level.bound or self.section.value("microphone") == IN_JET

    def run(self) -> SoundResult:
        part, level = self.part, self.level
        part.findings += [*level.findings, *self._findings()]
        part.sentences += self._sentences()
        label = "sound level" if math.isfinite(level.background) else "level, background included"
        self._add("level", label, level.estimate)
        first = next(iter(part.quantities.values()))
        if first.low > LOUD:
            part.findings.append(Finding(flags.LOUD, f"{first.value:.1f} {first.unit}"))
        here = self._here()
        power = self._power(here) if here is not None else None
        if power is not None:
            self._add("sound_power", "sound power level, re 1 pW", power)
        for i, section in enumerate(self.content.elsewhere):
            x = self._elsewhere(section, here, power)
            if x is not None:
                many = section.value("units", 1)
                name = textwrap.shorten(section.value("name"), NAME, placeholder="...")
                words = f"level, {name}" + (f", {many} units" if many > 1 else "")
                words = unused(words, [q.label for q in part.quantities.values()])
                self._add(f"level_at_{i + 1}", words, x)
        part.findings += state_unsaid(self.section)
        part.findings.sort(key=lambda f: SEVERITIES.index(f.severity))
        return part

    def _add(self, name: str, label: str, x: Estimate) -> None:
        drawn: dict[str, Any] = {"samples": self.result.samples, "seed": self.result.seed}
        unit = self.section["level"].unit or "dB"
        coverage = self.result.coverage
        if self.bound:
            bar = one_sided(x, "at most", coverage, **drawn)
            own = f"{name}_at_most"
            self.part.quantities[own] = Quantity(own, label, "sound level", unit, x, bar, bound="at most")
        else:
            bar = interval(x, coverage, **drawn)
            self.part.quantities[name] = Quantity(name, label, "sound level", unit, x, bar)

    def _here(self) -> Place | None:
        """Where the microphone was; None where too little of it is told."""
        section = self.section
        wanted = {"distance": "distance" in section}
        wanted |= {name: section.value(name) != NOT_SAID for name in ("stands", "surroundings")}
        missing = [name for name, there in wanted.items() if not there]
        if missing:
            self.part.sentences.append(f"No sound power is told: {', '.join(missing)} not said.")
            return None
        if self._too_near(section):
            return None
        distance = given_estimate(section["distance"], f"{self.record.id}:sound", "distance of the microphone")
        return Place(distance, STANDS[section.value("stands")], _constant(section, self.record))

    def _too_near(self, section: Section) -> bool:
        """Whether a distance can be no distance from a unit; one that is short is told."""
        found = of_distance(section)
        self.part.findings += found
        return any(f.meaning == flags.TOO_NEAR for f in found)

    def _power(self, here: Place) -> Estimate:
        """Sound power level by grade."""
        grade = self._grade(here)
        size = REPRODUCED[grade][1] if grade else FEWER
        label = f"sound power at {grade or 'less than survey'} grade"
        method = Cause("method:sound power by level", scope="method", label=label)
        said = f"{self.level.places} place{'s' if self.level.places > 1 else ''}: standard uncertainty {size:g} dB"
        self.part.findings.append(Finding(flags.POWER_GRADE, f"{grade or 'less than survey'} grade, {said}"))
        if here.by_room > MOST_OF_ROOM[SURVEY]:
            said = f"{here.by_room:.1f} dB of it, where {MOST_OF_ROOM[SURVEY]:g} dB are allowed"
            self.part.findings.append(Finding(flags.MOSTLY_ROOM, said))
        inputs = {
            "level": self.level.estimate,
            "distance": here.distance,
            "constant": here.constant,
            "method": Estimate(0.0, (), {method: [size]}),
        }
        return linear(_power, inputs, (), {"x": ()}, directivity=here.directivity)["x"]

    def _grade(self, here: Place) -> str:
        """The best grade that places, room and background come up to, none better than was asked for."""
        wanted = [SURVEY] if self.section.value("grade") == SURVEY else [ENGINEERING, SURVEY]
        for grade in wanted:
            if self.level.places >= REPRODUCED[grade][0] and here.by_room <= MOST_OF_ROOM[grade]:
                return grade
        return ""

    def _elsewhere(self, section: Section, here: Place | None, power: Estimate | None) -> Estimate | None:
        number = float(section.value("units", 1))
        moved = "distance" in section or any(section.value(name) != AS_MEASURED for name in ("stands", "surroundings"))
        if not moved:  # what several do at one place needs no sound power
            return linear(_several, {"level": self.level.estimate}, (), {"x": ()}, number=number)["x"]
        if any(f.meaning == flags.TOO_NEAR for f in self.part.findings) and power is None:
            return None
        if here is None or power is None:
            self.part.findings.append(Finding(flags.ELSEWHERE_UNKNOWN, str(section.value("name"))))
            return None
        if "distance" in section and self._too_near(section):
            return None
        place = f"{self.record.id}:{section.name}"
        distance = here.distance
        if "distance" in section:
            distance = given_estimate(section["distance"], place, f"distance, {section.value('name')}")
        stands, surroundings = section.value("stands"), section.value("surroundings")
        directivity = here.directivity if stands == AS_MEASURED else STANDS[stands]
        constant = here.constant if surroundings == AS_MEASURED else _constant(section, self.record)
        inputs = {"power": power, "distance": distance, "constant": constant}
        return linear(_heard, inputs, (), {"x": ()}, directivity=directivity, number=number)["x"]

    def _sentences(self) -> list[str]:
        level, section = self.level, self.section
        said = []
        if level.places > 1:
            said.append(f"Mean by energy over {level.places} places of the microphone.")
        if level.bands.size:
            sort = "octaves" if level.octaves else "third-octaves"
            said.append(f"A-weighted from {level.bands.size} {sort}, {level.bands[0]:g} to {level.bands[-1]:g} Hz.")
        if math.isfinite(level.background):
            taken = level.shown - float(level.estimate.value)
            said.append(
                f"With the unit {level.shown:.1f} dB, background {level.background:.1f} dB: {taken:.1f} dB taken off"
                + (
                    f", which is all that is allowed: at most {level.shown - taken:.1f} dB as read."
                    if level.bound
                    else "."
                )
            )
        away = f"{as_written(section['distance'])} from the middle of the unit" if "distance" in section else ""
        return said + state_said(section, away)

    def _findings(self) -> list[Finding]:
        level, section = self.level, self.section
        found = []
        least, cap = GRADES[section.value("grade")]
        below = f"{level.shown - level.background:.1f} dB below"
        if not math.isfinite(level.background):
            found.append(Finding(flags.BACKGROUND_UNREAD, "the unit itself makes no more than what is told"))
        elif level.background > level.shown:
            found.append(Finding(flags.BACKGROUND_ABOVE, f"{level.background:.1f} dB and {level.shown:.1f} dB"))
        elif level.bound:
            said = f"{below}, {least:g} dB are needed at {section.value('grade')} grade; {cap:g} dB at most taken off"
            found.append(Finding(flags.BACKGROUND_NEAR, said))
        if level.near.size and not level.bound:
            said = f"{', '.join(f'{x:g}' for x in level.near)} Hz: half of what they may be, give or take all of it"
            found.append(Finding(flags.BANDS_NEAR, said))
        if level.once:
            found.append(Finding(flags.BACKGROUND_ONCE, "1 dB either way assumed"))
        jet = {NOT_SAID: flags.JET_UNSAID, SCREENED: flags.JET_SCREENED, IN_JET: flags.IN_JET}
        microphone = str(section.value("microphone"))
        if microphone != OUT_OF_JET:
            found.append(Finding(jet[microphone], f"microphone {microphone}"))
        meter = self.record.instruments.get(section["level"].instrument)
        if meter is not None:
            limits = sum(float(c.half_width(level.shown)) for c in meter.components)
            if limits > COARSE[0] or (meter.resolution or 0.0) > COARSE[1]:
                digit = f", last digit {meter.resolution:g} dB" if meter.resolution else ""
                found.append(Finding(flags.METER_COARSE, f"{meter.name}: within {limits:.3g} dB{digit}"))
        if not LIKELY[0] <= level.shown <= LIKELY[1]:
            found.append(Finding(flags.LEVEL_UNLIKELY, f"{level.shown:.1f} dB"))
        if 1 < level.places < level.range:
            found.append(Finding(flags.PLACES_APART, f"{level.range:.1f} dB over {level.places} places"))
        if level.places == 1:
            found.append(Finding(flags.ONE_PLACE, "one place of the microphone"))
        elif level.places < FEW:
            found.append(Finding(reading_flags.FEW_READINGS, f"{level.places} places of the microphone"))
        if level.bands.size:
            found += _of_bands(level)
        return found


def of_distance(section: Section) -> list[Finding]:
    """What is to be said of a distance from a unit."""
    item = section["distance"]
    if item.value >= NEAR:
        return []
    return [Finding(flags.TOO_NEAR if item.value < TOO_NEAR else flags.NEAR, f"{section.name}: {as_written(item)}")]


def _of_bands(level: Level) -> list[Finding]:
    found = []
    steps = np.round(10.0 * np.log10(level.bands / 1000.0)).astype(int)
    each = 3 if level.octaves else 1
    missing = sorted(set(range(steps[0], steps[-1] + 1, each)) - set(steps.tolist()))
    said = [f"none near {1000.0 * 10.0 ** (k / 10.0):.3g} Hz" for k in missing]
    if level.bands[0] > FROM * 1.01 or level.bands[-1] < TO * 0.99:
        said.append(f"from {level.bands[0]:g} to {level.bands[-1]:g} Hz alone")
    if said:
        found.append(Finding(flags.BANDS_MISSING, ", ".join(said)))
    if level.octaves:
        found.append(Finding(flags.OCTAVES, f"{level.bands.size} octaves"))
    return found


def _constant(section: Section, record: Record) -> Estimate:
    """Room constant of where a unit stands; infinite in the open."""
    if section.value("surroundings") == OPEN:
        return Estimate(math.inf)
    place = f"{record.id}:{section.name}"
    inputs = {
        name: given_estimate(section[name], place, words)
        for name, words in (("room_surface", "surface of the room"), ("absorption", "absorption of the room"))
    }
    return linear(_room, inputs, (), {"x": ()})["x"]


def _room(*, room_surface: Array, absorption: Array) -> dict[str, Array]:
    return {"x": np.asarray(room_constant(room_surface, absorption))}


def _power(*, level: Array, distance: Array, constant: Array, method: Array, directivity: float) -> dict[str, Array]:
    return {"x": power_level_from_room(level, directivity, distance, constant) + method}


def _heard(*, power: Array, distance: Array, constant: Array, directivity: float, number: float) -> dict[str, Array]:
    return {"x": np.asarray(equal_sources_level(room_level(power, directivity, distance, constant), number))}


def _several(*, level: Array, number: float) -> dict[str, Array]:
    return {"x": np.asarray(equal_sources_level(level, number))}
