"""Draws the invented readings of this example and prints them as they stand in record.toml.

Run it with `python examples/11-hood/make_readings.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 1111
FREE = 596.0  # the truth: flow of the cleaner with no hood over it [m3/h]
MOST = 41.0  # pressure at which it would stand still [Pa]
BEND = 0.8  # of its curve
OPEN, THROTTLED = 9.0e-6, 4.4e-5  # resistances of the hood [Pa/(m3/h)2]
GAIN, UNEVEN = 1.012, 0.955  # of the hood, and what the swirl of this outlet does to it
SWIRL = [1.03, 0.985, 0.96, 1.025]  # by orientation
CELSIUS, PRESSURE, HUMIDITY = 22.9, 833.6, 0.30


def under(resistance):
    """Flow and pressure where the cleaner meets the hood, by halving."""
    low, high = 0.0, MOST
    for _ in range(80):
        middle = (low + high) / 2
        flow = FREE * (1 - middle / MOST) ** BEND
        low, high = (middle, high) if middle < resistance * flow**2 else (low, middle)
    return FREE * (1 - low / MOST) ** BEND, low


random = np.random.default_rng(SEED)
shown = GAIN * UNEVEN * np.asarray(SWIRL) / np.mean(SWIRL)
flow, pressure = under(OPEN)
throttled, harder = under(THROTTLED)
noise = 1 + 0.006 * random.standard_normal((2, 8))
print("temperature =", invent.show([CELSIUS + invent.THERMOMETER], "degC", 1))
print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (HUMIDITY + invent.HYGROMETER)], "%", 0))
print("reading =", invent.show(flow * np.tile(shown, 2) * noise[0], "m3/h", 0))
print("hood_pressure =", invent.show([pressure * invent.MANOMETER_GAIN], "Pa", 1))
print("throttled_reading =", invent.show(throttled * np.tile(shown, 2) * noise[1], "m3/h", 0))
print("throttled_pressure =", invent.show([harder * invent.MANOMETER_GAIN], "Pa", 1))
print(f"Invented truth: {FREE:.0f} m3/h")
