"""What was measured of the particles that a claim is for: an efficiency or a clean-air rate of the sizes it names."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flowrig.records.items import Section
from flowrig.records.particle_words import sizes_of
from flowrig.records.rate_sizes import weighed_by_volume
from flowrig.records.sizes import Sizes
from flowrig.records.words import folded
from flowrig.studies.result import Result

if TYPE_CHECKING:
    from flowrig.studies.clean_air_rate import CleanAir
    from flowrig.studies.counted import Sized

NOT_TOLD = (
    'which particles it is of is not told: write particles = "0.3 to 1 um" in [claims], for instance; efficiencies and '
    "clean-air rates of different sizes are different numbers"
)


def measured_particles(result: Result, section: Section, name: str) -> tuple[Sized | None, str]:
    """The measured counterpart of a claim, or why it has none.

    Parameters
    ----------
    result : Result
        With its parts reduced.
    section : Section
        [claims].
    name : {'efficiency', 'clean_air_rate'}

    Returns
    -------
    found : Sized or None
    why : str
        Why there is none; empty where no particles were counted at all.
    """
    clean: CleanAir | None = getattr(result.parts.get("particles"), "clean_air", None)
    if clean is None:
        return None, ""
    of = section.value("of")
    if of is not None and clean.flow.of and folded(of) != folded(clean.flow.of):
        return None, f"the particles were counted at {clean.flow.of}"
    if name == "clean_air_rate" and clean.flow.quantity is None:
        return None, f"no clean-air rate was measured, as there is no flow to multiply by ({clean.flow.words})"
    said = section.value("particles", "")
    if not said:
        return None, NOT_TOLD
    weighed = weighed_by_volume(said)
    if weighed:
        return _weighed(clean, weighed)
    sizes = sizes_of(said)
    assert sizes is not None  # the record would have been refused
    own = _average(clean, sizes) if name == "efficiency" else None
    rate = clean.over(sizes.lower, sizes.upper) if own is None else None
    found: Any = own if rate is None else rate.efficiency if name == "efficiency" else rate.clean_air
    if found is None:
        covered = _covered(clean)
        return None, f"the counter's channels do not cover {sizes} ({covered}); a part of it would be another number"
    return found, ""


def _average(clean: CleanAir, sizes: Sizes) -> Sized | None:
    """That of a published range, averaged as the standard has it."""
    averages = (clean.classes.averages.get(name) for name in ("E1", "E2", "E3"))
    return next((x for x in averages if x is not None and sizes.same(Sizes(x.lower, x.upper))), None)


def _weighed(clean: CleanAir, weighed: str) -> tuple[Sized | None, str]:
    digits = "".join(c for c in weighed if c.isdigit())
    name = {"1": "ePM1", "25": "ePM2.5", "10": "ePM10"}[digits]
    found = clean.classes.averages.get(name)
    return found, "" if found is not None else f"there is no {name}: {clean.classes.missing[name]}"


def _covered(clean: CleanAir) -> str:
    return "; ".join(
        str(Sizes(float(a), float(b))) for a, b in zip(clean.by_size.lower, clean.by_size.upper, strict=True)
    )
