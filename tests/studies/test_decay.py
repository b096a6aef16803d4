"""Leak tests by the fall of pressure of a sealed chamber and by make-up flow, and leakage taken from their files."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from datetime import date
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.studies.calibrate import Calibrated, calibrate
from flowrig.studies.calibration_file import file_text
from tests.studies.records import AIR, INSTRUMENTS, nozzle

VOLUME, COMPRESSION, PRESSURE, LEAK, EXPONENT = 0.5, 1.2, 101_325.0, 2e-5, 0.7  # leak at 50 Pa [m3/s]


def falling(compression: float = COMPRESSION, rows: int = 120, step: float = 1.0, start: float = 500.0) -> list[float]:
    """Pressure of the sealed chamber, dp/dt = -m (p + g) C g^n/V, by small steps."""
    gauge, found, fine = start, [], 200
    for _ in range(rows):
        found.append(gauge)
        for _ in range(fine):
            leak = LEAK * (max(gauge, 0.0) / 50.0) ** EXPONENT
            gauge -= step / fine * compression * (PRESSURE + gauge) / VOLUME * leak
    return found


def record(pressures: list[float] | None = None, step: float = 1.0, **fields: Any) -> dict[str, Any]:
    gauge = falling(step=step) if pressures is None else pressures
    table = {"time [s]": [k * step for k in range(len(gauge))], "indication [Pa]": gauge}
    return {
        "title": "Sealed duct",
        "date": date(2026, 7, 14),
        "by": "night shift",
        "air": {"meter": AIR},
        "instruments": deepcopy(INSTRUMENTS),
        "calibration": {
            "calibrates": "chamber",
            "serial": "D1",
            "decay": table,
            "volume": f"{VOLUME} m3 ± 2 %",
            "compression": f"{COMPRESSION} ± 0.1",
            "temperature_drift": "0.02 K",
            "formula": "power law",
            "due": date(2027, 7, 14),
            **fields,
        },
    }


def leak_at(done: Calibrated, drop: float) -> tuple[float, float]:
    found = done.at(np.array([drop]))
    return float(found.value[0]), float(found.u[0])


def test_the_leak_is_found_again() -> None:
    done = calibrate(record())
    for drop in (60.0, 200.0, 450.0):
        assert leak_at(done, drop)[0] == pytest.approx(LEAK * (drop / 50) ** EXPONENT, rel=3e-3)
    assert float(done.numbers["exponent"].value) == pytest.approx(EXPONENT, abs=0.005)


def test_under_suction_it_is_the_same_but_for_the_density() -> None:
    done = calibrate(record([-x for x in falling()]))
    assert leak_at(done, 200.0)[0] == pytest.approx(LEAK * 4**EXPONENT, rel=0.01)


def test_what_is_shared_is_a_cause_of_its_own() -> None:
    """By hand: volume 2 %/√3; compression 0.1/1.2/√3; a drift of 0.1 K over the fall is p ΔT/T = 34 Pa of pressure."""
    done = calibrate(record(temperature_drift="0.1 K"))
    budget = {line.cause.label: float(line.u) for line in done.number.budget()}
    flow = float(done.number.value)
    assert budget["volume"] / flow == pytest.approx(0.02 / np.sqrt(3), rel=1e-3)
    assert budget["compression m"] / flow == pytest.approx(0.1 / 1.2 / np.sqrt(3), rel=0.01)
    gauge = np.array(falling())
    fall = gauge[gauge >= 0.1 * gauge[0]]
    rate = PRESSURE * 0.1 / 293.15 / (len(fall) - 1)
    assert pytest.approx(34.6, abs=0.1) == PRESSURE * 0.1 / 293.15
    least = VOLUME * rate / (COMPRESSION * PRESSURE) / np.sqrt(3)
    moved = sum(u for label, u in budget.items() if label == "temperature in the chamber")
    assert 0.5 * least < moved < 1.2 * least  # the fit weighs the stretches, of which it moves each alike


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"pressures": falling(rows=15, step=4.0), "step": 4.0}, "9 rows over the fall"),
        ({"pressures": falling(rows=19, step=4.0), "step": 4.0}, "rows over the fall"),
        ({"pressures": [100.0 - 0.01 * k for k in range(60)]}, "a pressure that hardly falls"),
        ({"pressures": [0.0] * 60}, "a pressure that hardly falls"),
    ],
)
def test_a_fall_that_says_nothing_is_refused(table: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        calibrate(record(**table))


def test_twenty_rows_will_do() -> None:
    gauge = [x for x in falling(rows=400, step=0.25) if x > 50.0]
    some = gauge[:: len(gauge) // 20][:20]
    spacing = 0.25 * (len(gauge) // 20)
    assert len(calibrate(record(some, spacing)).residuals) >= 3


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"compression": "1.5"}, "a ratio from 1 to 1.4"),
        ({"compression": "0.9"}, "a ratio from 1 to 1.4"),
        ({"volume": "0.5 m3"}, "±"),
        ({"volume": "-0.5 m3 ± 1 %"}, "above 0"),
        ({"temperature_drift": "-1 K"}, "at least 0"),
        ({"points": "points.csv"}, "only one of"),
    ],
)
def test_bad_fields(change: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        calibrate(record(**change))


def test_without_air_or_time_it_says_so() -> None:
    without = record()
    del without["air"]
    with pytest.raises(InputError, match=r"no \[air.meter\]"):
        calibrate(without)
    without = record()
    without["calibration"]["decay"] = {"indication [Pa]": falling()}
    with pytest.raises(InputError, match="time"):
        calibrate(without)


def test_a_decay_needs_no_other_reference() -> None:
    both = record() | {"nozzles": nozzle()["nozzles"], "flow": [{"method": "nozzle", "open": ["A"], "drop": "90 Pa"}]}
    with pytest.raises(InputError, match="a decay, and a reference beside it"):
        calibrate(both)


def chamber_file(done: Calibrated) -> dict[str, Any]:
    return tomllib.loads(file_text(done))


def makeup() -> dict[str, Any]:
    """Make-up flow through a nozzle against the chamber's own pressure: 20 m3/h at 50 Pa."""
    gauge = [20.0, 35.0, 60.0, 100.0, 150.0, 200.0]
    base = nozzle(open=["B"])
    del base["flow"][0]["drop"]
    drops = []
    for pressure in gauge:
        wanted = 20 / 3600 * (pressure / 50) ** 0.6
        low, high = 0.0, 200.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if flowrig.physics.nozzle_flow(
                middle, 1.199, 101325.0, 1.81e-5, 0.1, 0.6
            ) < wanted else (low, middle)  # fmt: skip
        drops.append(round(low, 3))
    base |= {
        "by": "night shift",
        "calibration": {
            "calibrates": "chamber",
            "serial": "RC1",
            "points": {"indication [Pa]": gauge, "drop [Pa]": drops},
            "formula": "power law",
            "due": date(2027, 7, 14),
        },
    }
    return base


