"""What is timed is the same work on both sides: rows with error bars, and numbers that carry their own."""

from __future__ import annotations

import numpy as np
import pytest

from flowrig.methods.nozzle import kernel
from flowrig.studies.sweep import sweep
from flowrig.uncertainty.propagate import linear
from tests.benchmarks.__main__ import AXES, OUTPUTS, bare, by_objects, cleaner, inputs, one_design


@pytest.mark.library
def test_rows_and_objects_give_the_same_flow_and_error() -> None:
    made = inputs(6)
    ours = linear(kernel, made, AXES, OUTPUTS)["mass_flow"]
    theirs = np.array(by_objects(made["drop"].value))
    assert ours.value == pytest.approx(theirs[:, 0], rel=1e-8)
    assert ours.u == pytest.approx(theirs[:, 1], rel=1e-5)


def test_the_bare_kernel_runs() -> None:
    bare(inputs(3))()


def test_a_design_alone_and_in_a_sweep_have_the_same_bands() -> None:
    record = cleaner([1, 3], [0.0, 50.0], [0.0, 0.5])
    found = sweep(record).quantities
    alone = one_design(record, 3, 0.5, 0.5e-3)
    for name, (value, low, high) in alone.items():
        assert value == pytest.approx(found[name].estimate.value[7], rel=1e-6)
        assert (high - low) / 2 / 1.959964 == pytest.approx(found[name].estimate.u[7], rel=1e-6)
