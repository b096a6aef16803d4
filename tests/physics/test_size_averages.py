"""Averages over sizes against ISO 16890-1 and ANSI/ASHRAE 52.2 as worked, and by quadrature."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from flowrig.physics import (
    efficiency_at_size,
    geometric_mean_size,
    log_size_weights,
    particulate_efficiency,
    range_averages,
    volume_density,
    volume_weights,
)
from flowrig.physics.classes import PARTICULATE
from flowrig.physics.size_averages import AEROSOLS, AVERAGED, CHANNELS, CLEAN_AIR_RANGES
from tests.reference.load import rows

REFERENCE = Path(__file__).parents[1] / "reference"
WORKED = tomllib.loads((REFERENCE / "iso16890_worked.toml").read_text(encoding="utf-8"))
RATED = tomllib.loads((REFERENCE / "classes_worked.toml").read_text(encoding="utf-8"))
LOWER, UPPER = np.array(CHANNELS[:-1]), np.array(CHANNELS[1:])
MEANS = geometric_mean_size(LOWER, UPPER)
TABLE = rows("iso16890_weights.csv")


# Source: size ranges of ANSI/ASHRAE 52.2, limits and groups read on a public page of the trade.
@pytest.mark.published
def test_channels_and_groups():
    table = rows("size_channels.csv")
    assert pytest.approx([float(row["lower_um"]) * 1e-6 for row in table]) == LOWER
    assert pytest.approx([float(row["upper_um"]) * 1e-6 for row in table]) == UPPER
    for place, group in enumerate(range_averages(np.eye(12))):
        members = [row["group"] == f"E{place + 1}" for row in table]
        assert group[:, 0] == pytest.approx(np.where(members, 0.25, 0.0))


@pytest.mark.recomputed
def test_averages_of_a_worked_curve():
    found = [float(each[0]) for each in range_averages(np.array(RATED["inputs_pct"]) / 100)]
    assert found == pytest.approx([RATED[name] / 100 for name in ("E1", "E2", "E3")], abs=1e-12)


def test_eleven_channels_are_not_those_of_the_standard():
    with pytest.raises(ValueError, match="12 channels"):
        range_averages(np.ones(11))
    with pytest.raises(ValueError, match="12 channels"):
        range_averages(0.5)


# Source: two-mode distributions of ISO 16890-1:2016; parameters from memory, densities and weights recomputed.
@pytest.mark.from_memory
@pytest.mark.parametrize("aerosol", ["urban", "rural"])
def test_densities_and_weights(aerosol):
    printed = WORKED["distribution"][aerosol]
    names = ("y", "d50_A_um", "sigma_A", "d50_B_um", "sigma_B")
    assert AEROSOLS[aerosol] == pytest.approx([printed[name] * (1e-6 if "um" in name else 1) for name in names])
    density = volume_density(MEANS, *AEROSOLS[aerosol])
    assert density == pytest.approx(np.array([float(row[f"q3_{aerosol}"]) for row in TABLE]), abs=5.1e-7)
    absolute = np.array([float(row[f"weight_{aerosol}"]) for row in TABLE])
    weights = volume_weights(LOWER, UPPER, 10e-6, aerosol)
    assert weights == pytest.approx(absolute / absolute.sum(), abs=2e-7)
    assert weights.sum() == pytest.approx(1.0, rel=1e-14)


@pytest.mark.library
@pytest.mark.parametrize("aerosol", ["urban", "rural"])
def test_a_density_holds_all_volume(aerosol):
    whole, _ = quad(lambda x: float(volume_density(math.exp(x), *AEROSOLS[aerosol])), -30.0, 5.0, limit=200)
    assert whole == pytest.approx(1.0, abs=1e-8)


CURVES = {"initial": "E_initial", "conditioned_minimum": "E_conditioned", "average": "E_average"}


# Source: ISO 16890-1:2016, weights from memory; the efficiencies invented, the results recomputed.
@pytest.mark.recomputed
@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("name", ["ePM1", "ePM2.5", "ePM10"])
def test_worked_averages(curve, name):
    limit, aerosol = PARTICULATE[name]
    printed = WORKED["results_pct"][curve]
    efficiency = np.array(WORKED["inputs"][CURVES[curve]])
    found = particulate_efficiency(efficiency, LOWER, UPPER, limit, aerosol)
    assert found.shape == (1,)
    assert 100 * found[0] == pytest.approx(printed[name.replace(".", "_")], abs=5.1e-6)
    cut = particulate_efficiency(efficiency, LOWER, UPPER, limit, aerosol, "cut")
    if name == "ePM2.5":
        assert 100 * cut[0] == pytest.approx(printed["ePM2_5_with_channel_8_cut_at_2.5um"], abs=5.1e-6)
    else:
        assert cut[0] == found[0]  # the limit is one of a channel


@pytest.mark.library
@pytest.mark.parametrize("name", ["ePM1", "ePM2.5", "ePM10"])
def test_channels_against_the_continuous_integral(name):
    """A second way: quadrature with the efficiency straight in ln d; within 2 points of the sum over channels."""
    limit, aerosol = PARTICULATE[name]
    efficiency = np.array(WORKED["inputs"]["E_average"])
    x = np.linspace(math.log(0.3e-6), math.log(limit), 20001)
    weight = volume_density(np.exp(x), *AEROSOLS[aerosol])
    curve = np.interp(x, np.log(MEANS), efficiency)
    integral = np.trapezoid(weight * curve, x) / np.trapezoid(weight, x)
    printed = WORKED["cross_check_continuous_integral_pct"][name.replace(".", "_")]
    assert 100 * integral == pytest.approx(printed, abs=1e-4)
    channels = particulate_efficiency(efficiency, LOWER, UPPER, limit, aerosol, "cut")
    assert channels[0] == pytest.approx(integral, abs=0.02)


def test_never_by_counts():
    """The same efficiencies give the same averages whatever was counted: there is nowhere to hand counts over."""
    uneven = particulate_efficiency(np.where(MEANS < 1e-6, 0.2, 1.0), LOWER, UPPER, 10e-6, "rural")
    fine = volume_weights(LOWER, UPPER, 10e-6, "rural")[MEANS < 1e-6].sum()
    assert uneven[0] == pytest.approx(1 - 0.8 * fine)


def test_channels_beyond_the_limit_may_be_missing_and_others_not():
    efficiency = np.full(12, 0.7)
    efficiency[6] = np.nan
    assert particulate_efficiency(efficiency, LOWER, UPPER, 1e-6, "urban")[0] == pytest.approx(0.7)
    assert np.isnan(particulate_efficiency(efficiency, LOWER, UPPER, 2.5e-6, "urban")[0])


@pytest.mark.parametrize(
    ("lower", "upper", "limit"),
    [
        ([0.5, 1.0], [1.0, 2.5], 1.0),  # begins above 0.3 um
        ([0.3, 0.5], [0.5, 0.8], 1.0),  # does not reach the limit
        ([0.3, 0.6], [0.5, 1.0], 1.0),  # a gap
        ([0.3, 0.5], [0.5, 1.0], 0.3),  # nothing lies below
        ([0.3, 0.5], [0.5, math.inf], 1.0),  # an open channel has no mean
    ],
)
def test_channels_that_do_not_cover_the_range(lower, upper, limit):
    found = particulate_efficiency(
        np.array([0.5, 0.6]), np.array(lower) * 1e-6, np.array(upper) * 1e-6, limit * 1e-6, "urban"
    )
    assert np.isnan(found).all()


def test_words_that_are_not_listed():
    with pytest.raises(ValueError, match="urban or rural"):
        volume_weights(LOWER, UPPER, 1e-6, "suburban")
    with pytest.raises(ValueError, match="whole or cut"):
        volume_weights(LOWER, UPPER, 1e-6, "urban", "half")


def test_draws_and_rows_at_once():
    draws = np.random.default_rng(3).uniform(0.2, 1.0, (4, 7, 12))
    found = particulate_efficiency(draws, LOWER, UPPER, np.array([1e-6]), "urban")
    assert found.shape == (4, 7, 1)
    one = particulate_efficiency(draws[2, 5], LOWER, UPPER, 1e-6, "urban")
    assert found[2, 5] == pytest.approx(one, rel=1e-14)
    assert [each.shape for each in range_averages(draws)] == [(4, 7, 1)] * 3


SIX = np.array([0.3e-6, 0.5e-6, 1.0e-6, 2.5e-6, 5.0e-6, 10.0e-6])


def test_other_channels_at_the_means_of_the_standard():
    efficiency = np.array([0.4, 0.6, 0.8, 0.9, 0.95])
    found = efficiency_at_size(efficiency, SIX[:-1], SIX[1:], MEANS)
    own = np.sqrt(SIX[:-1] * SIX[1:])
    assert found == pytest.approx(np.interp(np.log(MEANS), np.log(own), efficiency), rel=1e-12)
    assert efficiency_at_size(efficiency, SIX[:-1], SIX[1:], own) == pytest.approx(efficiency, rel=1e-14)
    assert efficiency_at_size(np.array(WORKED["inputs"]["E_initial"]), LOWER, UPPER, MEANS) == pytest.approx(
        np.array(WORKED["inputs"]["E_initial"]), rel=1e-14
    )


def test_nothing_is_told_beyond_the_channels():
    at = np.array([0.29e-6, 0.3e-6, 10.0e-6, 10.1e-6])
    found = efficiency_at_size(np.tile([0.4, 0.6, 0.8, 0.9, 0.95], (3, 1)), SIX[:-1], SIX[1:], at)
    assert found.shape == (3, 4)
    assert np.isnan(found[0]).tolist() == [True, False, False, True]
    assert found[1, 1:3].tolist() == [0.4, 0.95]
    gap = efficiency_at_size(np.array([0.4, 0.6]), SIX[[0, 2]], SIX[[1, 3]], np.array([0.4e-6]))
    assert np.isnan(gap).all()


def test_a_hole_spoils_only_what_needs_it():
    found = efficiency_at_size(np.array([0.4, np.nan, 0.8, 0.9, 0.95]), SIX[:-1], SIX[1:], MEANS)
    assert np.isnan(found).tolist() == [False, *[True] * 5, *[False] * 6]
    alone = efficiency_at_size(np.array([0.7]), SIX[:1], SIX[1:2], np.array([0.3e-6, 0.4e-6, 0.5e-6]))
    assert alone.tolist() == [0.7] * 3


# Source: sizes of ANSI/AHAM AC-1, from memory; the twelve channels and their groups as above.
@pytest.mark.from_memory
def test_ranges_of_clean_air_rates():
    facts = tomllib.loads((REFERENCE / "clean_air_facts.toml").read_text(encoding="utf-8"))["aham_ac_1"]
    for name, ends in CLEAN_AIR_RANGES.items():
        assert ends == pytest.approx([size * 1e-6 for size in facts[f"{name}_size_um"]])
    assert list(CLEAN_AIR_RANGES) == ["smoke", "dust", "pollen"]
    for place, ends in enumerate(AVERAGED.values()):
        assert ends == (CHANNELS[4 * place], CHANNELS[4 * place + 4])


@pytest.mark.library
def test_weights_over_the_logarithm_of_size_against_quadrature():
    """A second way: the efficiency as a staircase in ln d, integrated over the range."""
    efficiency = np.array([0.4, 0.6, 0.8, 0.9, 0.95])
    for low, high in ((0.3e-6, 1e-6), (0.5e-6, 3e-6), (0.45e-6, 7e-6), (5e-6, 10e-6)):
        weights = log_size_weights(SIX[:-1], SIX[1:], low, high)
        inner = [math.log(edge) for edge in SIX if low < edge < high]
        steps = lambda x: efficiency[np.clip(np.searchsorted(np.log(SIX), x, side="right") - 1, 0, 4)]  # noqa: E731
        integral, _ = quad(steps, math.log(low), math.log(high), points=inner or None)
        assert (weights * efficiency).sum() == pytest.approx(integral / math.log(high / low), rel=1e-9)


def test_a_range_is_covered_wholly_or_not_at_all():
    low, high = np.array([0.3e-6, 0.5e-6, 2e-6, 5e-6]), np.array([0.5e-6, 1e-6, 5e-6, math.inf])  # a gap, an open end
    assert log_size_weights(low, high, 0.3e-6, 1e-6).sum() == pytest.approx(1.0, rel=1e-14)
    assert log_size_weights(low, high, 2e-6, 5e-6).tolist() == [0.0, 0.0, 1.0, 0.0]
    for ends in ((0.29e-6, 1e-6), (0.5e-6, 3e-6), (2e-6, 5.1e-6), (5e-6, 11e-6), (1e-6, 1e-6), (1e-6, 0.5e-6)):
        assert np.isnan(log_size_weights(low, high, *ends)).all(), ends
    twice = log_size_weights(low[[0, 0, 1]], high[[0, 1, 1]], 0.3e-6, 1e-6)  # channels that overlap
    assert np.isnan(twice).all()


@given(cut=st.floats(0.31, 0.99))
def test_two_parts_of_a_range_make_the_whole(cut):
    whole = log_size_weights(SIX[:-1], SIX[1:], 0.3e-6, 1e-6)
    parts = [log_size_weights(SIX[:-1], SIX[1:], low * 1e-6, high * 1e-6) for low, high in ((0.3, cut), (cut, 1.0))]
    shares = np.log([cut / 0.3, 1 / cut]) / math.log(1 / 0.3)
    assert shares @ np.array(parts) == pytest.approx(whole, abs=1e-12)
