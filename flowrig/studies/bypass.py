"""Which share of the air goes round the filter: its penetration as used, against that with the seams taped."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flowrig.physics.sampling import bypass_share
from flowrig.records.declare import Finding
from flowrig.records.sizes import Sizes
from flowrig.studies.by_size import CHANNEL, BySize
from flowrig.studies.particle_flags import BYPASS_DIFFERS
from flowrig.uncertainty.alongside import one_of
from flowrig.uncertainty.combine import combine
from flowrig.uncertainty.estimate import Array, Bools, Estimate
from flowrig.uncertainty.fluctuation import chance_of
from flowrig.uncertainty.propagate import linear

ENOUGH = 10.0  # counts behind the filter in either run, for a share of its own
DIFFERS = 0.01  # probability by chance


@dataclass
class Bypass:
    """Share of the air that goes round the filter.

    Attributes
    ----------
    share : Estimate
        Axis ``channel``.
    told : array of bool, shape (k,)
        Channels with enough counts.
    combined : Estimate or None
        Over those channels; None where there is none.
    findings : list of Finding
    """

    share: Estimate
    told: Bools
    combined: Estimate | None
    findings: list[Finding] = field(default_factory=list)


def bypass(system: BySize, media: BySize | None) -> Bypass:
    """The share by channel and combined.

    Parameters
    ----------
    system : BySize
        The filter as used; without `media`, a filter that lets next to nothing through in the same frame.
    media : BySize, optional
        The same filter with its seams taped.

    Notes
    -----
    1 - E_system/E_media. What both runs share (false counts, the ratio with no filter, counters) cancels as far as it
    moves both alike. The combination weighs channels by their errors and what these have in common; air in the gaps is
    taken as not filtered at any size.
    """
    inputs = {"system": system.penetration}
    told = np.isfinite(system.penetration.value) & (system.counted[:, 1] >= ENOUGH)
    if media is not None:
        inputs["media"] = media.penetration
        told &= np.isfinite(media.penetration.value) & (media.counted[:, 1] >= ENOUGH)
    share = linear(_share, inputs, (CHANNEL,), {"share": (CHANNEL,)})["share"]
    told &= np.isfinite(share.value) & (share.u > 0.0)
    places = np.flatnonzero(told)
    if not places.size:
        return Bypass(share, told, None)
    own = [one_of(share, CHANNEL, int(i)) for i in places]
    if len(own) == 1:
        return Bypass(share, told, own[0])
    ids = {cause.id for x in own for cause in x.parts}
    together = combine(own, absolute=ids)
    findings = []
    if chance_of(together.chi_square, together.dof) < DIFFERS:
        most, least = int(places[np.argmax(share.value[places])]), int(places[np.argmin(share.value[places])])
        said = [f"{100 * share.value[i]:.0f} % at {_size(system, i)}" for i in (least, most)]
        findings.append(Finding(BYPASS_DIFFERS, " and ".join(said)))
    return Bypass(share, told, together.estimate, findings)


def _size(of: BySize, channel: int) -> str:
    return str(Sizes(float(of.lower[channel]), float(of.upper[channel])))


def _share(*, system: Array, media: Array | float = 0.0) -> dict[str, Array]:
    return {"share": np.asarray(bypass_share(system, media))}
