"""Simulated units whose true sound level is known: heard at some of all places, over a background that comes and goes.

The truth is the level of the mean energy over all places, of which the microphone sees a few; the meter is off by one
amount at all of them, and with the unit off too. All numbers are invented.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

import flowrig
from flowrig.physics.sound import energy_sum
from tests.coverage.rigs import Array, Drawn, Meter, Rig, Rng, Taken

NEPER = 10 / math.log(10)  # 1 % of the width is 1 % of the energy
OCTAVES = np.array([63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])
WEIGHTS = np.array([-26.19, -16.19, -8.67, -3.25, 0.0, 1.20, 0.96, -1.14])  # of the octaves' exact middles


@dataclass(frozen=True)
class Heard:
    """A unit around which a meter is carried.

    Attributes
    ----------
    places : int
    scatter : float
        Standard deviation of the level from place to place. [dB]
    apart : float
        By how much the background lies below the unit. [dB]
    repeats : int
        At each place.
    noise : float
        Standard deviation of one reading of the unit. [dB]
    swing : float
        Of one reading of the background. [dB]
    backgrounds : int
        Readings of it, at one place.
    limit : float
        Of the meter. [dB]
    banded : bool
        Read in octaves, of a spectrum that is smooth.
    """

    places: int = 1
    scatter: float = 0.0
    apart: float = 12.0
    repeats: int = 1
    noise: float = 0.0
    swing: float = 0.3
    backgrounds: int = 6
    limit: float = 0.3
    banded: bool = False

    def draw(self, rng: Rng) -> Drawn:
        meter = Meter(rng, 0.0, self.limit, 0.1)
        level = rng.uniform(48.0, 58.0)
        there = level + self.scatter * rng.standard_normal(self.places)
        truth = level + self.scatter**2 / (2 * NEPER)  # of the energy of normal levels
        if self.places == 1:
            truth = float(there[0])
        behind = truth - self.apart
        spectrum = self._spectrum(rng) if self.banded else np.zeros(1)
        quiet = behind + self.swing * rng.standard_normal(self.backgrounds)
        readings: dict[str, list[Any]] = {"place": [], "level [dB]": [], "background [dB]": []}
        if self.banded:
            readings["frequency [Hz]"] = []
        for place, own in enumerate(there, start=1):
            for _ in range(self.repeats):
                loud = own + self.noise * rng.standard_normal()
                both = np.array([loud, behind + self.swing * rng.standard_normal()])
                total = float(energy_sum(both).item())
                self._write(readings, meter, place, total + spectrum)
        for k, own in enumerate(quiet):
            self._write(readings, meter, 1, own + spectrum, unit=False, number=k)
        record = {
            "title": "Simulated unit (invented)", "date": dt.date(2026, 8, 21), "invented": True,
            "instruments": {"meter": meter.words("sound level", "dB")}, "sound": {"readings": readings},
        }  # fmt: skip
        return Drawn(record, truth, _level, scale=NEPER)

    @staticmethod
    def _write(
        readings: dict[str, list[Any]], meter: Meter, place: int, levels: Array, unit: bool = True, number: int = 0
    ) -> None:
        for band, shown in enumerate(meter.show(levels)):
            readings["place"].append(place)
            readings["level [dB]"].append(f"{shown:.1f}" if unit else None)
            readings["background [dB]"].append(None if unit else f"{shown:.1f}")
            if "frequency [Hz]" in readings:
                readings["frequency [Hz]"].append(OCTAVES[band])

    @staticmethod
    def _spectrum(rng: Rng) -> Array:
        """Levels in octaves over the A-weighted level: a hump somewhere in the middle, alike for all."""
        middle, width = rng.uniform(2.0, 5.0), rng.uniform(1.5, 3.0)
        shape = -((np.arange(8) - middle) ** 2) / width
        return np.asarray(shape - energy_sum(shape + WEIGHTS))


def _level(record: dict[str, Any]) -> Taken | None:
    part = flowrig.reduce(record).parts["sound"]
    q = part.quantities.get("level")
    return None if q is None else (q.estimate, q.interval, part.findings)


RIGS: tuple[Rig, ...] = (
    Rig("sound, 12 places that scatter by 2 dB", "normal", Heard(12, 2.0)),
    Rig("sound, 6 places that scatter by 1 dB, background 8 dB below", "normal", Heard(6, 1.0, 8.0, swing=0.5)),
    Rig("sound, 4 places that scatter by 1.5 dB", "few", Heard(4, 1.5), slow=True),
    Rig("sound, 10 repeats at one place, background 7 dB below", "normal",
        Heard(1, 0.0, 7.0, repeats=10, noise=0.5, swing=0.5, backgrounds=10, limit=0.1)),
    Rig("sound, meter within 1 dB", "rectangular", Heard(4, 0.2, limit=1.0), slow=True),
    Rig("sound in octaves, smooth spectrum", "assumed limits", Heard(6, 0.3, limit=0.1, banded=True)),
)  # fmt: skip
