"""What a few wide channels leave open, however many particles were counted."""

import numpy as np
import pytest

import flowrig
from flowrig.physics.channel_content import content_shift
from flowrig.studies.clean_air_rate import clean_air_of
from flowrig.studies.within_channels import CONTENT, ONE_CHANNEL, content_limits
from tests.studies.counted_filters import CLEAN, SIX, TWELVE, beside, efficient, filter_by_size
from tests.studies.records import nozzle

UM = 1e-6


def found(by_size):
    return clean_air_of(flowrig.reduce(nozzle()), by_size, beside(**CLEAN))


def limit(estimate):
    """Half-width by where in their channels the particles were."""
    return 3**0.5 * float(np.squeeze(estimate.parts[CONTENT])) if CONTENT in estimate.parts else 0.0


def test_particles_that_crowd_at_the_lower_end_are_within_the_limit():
    """A straight efficiency in ln d, particles as d^-3: what each channel sees, and the true mean over each range."""
    edges = np.array(SIX[:6]) * UM

    def truly(size):
        return 0.5 + 0.15 * np.log(size / UM)

    low, high = edges[:-1], edges[1:]
    seen = truly(np.sqrt(low * high) * (high / low) ** -content_shift(low, high, 3.0))
    counts = np.round(1e8 * (low**-3 - high**-3) / (low[0] ** -3 - high[0] ** -3))
    told = found(efficient(seen, SIX[:6], counts))
    for rate in told.ranges.values():
        q = rate.efficiency.quantity
        true = truly(np.sqrt(rate.sizes.lower * rate.sizes.upper))
        off = true - float(q.estimate.value)
        assert 0.2 * limit(q.estimate) < off < limit(q.estimate), rate.words
        assert float(q.interval.low) < true < float(q.interval.high)


def test_narrow_channels_leave_less_open_and_those_of_the_standard_nothing_in_its_averages():
    curve = lambda edges: 0.5 + 0.15 * np.log(np.sqrt(np.array(edges[:-1]) * edges[1:]))  # noqa: E731
    wide, narrow = found(efficient(curve(SIX[:6]), SIX[:6], 1e8)), found(efficient(curve(TWELVE), TWELVE, 1e8))
    for name in ("E1", "E2", "E3", "ePM1", "ePM2.5", "ePM10"):
        assert limit(narrow.classes.averages[name].quantity.estimate) == 0.0
        assert limit(wide.classes.averages[name].quantity.estimate) > 0.01
    for name in ("smoke", "dust", "pollen"):
        many, few = (limit(x.ranges[name].efficiency.quantity.estimate) for x in (narrow, wide))
        assert 0.0 < many < 0.6 * few


def test_a_channels_own_rate_is_of_what_was_in_it():
    told = found(efficient([0.3, 0.5, 0.7, 0.9, 0.95], SIX[:6], 1e8))
    assert all(limit(rate.efficiency.quantity.estimate) == 0.0 for rate in told.channels)
    [own] = [rate for rate in told.channels if rate.name == "channel_5_to_10_um"]
    assert own.clean_air.quantity.label == "clean-air rate, channel 5 to 10 um"
    assert float(own.clean_air.quantity.value) == pytest.approx(float(told.ranges["pollen"].clean_air.quantity.value))
    assert limit(told.ranges["pollen"].efficiency.quantity.estimate) > 0.0


def test_a_part_of_a_channel_far_from_its_middle_is_less_sure():
    told = found(efficient([0.3, 0.5, 0.7, 0.9, 0.95], SIX[:6], 1e8))
    whole, part = (
        limit(told.over(*(UM * x for x in ends)).efficiency.quantity.estimate) for ends in ((0.3, 1), (0.8, 1))
    )
    assert told.over(0.3 * UM, 1 * UM) is told.ranges["smoke"]
    # by hand: as many counts in each channel, so that they are no steeper than the least
    change = 0.4 / np.log(np.sqrt(2.5) / np.sqrt(0.15)) * np.log(2)
    off = (np.log(1 * 0.8) - np.log(1 * 0.5)) / 2 / np.log(2)
    assert part == pytest.approx(change * (1.5 * content_shift(0.5 * UM, 1 * UM, 2.0) + off), rel=1e-6)
    assert part > whole


def test_it_moves_all_sizes_alike_and_efficiency_and_rate_too():
    told = found(efficient([0.3, 0.5, 0.7, 0.9, 0.95], SIX[:6], 1e9))
    smoke, dust = (told.ranges[name].efficiency.quantity.estimate for name in ("smoke", "dust"))
    assert float(smoke.cov(dust)) / float(smoke.u * dust.u) > 0.99
    falling = found(efficient([0.9, 0.8, 0.7, 0.6, 0.5], SIX[:6], 1e9)).ranges["smoke"].efficiency.quantity.estimate
    assert float(smoke.parts[CONTENT][0]) > 0 > float(falling.parts[CONTENT][0])


def test_no_efficiency_is_lifted_above_one():
    told = found(filter_by_size([[4000, 400], [300, 1], [200, 0]], (1.0, 3.0, 5.0, 10.0)))
    flow = float(told.flow.quantity.interval.high)
    two_sided = [rate for rate in told.ranges.values() if not rate.clean_air.one_sided]
    assert len(two_sided) == 2
    for rate in two_sided:
        assert float(rate.efficiency.quantity.interval.high) <= 1.0 + 1e-9
        assert float(rate.clean_air.quantity.interval.high) <= flow * (1 + 1e-3)


def test_one_channel_alone_tells_itself_and_no_range():
    told = found(efficient([0.7], (0.3, 1.0)))
    assert not told.ranges
    assert not told.classes.averages
    assert ONE_CHANNEL in told.missing["smoke"]
    assert ONE_CHANNEL in told.classes.missing["E1"]
    assert told.rate(0.3 * UM, 1 * UM) is told.channels[0].clean_air.quantity
    assert told.rate(0.4 * UM, 1 * UM) is None


def test_the_limit_goes_by_how_steep_the_counts_are():
    curve, edges = [0.3, 0.6, 0.9], np.array((0.3, 0.7, 1.4, 3.0))
    limits = []
    for n in (0.0, 3.0, 5.0, -5.0):
        counts = np.round(1e9 * np.log(edges[1:] / edges[:-1]) * (edges[1:] * edges[:-1]) ** (-n / 2))
        limits.append(limit(found(efficient(curve, edges, counts)).ranges["dust"].efficiency.quantity.estimate))
    flat, usual, steep, rising = limits
    assert flat < usual < steep
    assert rising == pytest.approx(steep, rel=0.01)  # a test aerosol with more of the large ones, the other way round


def test_an_open_channel_has_no_limit_of_its_own():
    limits = content_limits(efficient([0.3, 0.5, 0.7, 0.9, 0.95, 0.97], SIX))
    assert limits[-1] == 0.0
    assert np.all(limits[:-1] > 0.0)
    assert np.all(content_limits(efficient([0.5] * 12, TWELVE), standard=True) == 0.0)
