"""Invented units and readers for the tests of accuracy statements."""

from __future__ import annotations

import re

UNITS = {
    "Pa": 1.0,
    "kPa": 1e3,
    "m/s": 1.0,
    "fpm": 0.00508,
    "degC": 1.0,
    "K": 1.0,
    "mm": 1e-3,
    "m^3/h": 1 / 3600,
    "in of water": 249.0,
    "%": 0.01,
    "": 1.0,
    "m³/h": 1 / 3600,
    "in. w.c.": 249.0,
    "s^-1": 1.0,
    "1/h": 1 / 3600,
    "/h": 1 / 3600,
}


def convert(number: float, unit: str) -> float:
    if unit not in UNITS or unit == "":
        raise ValueError(f"no such unit: '{unit}'")
    return number * UNITS[unit]


def humidity(number: float, unit: str) -> float:
    if unit != "%RH":
        raise ValueError("humidity is read in %RH")
    return number * 0.01


def number_of(number: float, unit: str) -> float:
    if unit not in ("", "%"):
        raise ValueError(f"a pure number has no unit '{unit}'")
    return number * UNITS[unit]


def kelvin(number: float, unit: str) -> float:
    if unit != "degC":
        raise ValueError(unit)
    return number + 273.15


def reader(units):
    def read(text: str) -> float:
        match = re.fullmatch(r"\s*(-?[\d.]+)\s*(.*?)\s*", text)
        if match is None:
            raise ValueError(f"no value: {text}")
        return units(float(match.group(1)), match.group(2))

    return read
