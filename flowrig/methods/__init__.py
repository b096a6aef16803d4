"""Measuring methods, one declaration a file. `METHODS` finds them by name."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flowrig.methods.method import Method

# name in a record -> module that declares it; each is imported when a record asks for it
NAMES = {
    "nozzle": "nozzle",
    "box-orifice": "box_orifice",
    "hood": "hood",
    "inlet": "inlet",
    "pitot-traverse": "pitot_traverse",
    "vane-traverse": "vane_traverse",
    "thermal-traverse": "thermal_traverse",
    "vane-face": "vane_face",
    "thermal-face": "thermal_face",
    "orifice-plate": "orifice_plate",
    "pipe-nozzle": "pipe_nozzle",
    "venturi-tube": "venturi_tube",
    "box": "box",
}


def find_method(name: str) -> Method:
    """The declaration of a method.

    Raises
    ------
    KeyError
        If there is no method of that name.
    """
    found: Method = import_module(f"flowrig.methods.{NAMES[name]}").METHOD
    return found
