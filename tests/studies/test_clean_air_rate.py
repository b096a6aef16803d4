"""Flow times efficiency: the worked case, what both share, which flow, which sizes, and what is refused."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import flowrig
from flowrig.errors import InputError
from flowrig.records.declare import Finding
from flowrig.report.blocks import plain
from flowrig.report.clean_air_text import clean_air_blocks
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.clean_air_flow import clean_air_flow
from flowrig.studies.clean_air_part import CleanAirPart
from flowrig.studies.clean_air_rate import clean_air_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from tests.studies.counted_filters import CLEAN, SIX, TWELVE, beside, efficient, filter_by_size
from tests.studies.records import nozzle

FACTS = tomllib.loads((Path(__file__).parents[1] / "reference" / "clean_air_facts.toml").read_text(encoding="utf-8"))
CFM = 0.3048**3 / 60  # m3/s
UM = 1e-6
Z = 1.959964
HEAD = {key: nozzle()[key] for key in ("title", "date")}


def reduced(**flow):
    return flowrig.reduce(nozzle(**flow))


def no_flow():
    """A result without a flow: what is left of one."""
    result = reduced()
    result.flows.clear()
    return result


def codes(found):
    return [f.code for f in found.findings]


def known(efficiency, u, edges=(0.3, 1.0)):
    """An efficiency with a normal error of its own, as if of very many counts."""
    value = 1 - np.atleast_1d(efficiency)
    parts = {Cause("of the efficiency", each=CHANNEL): np.broadcast_to(u, (1, len(value)))}
    sizes = np.array(edges) * UM
    counted = np.stack([np.full(len(value), 1e6), np.round(1e6 * value)], axis=1)
    half = 1.96 * np.broadcast_to(u, value.shape)
    none = np.zeros(len(value), dtype=bool)
    estimate = Estimate(value, (CHANNEL,), parts)
    return BySize(sizes[:-1].copy(), sizes[1:].copy(), estimate, value - half, value + half, none, counted, 0.95)


# Source: invented inputs, recomputed by the law of propagation for the reference: 410 cfm, u 16, times 0.62, u 0.03.
@pytest.mark.recomputed
def test_flow_times_efficiency_as_worked():
    worked = FACTS["flow_times_efficiency"]
    stated = beside(flow=f"{worked['Q_cfm']} cfm ± {worked['u_Q_cfm']} cfm (k=1)", **CLEAN)
    found = clean_air_of(no_flow(), known(worked["eff"], worked["u_eff"]), stated)
    rate = found.rate(0.3 * UM, 1 * UM)
    assert rate.unit == "cfm"
    assert float(rate.value) == pytest.approx(worked["cadr_cfm"], rel=1e-12)
    assert float(rate.u) == pytest.approx(worked["u_cadr_cfm"], rel=1e-6)
    half = (float(rate.high) - float(rate.low)) / 2
    assert half == pytest.approx(1.95996 * worked["u_cadr_cfm"], rel=0.02)
    assert "flow of the clean-air rate stated" in codes(found)


# 99.97 % at 180 cfm is about 180 cfm: common practice, no source.
def test_a_filter_that_lets_almost_nothing_through():
    by_size = filter_by_size([[100_000, 30]], (0.3, 0.5))
    found = clean_air_of(no_flow(), by_size, beside(flow="180 cfm ± 4 cfm", **CLEAN))
    rate = found.rate(0.3 * UM, 0.5 * UM)
    assert float(rate.value) == pytest.approx(179.946, abs=1e-3)
    assert f"{float(rate.value):.0f}" == "180"
    # as good as the flow's own bar: the efficiency adds next to nothing
    assert float(rate.low) == pytest.approx(float(found.flow.quantity.low), abs=0.15)


# Efficiency times flow is the clean-air rate: common practice, no source.
def test_each_channel_and_each_range_is_flow_times_its_efficiency():
    result = reduced()
    found = clean_air_of(result, efficient([0.3, 0.5, 0.7, 0.9, 0.95, 0.97]), beside(**CLEAN))
    flow = float(result.flow.value)
    for rate in (*found.channels, *found.ranges.values()):
        q = rate.clean_air.quantity
        assert float(q.value) == pytest.approx(flow * float(rate.efficiency.quantity.value) / 100, rel=1e-12)
        assert q.unit == "m3/h"
        assert str(rate.sizes) in q.label  # never without its sizes
    assert [str(rate.sizes) for rate in found.channels][-1] == "from 10 um"


def test_what_flow_and_efficiency_share_is_one_error():
    """The same cause raises the flow by 2 % and lowers the efficiency by 2 %: nothing is left of it; else it adds."""
    result = reduced()
    shared = Cause("both", scope="calibration")
    main = result.flows[0].quantities["actual_flow_meter"]
    for sign, expected in ((-1.0, 0.0), (1.0, 0.04)):
        value = np.array([0.5])
        by_size = filter_by_size([[1e9, 5e8]], (0.3, 0.5))
        by_size.penetration = Estimate(value, (CHANNEL,), {shared: [-sign * 0.02 * (1 - value)]})
        main.estimate = Estimate(main.estimate.value, (), {shared: [0.02 * float(main.estimate.value)]})
        rate = clean_air_of(result, by_size, beside(**CLEAN)).rate(0.3 * UM, 0.5 * UM)
        assert float(rate.u) / float(rate.value) == pytest.approx(expected, abs=1e-4)
        # the ends by hand: (1 + 0.02 z)(1 -+ 0.02 z), at the quantiles of z or of its square
        ends = (1 + 0.02 * Z) ** 2, (1 - 0.02 * Z) ** 2
        if sign < 0:
            ends = 1 - 4e-4 * stats.chi2.ppf([0.025, 0.975], 1)
        for end, by_hand in zip((rate.high, rate.low), ends, strict=True):
            assert float(end) / float(rate.value) == pytest.approx(by_hand, abs=2e-4 if sign < 0 else 2e-3)


def test_ranges_of_a_handheld_counter_say_where_they_begin_and_end():
    found = clean_air_of(reduced(), efficient([0.3, 0.5, 0.7, 0.9, 0.95, 0.97]), beside(**CLEAN))
    words = [rate.words for rate in found.ranges.values()]
    assert words == ["smoke range from 0.3 um", "dust range", "pollen range up to 10 um", "1 to 3 um", "3 to 10 um"]
    assert [str(rate.sizes) for rate in found.ranges.values()][:3] == ["0.3 to 1 um", "0.5 to 3 um", "5 to 10 um"]
    assert found.ranges["smoke"].clean_air.quantity.label == "clean-air rate, smoke range from 0.3 um (0.3 to 1 um)"
    [told] = [f.message for f in found.findings if f.code == "range of sizes not whole"]
    assert "smoke range from 0.3 um: the range is 0.1 to 1 um" in told
    assert "dust" not in told


def test_an_average_is_plain_over_the_logarithm_of_size():
    efficiencies = np.array([0.3, 0.5, 0.7, 0.9, 0.95])
    found = clean_air_of(reduced(), efficient(efficiencies, SIX[:6], 1e7), beside(**CLEAN))
    ln = np.log
    dust = (ln(1 / 0.5) * 0.5 + ln(2.5) * 0.7 + ln(3 / 2.5) * 0.9) / ln(6)
    assert float(found.ranges["dust"].efficiency.quantity.value) == pytest.approx(100 * dust, rel=1e-6)
    smoke = (ln(0.5 / 0.3) * 0.3 + ln(2) * 0.5) / ln(1 / 0.3)
    assert float(found.ranges["smoke"].efficiency.quantity.value) == pytest.approx(100 * smoke, rel=1e-6)
    few = filter_by_size([[1e6, 7e5], [4e5, 2e5], [10_000, 3000], [10_000, 1000], [20_000, 1000]], SIX[:6])
    other = clean_air_of(reduced(), few, beside(**CLEAN))  # as efficient, with other counts
    for name, rate in found.ranges.items():
        assert float(other.ranges[name].efficiency.quantity.value) == pytest.approx(
            float(rate.efficiency.quantity.value), rel=1e-6
        )


@pytest.mark.parametrize(
    ("edges", "missing"),
    [
        ((0.5, 1.0, 3.0, 5.0, 10.0), {"smoke"}),  # from 0.5 um: a third of the range
        ((0.3, 0.5, 1.0, 3.0, 5.0, np.inf), {"pollen"}),  # an open channel covers nothing
        ((0.3, 0.5, 1.0), {"dust", "pollen"}),
        ((1.0, 3.0, 10.0), {"smoke"}),
    ],
)
def test_ranges_that_are_not_told(edges, missing):
    found = clean_air_of(reduced(), efficient(np.linspace(0.5, 0.9, len(edges) - 1), edges), beside(**CLEAN))
    assert set(found.missing) == missing
    assert not missing & set(found.ranges)
    [told] = [f.message for f in found.findings if f.code == "range of sizes not told"]
    assert all(f"no {name} range" in told for name in missing)
    assert found.rate(0.1 * UM, 1 * UM) is None


def test_any_range_that_is_covered_may_be_asked_for():
    found = clean_air_of(reduced(), efficient([0.3, 0.5, 0.7, 0.9, 0.95, 0.97]), beside(**CLEAN))
    assert found.rate(0.3 * UM, 1 * UM) is found.ranges["smoke"].clean_air.quantity
    assert found.rate(1e-3 * 300e-6, 1 * UM) is found.ranges["smoke"].clean_air.quantity  # 300 nm
    flow = float(found.flow.quantity.value)
    own = found.rate(0.3 * UM, 10 * UM)
    ln = np.log
    mean = (ln(5 / 3) * 0.3 + ln(2) * 0.5 + ln(2.5) * 0.7 + ln(2) * 0.9 + ln(2) * 0.95) / ln(10 / 0.3)
    assert float(own.value) == pytest.approx(flow * mean, rel=1e-6)
    assert own.label == "clean-air rate, 0.3 to 10 um"
    assert found.rate(10 * UM, np.inf) is not None  # the open channel itself
    assert found.rate(5 * UM, 11 * UM) is None


def test_where_nothing_came_through_the_rate_is_at_least():
    result = reduced()
    found = clean_air_of(result, filter_by_size([[4000, 40], [300, 0]], (3.0, 5.0, 10.0)), beside(**CLEAN))
    assert found.ranges["pollen"].clean_air.one_sided
    rate = found.channels[-1].clean_air
    assert rate.one_sided
    # a second way: the flow's draws times what a one-sided limit at each level leaves, drawn by another library
    rng = np.random.default_rng(2)
    flow = rng.normal(float(result.flow.estimate.value), float(result.flow.estimate.u), 400_000)
    passed = rng.beta(1, 300, 400_000)
    low = np.quantile(flow * (1 - passed / (1 - passed)), 0.05)
    assert float(rate.quantity.interval.low) == pytest.approx(low, abs=0.03 * float(rate.quantity.estimate.u))
    assert rate.quantity.bound == "at least"
    [told] = [s for s in found.sentences if "pollen" in s]
    assert told.startswith("Nothing came through (pollen range up to 10 um): clean-air rate at least ")
    assert "95 %, one side" in told
    assert not found.ranges["3_to_10_um"].clean_air.one_sided


def test_without_a_flow_there_are_efficiencies_alone():
    found = clean_air_of(no_flow(), efficient([0.5] * 5), beside(**CLEAN))
    assert found.flow.quantity is None
    assert "no flow to multiply by" in codes(found)
    assert not any(name.startswith("clean_air") for name in found.quantities)
    assert "E1" in found.quantities
    assert found.rate(0.3 * UM, 1 * UM) is None
    assert found.over(0.3 * UM, 1 * UM).efficiency is not None


SLOW, FAST = {"of": "speed 1"}, {"of": "speed 3"}


def several(*flows):
    record = nozzle()
    base = record["flow"][0]
    record["flow"] = [base | flow for flow in flows]
    return flowrig.reduce(record)


def test_the_combined_flow_is_taken_where_there_is_one():
    near = [["250.0 Pa", "250.9 Pa", "249.4 Pa", "250.3 Pa"], ["250.8 Pa", "249.7 Pa", "250.5 Pa", "249.9 Pa"]]
    result = several(*({"name": f"run {i}", "drop": drops} for i, drops in enumerate(near)))
    assert result.combined is not None
    found = clean_air_flow(result, beside(**CLEAN))
    assert found.quantity is result.combined.main
    assert "combined flow" in found.words


def test_measurements_that_do_not_agree_give_no_clean_air_rate():
    result = several({"name": "one"}, {"name": "two", "drop": "320 Pa"})
    assert result.combined is None
    found = clean_air_of(result, efficient([0.5] * 5), beside(**CLEAN))
    assert found.flow.quantity is None
    assert "flow in doubt" in codes(found)


def test_of_several_flows_the_counts_say_which():
    result = several(SLOW, {**FAST, "drop": "500 Pa"})
    fast = clean_air_flow(result, beside(of="Speed  3", **CLEAN))
    assert fast.quantity is result.flows[1].main
    assert fast.of == "speed 3"
    for section, read in ((beside(**CLEAN), "nothing"), (beside(of="speed 2", **CLEAN), "speed 2")):
        with pytest.raises(InputError) as caught:
            clean_air_flow(result, section)
        assert read in str(caught.value)
        assert "speed 3" in str(caught.value)
    with pytest.raises(InputError, match="none has any"):
        clean_air_flow(reduced(), beside(of="speed 3", **CLEAN))


def test_air_of_the_unit_before_the_meters():
    record = nozzle()
    record["air"]["unit"] = {**record["air"]["meter"], "temperature": "30 degC"}
    result = flowrig.reduce(record)
    found = clean_air_flow(result, beside(**CLEAN))
    assert found.quantity.name == "actual_flow_unit"
    assert not found.findings
    record["air"]["room"] = record["air"].pop("unit")
    found = clean_air_flow(flowrig.reduce(record), beside(**CLEAN))
    assert found.quantity.name == "actual_flow_room"
    assert "clean-air rate of the meter's air" in [f.code for f in clean_air_flow(reduced(), beside(**CLEAN)).findings]


def test_a_stated_flow_stands_in_and_not_beside_one_that_was_measured():
    found = clean_air_flow(no_flow(), beside(flow="620 m3/h ± 30 m3/h", **CLEAN))
    assert float(found.quantity.value) == pytest.approx(620.0)
    assert float(found.quantity.u) == pytest.approx(30 / 3**0.5)
    with pytest.raises(InputError, match="not both"):
        clean_air_flow(reduced(), beside(flow="620 m3/h ± 30 m3/h", **CLEAN))


def test_media_alone_are_flagged():
    found = clean_air_of(reduced(), efficient([0.5] * 5), beside(filter_state="used", measured_on="media"))
    assert "gaps not in the efficiency" in codes(found)
    assert "class at most" not in codes(found)
    system = clean_air_of(reduced(), efficient([0.5] * 5), beside(**CLEAN))
    assert "gaps not in the efficiency" not in codes(system)
    assert "class at most" in codes(system)


def test_what_is_not_told_is_flagged():
    found = clean_air_of(reduced(), efficient([0.5] * 5), beside())
    assert {"gaps perhaps not in the efficiency", "state of the filter not told"} <= set(codes(found))
    assert found.sentences[0].startswith("The filter as sampled performed in this test like class")
    lines = " ".join(plain(clean_air_blocks(found)).split("\n"))
    assert "unless what passes beside the filters is in the efficiency" in lines


def test_clean_air_per_watt():
    record = nozzle()
    record["instruments"]["watt meter"] = {"measures": "power", "serial": "W1", "accuracy": "1 % of reading"}
    record["electrical"] = {"power": "90 W"}
    result = flowrig.reduce(record)
    found = clean_air_of(result, efficient([0.3, 0.5, 0.7, 0.9, 0.95]), beside(**CLEAN))
    for rate in found.ranges.values():
        q = rate.per_watt.quantity
        clean = rate.clean_air.quantity
        assert q.unit == "m3/h/W"
        assert float(q.value) == pytest.approx(float(clean.value) / 90)
        own = np.hypot(float(clean.u) / float(clean.value), 0.01 / 3**0.5)
        assert float(q.u) / float(q.value) == pytest.approx(own, rel=1e-6)
    assert "clean_air_per_watt_smoke" in found.quantities
    assert clean_air_of(reduced(), efficient([0.3] * 5), beside(**CLEAN)).ranges["smoke"].per_watt is None


def test_twelve_channels_and_a_flow_that_goes_back():
    result = reduced()
    found = clean_air_of(result, efficient(np.linspace(0.5, 0.95, 12), TWELVE), beside(**CLEAN))
    assert len(found.channels) == 12
    assert found.classes.classes
    result.flows[0].quantities["actual_flow_meter"].estimate = Estimate(-1.0)
    none = clean_air_of(result, efficient([0.5] * 5), beside(**CLEAN))
    assert all(rate.clean_air is None for rate in none.ranges.values())


def test_a_part_holds_them_beside_its_own_numbers():
    part = CleanAirPart("particles", "Particle counts", sentences=["Counted by one."])
    result = reduced()
    part.add_clean_air(result, None, beside(**CLEAN))
    assert part.rate(0.3 * UM, 1 * UM) is None
    part.add_clean_air(result, efficient([0.5, 0.7, 0.9], (0.3, 1.0, 3.0, 10.0)), beside(**CLEAN))
    assert part.rate(0.3 * UM, 1 * UM) is part.quantities["clean_air_rate_smoke"]
    assert part.sentences[0] == "Counted by one."
    assert len(part.sentences) == 4
    assert "class at most" in codes(part)
    assert {"E1", "E2", "E3", "mean_efficiency_dust", "clean_air_rate_channel_1_to_3_um"} <= set(part.quantities)
    assert not any(q.name != name for name, q in part.quantities.items())


def test_every_flag_is_a_finding_with_words():
    found = clean_air_of(
        reduced(), efficient([0.5] * 3, (0.5, 1.0, 3.0, 10.0)), beside(filter_state="clean", measured_on="media")
    )
    assert all(isinstance(f, Finding) and f.message for f in found.findings)
    assert len(set(codes(found))) == len(codes(found))
