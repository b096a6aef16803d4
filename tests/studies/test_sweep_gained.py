"""What each further filter gains, in a sweep of more designs than the engine looks at in one go."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from flowrig.studies.reduce import load
from flowrig.studies.sweep import sweep
from tests.report.figure_records import written


def test_gains_of_many_designs(tmp_path: Path) -> None:
    swept = sweep(load(written(tmp_path) / "sweep-many.toml"))
    assert len(swept) == 8 * 70
    assert swept.gained is not None
    clean = swept.quantities["clean_air"].value.reshape(8, 70)
    gained = swept.gained.value.reshape(8, 70)
    assert np.all(np.isnan(gained[0]))
    assert np.allclose(gained[1:], np.diff(clean, axis=0), rtol=1e-9)
    x = swept.quantities["clean_air"].estimate
    parts = {cause: part.reshape(-1, 8, 70) for cause, part in x.parts.items()}
    variance = sum(np.sum((part[:, 1:] - part[:, :-1]) ** 2, axis=0) for part in parts.values())
    assert np.allclose(swept.gained.estimate.u.reshape(8, 70)[1:], np.sqrt(variance), rtol=1e-3)
