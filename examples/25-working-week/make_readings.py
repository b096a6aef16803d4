"""Draws the readings of the working week into its records' tables, and tells the truth behind each.

Run it with `python examples/25-working-week/make_readings.py`; a folder as its argument takes the files instead.
"""

import math
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

Array = NDArray[np.float64]
SEED = 2501
CELSIUS, PRESSURE, HUMIDITY = 23.4, 832.4, 0.31
NOZZLES = (0.14993, 0.10004)  # true throats [m]
COEFFICIENT = 0.997  # the nozzles pass 0.3 % less than the standard's equation has it
FLOW = 1398.0  # m3/h through the cleaner

SIZES = np.array([0.3, 0.5, 1.0, 2.5, 5.0, 10.0])  # um, where the channels of both counters begin
ABOVE = np.array([21.0e6, 2.4e6, 4.1e5, 7.5e4, 1.15e4, 1.9e3])  # particles a m3 above each, in the workshop
MEDIA = np.array([0.585, 0.722, 0.858, 0.931, 0.962, 0.975])  # held back by the panels alone
BESIDE = 0.055  # share of the flow beside the panels
SAMPLE = 2.83e-3 / 60.0  # m3/s
TIME = 60.0  # s for each sample
PC1 = {"flow": 0.985, "seen": np.array([0.53, 0.97, 1.0, 1.0, 1.0, 1.0]), "shift": 1.025}
PC2 = {"flow": 1.02, "seen": np.array([0.47, 0.96, 0.99, 1.0, 1.0, 1.0]), "shift": 0.97}

VOLUME = 96.6  # m3 of air in the store room, net
NATURAL, EFFECT = 0.42, 0.91  # a h, and the share of flow times efficiency that reaches the room
WATTS = 92.4
ROOM_PEAK, ROOM_FLOOR = 40.0e6, 1.1e6  # particles a m3 above 0.3 um


def above(size: Array) -> Array:
    """Particles a m3 above a size, straight between the known ones on logarithmic scales."""
    edges, counts = np.append(SIZES, 25.0), np.append(ABOVE, 60.0)
    return np.exp(np.interp(np.log(size), np.log(edges), np.log(counts)))


def channels(counter: dict, held: Array | float, level: float = 1.0) -> Array:
    """Mean concentration that a counter shows in each of its channels, of air that a filter has passed."""
    cut = SIZES * counter["shift"]  # what it takes for the size of its channel's limit
    counts = above(cut)
    by_channel = counts - np.append(counts[1:], 0.0)
    return level * by_channel * (1.0 - held) * counter["seen"]


def counted(random: np.random.Generator, counter: dict, held: Array | float, level: float, seconds: float) -> Array:
    """Cumulative counts of one sample."""
    mean = channels(counter, held, level) * SAMPLE * counter["flow"] * seconds
    return np.cumsum(random.poisson(mean)[::-1])[::-1]


def table(name: str, head: list[str], rows: list[list[object]]) -> None:
    """A CSV with the channels of a counter behind the other columns."""
    columns = [*head, *(f"{size:g} um" for size in SIZES)]
    invent.write(name, [",".join(columns), *(",".join(map(str, row)) for row in rows)])


def in_turn(random: np.random.Generator, run: str, held: Array, number: int, start: int) -> list[list[object]]:
    """Samples that two counters took at once, changing places halfway; the workshop's air drifts meanwhile."""
    rows: list[list[object]] = []
    for k in range(number):
        first, second = ("PC-1", "PC-2") if k < number // 2 else ("PC-2", "PC-1")
        level = 1.15 * math.exp(-0.009 * (start + k)) * (1 + 0.006 * random.standard_normal())
        for name, place in ((first, "upstream"), (second, "downstream")):
            counter = PC1 if name == "PC-1" else PC2
            passed = held if place == "downstream" else 0.0
            rows.append([start + k, run, place, name, *counted(random, counter, passed, level, TIME)])
    return rows


def decay(random: np.random.Generator, loss: Array, minutes: int) -> list[list[object]]:
    """Counts of half a minute, one each minute, while the room clears at the rate of each channel."""
    rows: list[list[object]] = []
    for minute in range(minutes + 1):
        hours = (minute + 0.25) / 60.0
        level = (ROOM_FLOOR + (ROOM_PEAK - ROOM_FLOOR) * np.exp(-loss * hours)) / ABOVE[0]
        mean = level * channels(PC1, 0.0) * SAMPLE * PC1["flow"] * 30.0
        rows.append([minute, *np.cumsum(random.poisson(mean)[::-1])[::-1]])
    return rows


