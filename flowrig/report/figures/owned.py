"""Every figure of a comparison of costs."""

from __future__ import annotations

from flowrig.report.figures.cost_course import cost_pictures
from flowrig.report.figures.one_at_a_time import ranges_pictures
from flowrig.report.figures.picture import Picture
from flowrig.studies.own import Owned


def own_pictures(owned: Owned) -> list[Picture]:
    """Costs over the years, then what decides between the two cheapest."""
    return [*cost_pictures(owned), *ranges_pictures(owned)]
