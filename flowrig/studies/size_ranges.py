"""Over which ranges of size a counter tells an average: published ones as far as its channels reach, and channels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from flowrig.physics.size_averages import AVERAGED, CLEAN_AIR_RANGES, SAME, log_size_weights
from flowrig.records.sizes import Sizes, micrometres
from flowrig.studies.by_size import BySize
from flowrig.studies.within_channels import ONE_CHANNEL, range_limits
from flowrig.uncertainty.estimate import Array

LEAST_SHARE = 0.5  # of a published range on the logarithmic scale, else it is not told; own judgement, no source


@dataclass(frozen=True)
class Range:
    """A range of sizes with what each channel has in it.

    Attributes
    ----------
    name : str
        ``smoke``, ``0.3_to_1_um``, ``channel_0.3_to_0.5_um``.
    words : str
        ``smoke range from 0.3 um``, ``0.3 to 1 um``.
    sizes : Sizes
    weights : array, shape (k,)
        NaN where the channels do not cover it.
    limit : float
        By how much its mean may be off as its channels hold other sizes than their means; NaN where that is not known.
    channel : bool
        A channel of the counter, with what was in it.
    """

    name: str
    words: str
    sizes: Sizes
    weights: Array
    limit: float
    channel: bool = False

    @property
    def label(self) -> str:
        """Never without its sizes."""
        full = self.words if self.words == str(self.sizes) else f"{self.words} ({self.sizes})"
        return f"channel {full}" if self.channel else full

    @property
    def told(self) -> bool:
        return math.isfinite(self.limit) and bool(np.all(np.isfinite(self.weights)))


@dataclass
class Told:
    """The published ranges that a counter tells.

    Attributes
    ----------
    ranges : list of Range
    missing : dict of str to str
        Why one is not told, by its name.
    not_whole : list of str
        Which are told in part, in words.
    """

    ranges: list[Range] = field(default_factory=list)
    missing: dict[str, str] = field(default_factory=dict)
    not_whole: list[str] = field(default_factory=list)


def published_ranges(by_size: BySize) -> Told:
    """Smoke, dust and pollen as far as they are covered, and the ranges of the standard's averages.

    Parameters
    ----------
    by_size : BySize
    """
    found = Told()
    for name, ends in CLEAN_AIR_RANGES.items():
        whole, part = Sizes(*ends), _covered(by_size, *ends)
        if part is None or _length(part) < LEAST_SHARE * _length(whole):
            held = str(part) if part is not None else "nothing"
            found.missing[name] = f"{whole}; the channels with both ends cover {held} of it"
            continue
        own = range_over(by_size, part, name, _in_words(name, whole, part))
        if not own.told:
            found.missing[name] = f"{whole}: {ONE_CHANNEL}"
            continue
        found.ranges.append(own)
        if part != whole:
            found.not_whole.append(f"{own.words}: the range is {whole}")
    for ends in AVERAGED.values():
        whole = Sizes(*ends)
        if _covered(by_size, *ends) == whole and not any(whole.same(own.sizes) for own in found.ranges):
            found.ranges += [own for own in (range_over(by_size, whole),) if own.told]
    return found


def range_over(by_size: BySize, sizes: Sizes, name: str = "", words: str = "") -> Range:
    """Any range of sizes; it is told only if the channels cover it.

    Parameters
    ----------
    by_size : BySize
    sizes : Sizes
    name, words : str
        By default the sizes themselves.
    """
    weights = np.asarray(log_size_weights(by_size.lower, by_size.upper, sizes.lower, sizes.upper))
    return Range(name or _name(sizes), words or str(sizes), sizes, weights, range_limits(by_size, sizes, weights))


def channels(by_size: BySize) -> Iterator[Range]:
    """Each channel, the open one too."""
    for weights, lower, upper in zip(np.eye(len(by_size)), by_size.lower, by_size.upper, strict=True):
        sizes = Sizes(float(lower), float(upper))
        yield Range(f"channel_{_name(sizes)}", str(sizes), sizes, weights, 0.0, channel=True)


def _covered(by_size: BySize, lower: float, upper: float) -> Sizes | None:
    """The longest part of a range that channels with both ends and a value cover without a gap."""
    best: Sizes | None = None
    begins = ends = math.nan
    for a, b, value in zip(by_size.lower, by_size.upper, by_size.penetration.value, strict=True):
        bottom, top = max(float(a), lower), min(float(b), upper)
        if not (math.isfinite(b) and math.isfinite(value) and top > bottom):
            continue
        if not abs(bottom / ends - 1.0) < SAME:
            begins = bottom
        ends = top
        if best is None or ends / begins > best.upper / best.lower:
            best = Sizes(begins, ends)
    whole = Sizes(lower, upper)
    return whole if best is not None and best.same(whole) else best


def _in_words(name: str, whole: Sizes, part: Sizes) -> str:
    words = f"{name} range"
    if part.lower > whole.lower * (1.0 + SAME):
        words += f" from {micrometres(part.lower)} um"
    if part.upper < whole.upper * (1.0 - SAME):
        words += f" up to {micrometres(part.upper)} um"
    return words


def _length(sizes: Sizes) -> float:
    return math.log(sizes.upper / sizes.lower)


def _name(sizes: Sizes) -> str:
    return str(sizes).replace(" ", "_")
