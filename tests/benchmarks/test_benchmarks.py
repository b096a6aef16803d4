"""What is timed is the same work on both sides: rows with error bars, and numbers that carry their own."""

from __future__ import annotations

import numpy as np
import pytest

from flowrig.methods.nozzle import kernel
from flowrig.uncertainty.propagate import linear
from tests.benchmarks.__main__ import AXES, OUTPUTS, bare, by_objects, inputs


@pytest.mark.library
def test_rows_and_objects_give_the_same_flow_and_error() -> None:
    made = inputs(6)
    ours = linear(kernel, made, AXES, OUTPUTS)["mass_flow"]
    theirs = np.array(by_objects(made["drop"].value))
    assert ours.value == pytest.approx(theirs[:, 0], rel=1e-8)
    assert ours.u == pytest.approx(theirs[:, 1], rel=1e-5)


def test_the_bare_kernel_runs() -> None:
    bare(inputs(3))()
