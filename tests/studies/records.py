"""Records for the tests, as mappings: small, complete, each test changes what it is about."""

from __future__ import annotations

from copy import deepcopy
from datetime import date
from typing import Any

AIR = {"temperature": "20 degC", "pressure": "101325 Pa", "relative_humidity": "50 %"}
INSTRUMENTS = {
    "manometer": {
        "measures": "pressure difference",
        "serial": "M1",
        "accuracy": "0.5 % of reading + 0.25 Pa",
        "resolution": "0.1 Pa",
    },
    "thermometer": {"measures": "temperature", "serial": "T1", "accuracy": "0.3 degC"},
    "barometer": {"measures": "pressure", "serial": "B1", "accuracy": "1 hPa"},
    "hygrometer": {"measures": "relative humidity", "serial": "H1", "accuracy": "3 %RH"},
}
NOZZLE = {
    "title": "A nozzle",
    "date": date(2026, 7, 14),
    "air": {"meter": AIR},
    "instruments": INSTRUMENTS,
    "nozzles": {"A": {"diameter": "150 mm ± 0.15 mm"}, "B": {"diameter": "100 mm ± 0.1 mm"}},
    "flow": [{"method": "nozzle", "open": ["A"], "drop": "250 Pa", "static": "0 Pa"}],
}


def nozzle(**flow: Any) -> dict[str, Any]:
    """A record of one nozzle; keywords replace fields of its flow section."""
    record = deepcopy(NOZZLE)
    record["flow"][0] |= flow
    return record
