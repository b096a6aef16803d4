"""The rise of a winding by its resistance."""

import numpy as np
import pytest

from flowrig.physics import winding_rise

ZERO = 273.15


@pytest.mark.from_memory
def test_worked_by_hand():
    # IEC 60335-1, clause 11 (from memory): (25/20 - 1)(234.5 + 20) - (22 - 20) = 0.25 * 254.5 - 2
    assert winding_rise(20.0, 25.0, 20.0 + ZERO, 22.0 + ZERO) == pytest.approx(61.625, abs=1e-9)
    # (26.1/21.4 - 1)(234.5 + 22.5) - 0.9 = 0.2196262 * 257 - 0.9
    assert winding_rise(21.4, 26.1, 22.5 + ZERO, 23.4 + ZERO) == pytest.approx(55.5439, abs=1e-4)


@pytest.mark.published
@pytest.mark.parametrize("hot", [21.0, 25.0, 28.0])
def test_agrees_with_the_coefficient_of_annealed_copper(hot):
    # IEC 60028:1925, annealed copper at 20 degC: 0.00393 a kelvin
    warm = (hot / 20.0 - 1.0) / 0.00393
    assert winding_rise(20.0, hot, 20.0 + ZERO, 20.0 + ZERO) == pytest.approx(warm, rel=5e-4)


def test_a_winding_that_did_not_change_lies_below_a_room_that_warmed():
    assert winding_rise(20.0, 20.0, 290.0, 293.0) == pytest.approx(-3.0)


@pytest.mark.parametrize("given", [(0.0, 25.0, 293.0, 293.0), (20.0, -1.0, 293.0, 293.0), (20.0, 25.0, 38.0, 293.0)])
def test_outside_its_domain_there_is_no_rise(given):
    assert np.isnan(winding_rise(*given))