def test_a_chamber_takes_its_leakage_from_the_file() -> None:
    done = calibrate(makeup())
    value = leak_at(done, 50.0)[0]
    assert 3600 * value == pytest.approx(20.0, rel=0.01)
    through = nozzle(leaks=["receiving"], meter_side="downstream")
    through["chambers"] = {"receiving": {"leak_test": chamber_file(done), "pressure": "-50 Pa"}}
    flow = flowrig.reduce(through).flows[0]
    by_meter = flowrig.reduce(nozzle()).flows[0]["mass_flow"].estimate
    leaked = float(by_meter.value - flow["mass_flow"].estimate.value)
    density = float(flow.air["meter"]["density"].value)  # of the air that leaks in: the room's, here the meter's
    assert leaked / density == pytest.approx(value, rel=1e-3)
    # its errors are those of the test: the nozzle's coefficient, which the meter shares
    shared = {c.id for c in flow["mass_flow"].estimate.parts} & {c.id for c in done.numbers["flow"].parts}
    assert "method:nozzle:coefficient" in shared


def test_a_leak_of_more_than_a_hundredth_is_flagged_with_its_error() -> None:
    done = calibrate(makeup())
    through = nozzle(leaks=["receiving"], meter_side="downstream")
    through["chambers"] = {"receiving": {"leak_test": chamber_file(done), "pressure": "50 Pa"}}
    flow = flowrig.reduce(through).flows[0]
    [said] = [f.message for f in flow.findings if f.code == "leaky rig"]
    share = float(flow.corrections["leakage of receiving"].item())
    assert said.startswith(f"receiving: {100 * share:.2g} % of the flow, u ")
    through["chambers"]["receiving"]["pressure"] = "300 Pa"
    far = flowrig.reduce(through).flows[0]
    assert any(f.code == "leakage far from its test" and "20 to 201 Pa" in f.message for f in far.findings)


def test_either_the_file_or_the_figures() -> None:
    through = nozzle(leaks=["receiving"], meter_side="downstream")
    through["chambers"] = {
        "receiving": {"leak_test": chamber_file(calibrate(makeup())), "leak": "1 m3/h ± 1 m3/h", "pressure": "50 Pa"}
    }
    with pytest.raises(InputError, match="only one of"):
        flowrig.reduce(through)
