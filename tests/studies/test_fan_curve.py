"""A fan's record to its curve: published fans, points of a rig, other air, and what is told of them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from flowrig.errors import InputError
from flowrig.physics.balance import shape_keeping
from flowrig.physics.nozzle import nozzle_flow
from flowrig.studies.fan_curve import fan_curve, settings_of
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import by_sections
from tests.reference.load import rows
from tests.studies.cleaners import DIP_FLOWS, DIP_PRESSURES, codes, fan, heading
from tests.studies.records import AIR, INSTRUMENTS

PUBLISHED: dict[str, list[dict[str, str]]] = {}
for row in rows("fan_curves.csv"):
    PUBLISHED.setdefault(row["fan"], []).append(row)


# Source: an open dataset of a national laboratory for building simulation, maker's figures; see the file.
@pytest.mark.published
@pytest.mark.parametrize("name", PUBLISHED)
def test_a_published_fan_reads_as_its_points(name):
    flows, pressures = (
        np.array([float(row[column]) for row in PUBLISHED[name]]) for column in ("flow_m3_s", "static_pressure_Pa")
    )
    curve = fan_curve(load(fan(flows, pressures, ("m3/s", "Pa"), flow_limit=None, pressure_limit=None)))
    assert curve.nodes == pytest.approx(flows)
    assert curve.points["pressure"].value == pytest.approx(pressures)
    assert "fan curve with a dip" not in codes(curve.findings)  # the file says that all are monotone
    assert "stated fan curve" in codes(curve.findings)
    assert curve.free_air_inside == (pressures[-1] <= 0.0)
    assert not curve.shut_off_inside  # none was catalogued down to no flow
    between = np.linspace(flows[0], flows[-1], 50)
    found = shape_keeping(curve.nodes, curve.points["pressure"].value).at(between)
    assert found == pytest.approx(PchipInterpolator(flows, pressures)(between), rel=1e-9, abs=1e-6)
    # limits of 10 % of flow and pressure where nothing is stated
    assert curve.points["pressure"].u == pytest.approx(0.1 / np.sqrt(3) * pressures)
    assert curve.points["flow"].u == pytest.approx(0.1 / np.sqrt(3) * flows)


def test_points_in_any_order_are_one_curve():
    mixed = [3, 0, 6, 1, 5, 2, 4]
    base = fan()
    table = base["fan"] | {name: [base["fan"][name][i] for i in mixed] for name in ("flow", "pressure")}
    other = fan_curve(load(heading("A fan") | {"fan": table}))
    assert other.nodes == pytest.approx(fan_curve(load(base)).nodes)
    assert np.all(np.diff(other.points["pressure"].value) < 0)
    assert other.free_air_inside
    assert other.shut_off_inside


def test_a_dip_is_told_and_kept():
    curve = fan_curve(load(fan(DIP_FLOWS, DIP_PRESSURES)))
    [finding] = [f for f in curve.findings if f.code == "fan curve with a dip"]
    assert "from 650 to 850 m3/h" in finding.message
    assert curve.points["pressure"].value[curve.nodes == 650.0 / 3600] == pytest.approx([36.0])


THERE: dict[str, Any] = heading("Fan on the bench") | {"air": {"meter": AIR}, "instruments": INSTRUMENTS}
FLOWS = np.array([0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.33])  # m3/s


def pressures(flow):
    return 70.0 * (1.0 - (flow / 0.32) ** 1.7)


def on_the_bench(meter: dict[str, str] = AIR, **columns: Any) -> dict[str, Any]:
    """A fan measured with a nozzle; drops over it such that the flows are `FLOWS`."""
    empty = THERE | {"air": {"meter": meter}, "nozzles": {"N": {"diameter": "150 mm ± 0.15 mm"}}}
    empty |= {"flow": [{"method": "nozzle", "open": ["N"], "static": "0 Pa"}]}
    points = {"pressure [Pa]": pressures(FLOWS), "drop [Pa]": np.full(len(FLOWS), 100.0)} | columns
    density, viscosity, pressure = air_there(empty | {"fan": {"figures": "measured", "points": points}})
    grid = np.geomspace(1.0, 2000.0, 4000)
    flow = np.asarray(nozzle_flow(grid, density, pressure, viscosity, 0.15, 0.6))
    points["drop [Pa]"] = np.interp(FLOWS, flow, grid)
    return empty | {"fan": {"figures": "measured", "points": points}}


def air_there(record: dict[str, Any]) -> tuple[float, float, float]:
    read = load(record)
    [flow] = by_sections(read, read.points)
    return tuple(float(np.mean(flow.state[name].value)) for name in ("density", "viscosity", "pressure"))  # type: ignore[return-value]


def test_a_fan_measured_with_a_nozzle_is_its_points_in_the_air_it_was_measured_in():
    curve = fan_curve(load(on_the_bench()))
    density = air_there(on_the_bench())[0]
    assert curve.density == round(density, 3)
    assert curve.nodes == pytest.approx(FLOWS, rel=1e-5)
    assert curve.points["pressure"].value == pytest.approx(pressures(FLOWS) * curve.density / density, rel=1e-9)
    # the manometer's limit is one error of all points, the nozzle's too; the last digit is each point's own
    each = [c for c in curve.points["pressure"].parts if c.each == "point"]
    assert [c for c in each if "resolution" in c.name]
    shared = [c for c in curve.points["flow"].parts if c.each is None]
    assert any("M1" in c.id for c in shared)
    assert "stated fan curve" not in codes(curve.findings)


def test_a_fan_measured_aloft_has_the_pressures_of_thin_air():
    aloft = AIR | {"pressure": "83500 Pa"}
    low, high = fan_curve(load(on_the_bench())), fan_curve(load(on_the_bench(aloft)))
    assert high.density / low.density == pytest.approx(83500 / 101325, rel=2e-3)
    assert high.nodes == pytest.approx(low.nodes, rel=1e-4)


def test_a_flow_that_an_instrument_showed():
    record = THERE | {"instruments": INSTRUMENTS | {"meter": {
        "measures": "flow", "serial": "Q1", "accuracy": "2 % of reading", "resolution": "0.0001 m3/s"}}}  # fmt: skip
    points = {"pressure [Pa]": pressures(FLOWS), "flow [m3/s]": FLOWS}
    curve = fan_curve(load(record | {"fan": {"figures": "measured", "points": points}}))
    assert curve.nodes == pytest.approx(FLOWS, rel=1e-12)
    assert curve.points["flow"].u == pytest.approx(0.02 / np.sqrt(3) * FLOWS, rel=2e-3)
    assert "flow as the instrument showed it" in codes(curve.findings)
    assert "flow as the instrument showed it" not in codes(fan_curve(load(on_the_bench())).findings)


def test_settings_are_curves_of_their_own():
    points = {"pressure [Pa]": [60.0, 30.0, 0.0, 30.0, 15.0, 0.0], "flow [m3/s]": [0.0, 0.2, 0.3, 0.0, 0.14, 0.21],
              "setting": ["high"] * 3 + ["low"] * 3}  # fmt: skip
    record = load(heading("A fan") | {"fan": {"figures": "stated", "points": points}})
    assert settings_of(record) == ["high", "low"]
    assert fan_curve(record, "low").points["pressure"].value == pytest.approx([30.0, 15.0, 0.0])
    assert fan_curve(record, "low").title == "A fan, low"


def test_a_voltage_that_wandered_is_told():
    volts = {"voltage": ["119 V"] * 6 + ["112 V"]}
    assert "voltage not constant" in codes(fan_curve(load(fan(**volts))).findings)
    assert "voltage not constant" not in codes(fan_curve(load(fan(voltage=["119 V"] * 6 + ["118 V"]))).findings)


def test_scatter_of_the_points_is_each_points_own_and_its_absence_told():
    record = on_the_bench()
    bare = fan_curve(load(record))
    assert "scatter of the points not stated" in codes(bare.findings)
    told = record["fan"] | {"pressure_scatter": "0.5 Pa", "flow_scatter": "1 %"}
    curve = fan_curve(load(record | {"fan": told}))
    assert "scatter of the points not stated" not in codes(curve.findings)
    for name, size in (("pressure", np.full(len(FLOWS), 0.5)), ("flow", 0.01 * curve.nodes)):
        assert curve.points[name].u == pytest.approx(np.hypot(bare.points[name].u, size), rel=1e-6)
        [cause] = [c for c in curve.points[name].parts if c.label.startswith("scatter of a reading")]
        assert cause.each == "point"
    with pytest.raises(InputError, match="the scatter of measured points alone"):
        load(fan(pressure_scatter="0.5 Pa"))


def test_a_rise_that_scatter_explains_is_no_dip():
    base = on_the_bench()
    shown = base["fan"]["points"] | {"pressure [Pa]": pressures(FLOWS) + np.array([-4.0, 4.0, 0, 0, 0, 0, 0])}
    assert np.diff(shown["pressure [Pa]"])[0] > 0
    for scatter, flagged in (("4 Pa", False), ("0.1 Pa", True)):
        record = base | {"fan": base["fan"] | {"points": shown, "pressure_scatter": scatter}}
        assert ("fan curve with a dip" in codes(fan_curve(load(record)).findings)) == flagged


def test_a_dip_of_many_small_rises_is_one():
    flows = np.linspace(0.0, 1800.0, 61)
    falls = 72 - 0.04 * flows
    dip = np.clip(falls, 36.0, None) + np.where((flows > 900) & (flows <= 1200), (flows - 900) / 30, 0.0)
    dip = np.where(flows > 1200, 46 * (1800 - flows) / 600, dip)
    base = on_the_bench()
    points = {"pressure [Pa]": dip, "flow [m3/h]": flows}
    meter = {"measures": "flow", "serial": "Q1", "accuracy": "2 % of reading"}
    record = {k: v for k, v in base.items() if k not in ("flow", "nozzles")} | {
        "instruments": INSTRUMENTS | {"meter": meter},
        "fan": {"figures": "measured", "points": points, "pressure_scatter": "0.8 Pa"},
    }
    [finding] = [f for f in fan_curve(load(record)).findings if f.code == "fan curve with a dip"]
    assert "to 1200 m3/h" in finding.message


def test_repeated_points_are_one_point_and_their_noise_averages():
    meter = {"measures": "flow", "serial": "Q1", "accuracy": "2 % of reading"}
    base = THERE | {"instruments": INSTRUMENTS | {"meter": meter}}
    off = np.array([0.6, -0.4, 0.5, -0.7, 0.3, 0.2, -0.5])  # Pa, one way the first time and the other the second
    twice = {
        "pressure [Pa]": np.concatenate([pressures(FLOWS) + off, pressures(FLOWS) - off]),
        "flow [m3/s]": np.concatenate([FLOWS * 1.001, FLOWS * 0.999]),
    }

    def curve(points: dict[str, Any]) -> Any:
        told = {"figures": "measured", "points": points, "pressure_scatter": "0.6 Pa"}
        return fan_curve(load(base | {"fan": told}))

    once = curve({"pressure [Pa]": pressures(FLOWS), "flow [m3/s]": FLOWS})
    both = curve(twice)
    assert "repeated points averaged" in codes(both.findings)
    assert "repeated points averaged" not in codes(once.findings)
    assert both.nodes == pytest.approx(FLOWS, rel=1e-9)
    assert both.points["pressure"].value == pytest.approx(once.points["pressure"].value, rel=1e-9)
    own = [sum(float(np.square(p[:, 3]).sum()) for c, p in x.points["pressure"].parts.items() if "scatter" in c.label)
           for x in (once, both)]  # fmt: skip
    assert own[1] == pytest.approx(own[0] / 2, rel=1e-9)
    # what the points share stays what it is
    shared = [float(np.square(x.points["flow"].u[3])) for x in (once, both)]
    assert shared[1] == pytest.approx(shared[0], rel=1e-3)


def test_a_tachometer_is_one_error_of_all_speeds():
    meter = {"measures": "flow", "serial": "Q1", "accuracy": "2 % of reading"}
    tachometer = {"measures": "rotational speed", "serial": "T1", "accuracy": "3 % of reading"}
    points = {
        "pressure [Pa]": pressures(FLOWS),
        "flow [m3/s]": FLOWS,
        "speed [rpm]": np.linspace(990, 1020, len(FLOWS)),
    }
    record = THERE | {"instruments": INSTRUMENTS | {"meter": meter, "tachometer": tachometer}}
    curve = fan_curve(load(record | {"fan": {"figures": "measured", "points": points}}))
    assert curve.speed is not None
    assert curve.speed.value * 60 == pytest.approx(np.linspace(990, 1020, len(FLOWS)))
    assert curve.speed.u / curve.speed.value == pytest.approx(np.full(len(FLOWS), 0.03 / np.sqrt(3)))
    assert all(cause.each is None for cause in curve.speed.parts)


@pytest.mark.parametrize(
    ("pressures_", "says"),
    [
        ((72, 66, 57, 46, 33, 18, 40), "rises at the last point, 18 to 40 Pa"),
        ((72, 66, -57, 46, 33, 18, 0), "-57 Pa at 600 m3/h, and more at greater flows"),
    ],
)
def test_a_pressure_that_no_fan_has_is_refused(pressures_, says):
    with pytest.raises(InputError, match=says):
        fan_curve(load(fan(pressures=pressures_)))


def test_points_beyond_free_air_are_a_curve():
    curve = fan_curve(load(fan(pressures=(72, 66, 57, 46, 33, 0, -20))))
    assert curve.free_air_inside
