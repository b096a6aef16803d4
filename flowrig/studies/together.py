"""What several measurements of one flow say together: every two held against each other, and one flow of them all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from flowrig.records.declare import Finding
from flowrig.studies.result import Quantity
from flowrig.uncertainty.combine import Comparison, Verdict


@dataclass
class Pair:
    """Two measurements of one flow held against each other.

    Attributes
    ----------
    first, second : str
        Names of the measurements.
    comparison : Comparison
        Of their mass flows. [kg/s]
    difference : Quantity
        First minus second, as volume flow of the air that the whole comparison is shown in. Its interval is the honest
        one, by draws where the linear one is not; the verdict goes by the expanded uncertainty, as E_n has it.
    density : float
        Of that air. [kg/m3]
    share : float
        The difference over the mean of the two.
    sentence : str
        The verdict in words.
    """

    first: str
    second: str
    comparison: Comparison
    difference: Quantity
    density: float
    share: float
    sentence: str

    @property
    def verdict(self) -> Verdict:
        return self.comparison.verdict

    @property
    def e_n(self) -> float:
        return self.comparison.e_n

    @property
    def expanded(self) -> float:
        """Expanded uncertainty of the difference, what both share cancelled; in its unit."""
        return float(self.difference.interval.factor) * float(self.difference.u)

    def __repr__(self) -> str:
        return f"<Pair {self.first!r} - {self.second!r}: E_n {self.e_n:.2f}, {self.verdict}>"


@dataclass
class CombinedFlow:
    """One flow from measurements that agree.

    Attributes
    ----------
    name : str
    quantities : dict of str to Quantity
        As in a `FlowResult`; the first is the one it is about.
    weights : dict of str to float
        By measurement; their sum is 1.
    chi_square : float
        Of the measurements about the combined flow.
    dof : int
        Degrees of freedom of the chi-square.
    findings : list of Finding
    """

    name: str
    quantities: dict[str, Quantity]
    weights: dict[str, float]
    chi_square: float
    dof: int
    findings: list[Finding] = field(default_factory=list)

    @property
    def main(self) -> Quantity:
        return next(iter(self.quantities.values()))

    @property
    def adds_nothing(self) -> list[str]:
        """Measurements left out, since nothing is known by them that is not known by the others."""
        return [name for name, weight in self.weights.items() if weight == 0.0]

    def __getitem__(self, name: str) -> Quantity:
        return self.quantities[name]

    def __repr__(self) -> str:
        return f"<CombinedFlow {self.main!r} of {', '.join(map(repr, self.weights))}>"


@dataclass
class Together:
    """Measurements of one flow, held against each other.

    Attributes
    ----------
    of : str
        Which flow, in the words of the record; empty where it has none.
    names : list of str
        Of the measurements.
    basis : str
        What was compared, and as what it is shown.
    flows : list of Quantity
        The measurements, all as volume flow of that air.
    pairs : list of Pair
        Empty where there is one measurement only.
    combined : CombinedFlow or None
    why_not : str
        Why nothing was combined; empty where it was.
    findings : list of Finding
    """

    of: str
    names: list[str]
    basis: str = ""
    flows: list[Quantity] = field(default_factory=list)
    pairs: list[Pair] = field(default_factory=list)
    combined: CombinedFlow | None = None
    why_not: str = ""
    findings: list[Finding] = field(default_factory=list)

    def __iter__(self) -> Iterator[Pair]:
        return iter(self.pairs)

    def __repr__(self) -> str:
        return f"<Together {self.of!r}: {self.pairs!r}, {self.combined!r}>"
