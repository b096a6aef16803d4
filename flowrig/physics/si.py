"""What a kernel says about itself: the unit of everything it takes and gives, and NaN where it does not hold."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = float | NDArray[np.float64]
Truth = bool | np.bool_ | NDArray[np.bool_]
Unit = str | tuple[str, ...] | dict[str, str]
_Kernel = TypeVar("_Kernel", bound=Callable[..., object])


def si(returns: Unit, /, **parameters: str) -> Callable[[_Kernel], _Kernel]:
    """Label a function with the SI units of its output and of its parameters; the function itself is unchanged.

    Parameters
    ----------
    returns : str, tuple of str or dict of str to str
        Unit of what is returned; one for each output where there are several.
    **parameters : str
        Unit of each parameter, ``"1"`` where it has none. A parameter that is not a number is left out.

    Returns
    -------
    label : callable
        Decorator that sets ``fn.si = {"return": returns, **parameters}`` and gives the same function back.

    Raises
    ------
    Nothing.

    Source
    ------
    None; our own convention.

    Examples
    --------
    >>> @si("m^2", side="m")
    ... def square(side):
    ...     return side * side
    >>> square.si
    {'return': 'm^2', 'side': 'm'}
    """

    def label(function: _Kernel) -> _Kernel:
        vars(function)["si"] = {"return": returns, **parameters}
        return function

    return label


def within(valid: Truth, value: Floats) -> Floats:
    """The value where the condition holds and NaN elsewhere, as a scalar if both are.

    Parameters
    ----------
    valid : bool or array
        Where the equation may be used. A comparison with NaN is false, so a missing input stays missing.
    value : float or array, broadcast with ``valid``
        What the equation gave.

    Returns
    -------
    value : shape of the broadcast inputs
        The value or NaN.

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    None; our own convention.

    Examples
    --------
    >>> within(np.array([True, False]), 2.0)
    array([ 2., nan])
    """
    masked: Floats = np.where(valid, value, np.nan)[()]
    return masked


def not_below_0(*inputs: Floats) -> Truth:
    """Where every input is 0 or above: for `within`.

    Parameters
    ----------
    *inputs : float or array
        Broadcast with each other.

    Returns
    -------
    valid : bool or array
        False where an input is missing.

    Raises
    ------
    ValueError
        Only if the shapes do not broadcast.

    Source
    ------
    None; our own convention.

    Examples
    --------
    >>> not_below_0(np.array([1.0, -1.0, np.nan]), 0.0)
    array([ True, False, False])
    """
    valid: Truth = True
    for each in inputs:
        valid = valid & np.greater_equal(each, 0.0)
    return valid
