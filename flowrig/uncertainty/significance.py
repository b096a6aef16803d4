"""How likely as much is by chance."""

from __future__ import annotations


def f_tail(ratio: float, dof: float, other: float) -> float:
    """Probability that a ratio of two variances with these degrees of freedom exceeds `ratio`."""
    from scipy.special import fdtrc

    return float(fdtrc(dof, other, ratio))


def t_both_tails(t: float, dof: float) -> float:
    """Probability that Student's t lies further from zero than `t`."""
    from scipy.special import stdtr

    return float(2 * stdtr(dof, -abs(t)))
