"""Readings of a measurement brought to another flow: by how much, so that its own kernel gives that flow."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Generic, TypeVar

STEPS = 25
ALIKE = 1e-7  # of the flow: readings scaled to another flow are close enough

Found = TypeVar("Found")


class AtFlow(Generic[Found]):
    """A measurement whose readings can be scaled.

    Parameters
    ----------
    own : float
        Flow of the readings as they are, above zero.
    scaled : callable
        From a factor on the readings to what the measurement then gives.
    flow_of : callable
        The flow of what it gives.

    Notes
    -----
    The factor is sought as a power of the flow (2 for a pressure under a root, 1 for a velocity), from the last one
    found.
    """

    def __init__(self, own: float, scaled: Callable[[float], Found], flow_of: Callable[[Found], float]) -> None:
        self.own, self.scaled, self.flow_of = own, scaled, flow_of
        self._at, self._gone, self._power = 0.0, 0.0, 1.0  # factor and flow of the last try, in logarithms

    def there(self, wanted: float) -> bool:
        """Whether the readings as they are give that flow."""
        return self.own > 0.0 and wanted > 0.0 and abs(math.log(wanted / self.own)) <= ALIKE

    def find(self, wanted: float) -> tuple[float, Found]:
        """Factor on the readings at which the flow is `wanted`, and what the measurement gives there.

        Raises
        ------
        ValueError
            If the flow does not follow the readings there.
        """
        if not (self.own > 0.0 and wanted > 0.0):
            raise ValueError("readings can be scaled only from one flow above zero to another")
        if self.there(wanted):
            return 1.0, self.scaled(1.0)
        target = math.log(wanted / self.own)
        at, gone = self._at, self._gone
        for _ in range(STEPS):
            at += (target - gone) * self._power
            found = self.scaled(math.exp(at))
            ratio = self.flow_of(found) / self.own
            if not ratio > 0.0 or ratio == 1.0:
                break
            gone = math.log(ratio)
            self._at, self._gone, self._power = at, gone, at / gone
            if abs(target - gone) <= ALIKE:
                return math.exp(at), found
        raise ValueError("the flow does not follow the readings there")
