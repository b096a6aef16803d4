"""A sound calibration, invented, as text and as a mapping, to be spoilt in one place at a time."""

from __future__ import annotations

import tomllib
from typing import Any

# q = 480 m3/h (dp/50 Pa)^0.53; the flows of the points by hand: 480 (10/50)^0.53 = 204.55, 480 (250/50)^0.53 = 1126.4
BOX = """format = 1
formula = "power law"
title = "Invented box"
serial = "T-1"
date = 2026-05-20
due = 2027-05-20
by = "nobody"
reference = "invented nozzle"
invented = true
causes = 3
points = 3

[coefficients]
drop = "50 Pa"
flow = "480 m3/h"
exponent = 0.53
density = "1.2 kg/m3"
viscosity = "18.2 uPa s"

[range]
lowest = "10 Pa"
highest = "250 Pa"

[[cause]]
name = "reference"
scope = "method"
flow = "3.6 m3/h"

[[cause]]
name = "manometer"
shape = "rectangular"
flow = "-0.5 m3/h"
exponent = 0.002

[[cause]]
name = "scatter"
dof = 6
flow = ["1.2 m3/h", "0 m3/h"]
exponent = [-0.0002, 0.0018]

[[point]]
drop = "10 Pa"
flow = "205.0 m3/h"
residual = "0.22 %"

[[point]]
drop = "50 Pa"
flow = "478.1 m3/h"
residual = "-0.40 %"

[[point]]
drop = "250 Pa"
flow = "1128 m3/h"
residual = "0.14 %"
"""
RECORD = """title = "Test with an invented box"
date = 2026-07-14
invented = true

[air.meter]
temperature = "23.4 degC"
pressure = "1003.2 hPa"
relative_humidity = "41 %"

[instruments.manometer]
measures = "pressure difference"
serial = "M1"
accuracy = "0.5 % of reading + 0.25 Pa"
resolution = "0.1 Pa"

[instruments.thermometer]
measures = "temperature"
accuracy = "0.3 degC"

[instruments.barometer]
measures = "pressure"
accuracy = "1 hPa"

[instruments.hygrometer]
measures = "relative humidity"
accuracy = "3 %RH"

[[flow]]
method = "box"
calibration = "box.toml"
remount = "as calibrated"
drop = ["82.3 Pa", "83.1 Pa", "81.8 Pa"]
static = "0.4 Pa"
"""


def calibration(text: str = BOX, **changed: Any) -> dict[str, Any]:
    """The calibration as a mapping; a keyword replaces a table or a field of the heading, None removes it."""
    data = tomllib.loads(text) | changed
    return {key: value for key, value in data.items() if value is not None}


def record(calibration: Any, **flow: Any) -> dict[str, Any]:
    """The record as a mapping, with a calibration in it; keywords replace fields of the flow section."""
    data = tomllib.loads(RECORD)
    data["flow"][0] |= {"calibration": calibration} | flow
    return data
