"""Coefficient of a plain hole along its Reynolds number, and from which Reynolds number its equation holds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flowrig.methods.method import Coefficient, Situation
from flowrig.physics.box_orifice import box_orifice_coefficient
from flowrig.records.items import Array


def least(reynolds: float) -> Callable[[Situation], Array]:
    """A lower end, which a calibrated hole does not have."""
    return lambda situation: np.where(situation.inputs["calibrated"].value < 0.5, reynolds, -np.inf)


def _along(situation: Situation, reynolds: Array) -> Array | None:
    """Of holes that all rest on the equation, or all on a calibration: of both, an error of some is not one of all."""
    calibrated = situation.inputs["calibrated"].value > 0.5
    if np.any(calibrated) != np.all(calibrated):
        return None
    own = situation.inputs["coefficient"].value
    if np.all(calibrated):
        return np.broadcast_to(own, np.broadcast_shapes(reynolds.shape, own.shape))
    return np.asarray(box_orifice_coefficient(reynolds, 0.0) * own)


ALONG = Coefficient(
    "discharge coefficient",
    _along,
    ("method:box orifice:equation", "box orifice:low Reynolds number"),
    "coefficient",
)