def main() -> None:
    random = np.random.default_rng(SEED)
    system = MEDIA * (1.0 - BESIDE)

    rho = invent.density(CELSIUS, PRESSURE, HUMIDITY * invent.saturation(CELSIUS))
    shown = []
    for _ in range(6):
        steady = FLOW / 3600 / COEFFICIENT * (1 + 0.004 * random.standard_normal())
        shown.append(invent.MANOMETER_GAIN * invent.nozzle_drop(steady, NOZZLES, rho, PRESSURE, CELSIUS))
    print("drop =", invent.show(shown, "Pa", 1))

    side = []
    for k in range(10):
        level = math.exp(-0.004 * k)
        for name, counter in (("PC-1", PC1), ("PC-2", PC2)):
            side.append([k + 1, "beside each other", name, *counted(random, counter, 0.0, level, TIME)])
    table("beside.csv", ["number", "run", "counter"], side)

    rows = in_turn(random, "in use", system, 12, 1) + in_turn(random, "seams taped", MEDIA, 12, 13)
    for k in range(3):
        for name in ("PC-1", "PC-2"):
            false = np.zeros(len(SIZES), int)
            false[0] = random.poisson(0.4)
            rows.append([25 + k, "zero", "", name, *false])
    table("counts.csv", ["number", "run", "place", "counter"], rows)

    natural = NATURAL * np.array([1.0, 1.1, 1.4, 2.2, 4.0, 7.0])
    cleaned = EFFECT * FLOW * system / VOLUME
    table("decay-on.csv", ["time [min]"], decay(random, natural + cleaned, 32))
    table("decay-off.csv", ["time [min]"], decay(random, natural, 60))
    floor = ROOM_FLOOR / ABOVE[0] * channels(PC1, 0.0) * SAMPLE * PC1["flow"] * 30.0
    before = [[minute, *np.cumsum(random.poisson(floor)[::-1])[::-1]] for minute in range(10)]
    table("background.csv", ["time [min]"], before)

    places = np.array([57.9, 56.8, 57.4, 56.6])  # dB at 1.5 m around it, without the workshop
    workshop = 43.5
    heard = 10 * np.log10(10 ** (places / 10) + 10 ** (workshop / 10)) - 0.6  # the meter shows 0.6 dB too little
    lines = ["place,level [dB],background [dB]"]
    for k, level in enumerate(np.repeat(heard, 2)):
        lines.append(f"{k // 2 + 1},{level + 0.15 * random.standard_normal():.1f},")
    lines += [f"{k},,{workshop - 0.6 + 0.4 * random.standard_normal():.1f}" for k in (1, 2, 3, 4)]
    invent.write("sound.csv", lines)
    print("power =", invent.show(WATTS * 1.004 + 0.15 * random.standard_normal(5), "W", 1))
    print("apparent =", invent.show(103.2 + 0.3 * random.standard_normal(3), "VA", 1))
    print(f"Invented truth: {FLOW:.0f} m3/h")
    for size, next_size, share in zip(SIZES[:4], SIZES[1:5], system, strict=False):
        said(f"particles, efficiency_{size:g}_to_{next_size:g}_um", 100 * share, 2, "%")
    span = np.log(SIZES[1:3] / SIZES[:2])  # each channel by how much of the range it is
    said("particles, clean_air_rate_smoke", FLOW * float(span @ system[:2] / span.sum()), 1, "m3/h")
    said("particles, bypass", 100 * BESIDE, 1, "%")
    for size, next_size, share in zip(SIZES[:2], SIZES[1:3], system, strict=False):
        said(f"decay, clean_air_{size:g}_to_{next_size:g}_um", EFFECT * FLOW * share, 1, "m3/h")
    said("sound, level", 10 * math.log10(float(np.mean(10 ** (places / 10)))), 1, "dB")
    said("electrical, power", WATTS, 1, "W")


def said(name: str, value: float, decimals: int, unit: str) -> None:
    print(f"Invented truth of {name}: {value:.{decimals}f} {unit}")


if __name__ == "__main__":
    main()
