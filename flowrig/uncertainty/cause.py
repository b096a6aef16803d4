"""One physical cause of error: what it is, told apart from how much it moves any particular number."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from flowrig.errors import FlowrigError

Shape = Literal["normal", "rectangular", "triangular"]
Scope = Literal["calibration", "setup", "reading", "method"]


class CauseConflict(FlowrigError):
    """Two causes carry one identity and say different things about it."""


@dataclass(frozen=True)
class Cause:
    """An independent, zero-mean, unit-variance deviate (or a block of them) with an identity.

    How strongly it moves a number is not kept here but in the parts of each `Estimate`, so that one manometer's
    calibration error is one object wherever its readings go.

    Attributes
    ----------
    id : str
        Identity: serial number, certificate date, range and component for an instrument; digest of the record and
        path in it for what is local to a test; a fixed name for a method's model error.
    n : int
        Number of independent directions. A covariance block of rank n is one cause with n directions.
    dof : float
        Degrees of freedom of its standard uncertainty; finite only for a normal shape. The whole block shares one
        chi-square.
    shape : {'normal', 'rectangular', 'triangular'}
        Distribution of each deviate.
    each : str or None
        Name of an axis along which the deviates are independent, one a position: the noise of N rows is one cause
        with ``each='row'``, never N directions.
    scope : {'calibration', 'setup', 'reading', 'method'}
        How widely the same error is shared: as long as the calibration, the set-up, the reading or the method.
    label : str
        What to call it in front of people. Not part of its identity.
    sized_with : str
        Id of another cause whose size was found from the same readings: both share its chi-square. Empty where its own
        readings told its size.

    Raises
    ------
    ValueError
        If `n` is below 1, or finite degrees of freedom go with a shape that is not normal.
    """

    id: str
    n: int = 1
    dof: float = math.inf
    shape: Shape = "normal"
    each: str | None = None
    scope: Scope = "reading"
    label: str = field(default="", compare=False)
    sized_with: str = ""

    def __post_init__(self) -> None:
        if self.n < 1:
            raise ValueError(f"cause {self.id!r}: n is {self.n}; a cause has at least one direction")
        if not self.dof > 0:
            raise ValueError(f"cause {self.id!r}: dof is {self.dof}; degrees of freedom are above zero")
        if self.dof != math.inf and self.shape != "normal":
            raise ValueError(f"cause {self.id!r}: finite degrees of freedom belong to a normal shape, not {self.shape}")

    def __hash__(self) -> int:
        return hash(self.id)  # equal causes have equal ids, and a text keeps its hash: every budget looks causes up

    def block(self, length: int) -> Cause:
        """The same deviates with their axis unrolled into `n` × `length` directions, once rows are combined.

        Direction k at place j becomes direction k × `length` + j, here and wherever a deviate is looked up.
        """
        if self.each is None:
            return self
        return replace(self, n=self.n * length, each=None)

    @property
    def sizing(self) -> str:
        """What the chi-square of its size is known by."""
        return self.sized_with or self.id

    @property
    def name(self) -> str:
        return self.label or self.id


def unite(groups: Iterable[Iterable[Cause]]) -> list[Cause]:
    """All causes of several numbers, each once, in the order met.

    Raises
    ------
    CauseConflict
        If two of them share an id but differ in anything else that matters.
    """
    seen: dict[str, Cause] = {}
    for group in groups:
        for cause in group:
            known = seen.setdefault(cause.id, cause)
            if known is not cause and known != cause:
                raise CauseConflict(f"two causes are both called {cause.id!r} but differ: {known} and {cause}")
    return list(seen.values())
