"""Draws of causes, and of whatever was computed from them (JCGM 101:2008)."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

import numpy as np

from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Axes, Estimate
from flowrig.uncertainty.propagate import Deviates, evaluate

CHUNK = 8_192  # draws; part of what a draw is, so it never changes with memory or machine


def deviates(seed: int, chunk: int, size: int = CHUNK, *, normal: bool = False) -> Deviates:
    """Unit deviates as a function of (seed, cause id, chunk): results made apart stay aligned draw by draw.

    Parameters
    ----------
    seed : int
    chunk : int
        Which chunk of draws.
    size : int
        Draws wanted from the chunk, at most `CHUNK`.
    normal : bool
        Give every cause a normal shape, to tell curvature of the kernel apart from the shape of a cause.

    Returns
    -------
    callable (cause, length) -> (array (size, n) or (size, n, length), axes)
    """
    known: dict[str, Array] = {}

    def draw(cause: Cause, length: int) -> tuple[Array, Axes]:
        count = cause.n * length
        if cause.id not in known:
            key = int.from_bytes(hashlib.blake2b(f"{seed}|{cause.id}".encode(), digest_size=16).digest(), "little")
            bits = np.random.Philox(key=key, counter=np.array([0, 0, 0, chunk], dtype=np.uint64))
            known[cause.id] = _unit(np.random.Generator(bits), cause, size, count, normal)
        z = known[cause.id]
        if cause.each is None:
            return z, ()
        return z.reshape(size, cause.n, length), (cause.each,)

    return draw


def _unit(rng: np.random.Generator, cause: Cause, size: int, count: int, normal: bool) -> Array:
    if normal or cause.shape == "normal":
        z = rng.standard_normal((size, count))
        if cause.dof != np.inf and not normal:
            # t deviates, one chi-square a block and draw: JCGM 101:2008 6.4.9.2 and its multivariate form
            z *= np.sqrt(cause.dof / rng.chisquare(cause.dof, (size, 1)))
        return z
    if cause.shape == "rectangular":
        return np.asarray((2.0 * rng.random((size, count)) - 1.0) * np.sqrt(3.0))
    return np.asarray((rng.random((size, count)) + rng.random((size, count)) - 1.0) * np.sqrt(6.0))


def chunks(estimates: Sequence[Estimate], draws: int, seed: int = 1, *, normal: bool = False) -> Iterator[list[Array]]:
    """Draws of several estimates together, a chunk at a time: memory stays bounded whatever `draws` is."""
    done = 0
    while done < draws:
        size = min(CHUNK, draws - done)
        drawn = evaluate(estimates, deviates(seed, done // CHUNK, size, normal=normal))
        yield [np.broadcast_to(array, (size, *array.shape[1:])) for array, _ in drawn]
        done += size


def sample(estimate: Estimate, draws: int, seed: int = 1, *, normal: bool = False) -> Array:
    """Draws of an estimate.

    Returns
    -------
    array, shape (draws, *estimate.value.shape)
    """
    return np.concatenate([piece[0] for piece in chunks([estimate], draws, seed, normal=normal)])
