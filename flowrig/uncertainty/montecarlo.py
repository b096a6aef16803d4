"""Draws of causes, and of whatever was computed from them (JCGM 101:2008; clauses here from memory)."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from flowrig.uncertainty.cause import Cause, Shape
from flowrig.uncertainty.estimate import Array, Axes, Estimate, Places
from flowrig.uncertainty.propagate import Deviates, evaluate

CHUNK = 8_192  # draws; part of what a draw is, so it never changes with memory or machine
KEPT = 1024  # deviates of a chunk kept for another result that they move: 64 MB


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
    callable (cause, places) -> (array (size, n) or (size, n, number of places), axes)

    Notes
    -----
    Every direction of a cause, at every place, has a stream of its own, and so has every draw its place in it: a
    deviate is the same whether few or many are drawn, and whether its row is computed alone or among others.
    """
    known: dict[tuple[str, int], Array] = {}  # of causes with places
    shared: dict[str, Array] = {}  # of causes without, laid out once for all that they move

    def draw(cause: Cause, places: Places) -> tuple[Array, Axes]:
        if cause.each is not None:
            return laid_out(cause, places), (cause.each,)
        if cause.id not in shared:
            shape: Shape = "normal" if normal else cause.shape
            units = [_kept(seed, cause.id, direction, chunk, shape, size) for direction in range(cause.n)]
            z = units[0][:, np.newaxis] if cause.n == 1 else np.stack(units, axis=1)
            shared[cause.id] = z * student(cause)[:, np.newaxis] if few(cause) else z
        return shared[cause.id], ()

    def laid_out(cause: Cause, places: Places) -> Array:
        positions, full = places
        z = np.empty((size, cause.n, len(positions)))
        for k in range(cause.n):
            for i, place in enumerate(positions):
                direction = k * full + int(place)
                if (cause.id, direction) not in known:
                    rng = stream(seed, cause.id, direction, chunk)
                    known[cause.id, direction] = _unit(rng, "normal" if normal else cause.shape, size)
                z[:, k, i] = known[cause.id, direction]
        return z * student(cause)[:, np.newaxis, np.newaxis] if few(cause) else z

    def few(cause: Cause) -> bool:
        return cause.dof != np.inf and not normal

    def student(cause: Cause) -> Array:
        """What makes t deviates of normal ones, one chi-square a block and draw: JCGM 101:2008 6.4.9.2 and its
        multivariate form."""
        return np.sqrt(cause.dof / stream(seed, cause.sizing, 0, chunk, 1).chisquare(cause.dof, size))

    return draw


def stream(seed: int, of: str, direction: int, chunk: int, second: int = 0) -> np.random.Generator:
    key = int.from_bytes(hashlib.blake2b(f"{seed}|{of}".encode(), digest_size=16).digest(), "little")
    counter = np.array([0, second, direction, chunk], dtype=np.uint64)
    return np.random.Generator(np.random.Philox(key=key, counter=counter))


@lru_cache(KEPT)
def _kept(seed: int, of: str, direction: int, chunk: int, shape: Shape, size: int) -> Array:
    """A deviate that has no places: the lines of a plan or the points of a life draw the same ones again."""
    units = _unit(stream(seed, of, direction, chunk), shape, size)
    units.flags.writeable = False
    return units


def _unit(rng: np.random.Generator, shape: Shape, size: int) -> Array:
    """Draws of zero mean and unit variance, JCGM 101:2008 6.4."""
    if shape == "normal":
        return rng.standard_normal(size)
    if shape == "rectangular":
        return np.asarray((2.0 * rng.random(size) - 1.0) * np.sqrt(3.0))
    return np.asarray((rng.random((size, 2)).sum(axis=1) - 1.0) * np.sqrt(6.0))


def chunks(estimates: Sequence[Estimate], draws: int, seed: int = 1, *, normal: bool = False) -> Iterator[list[Array]]:
    """Draws of several estimates together, a chunk at a time: memory stays bounded whatever `draws` is."""
    done = 0
    while done < draws:
        size = min(CHUNK, draws - done)
        drawn = evaluate(estimates, deviates(seed, done // CHUNK, size, normal=normal))
        yield [np.broadcast_to(array, (size, *x.value.shape)) for x, (array, _) in zip(estimates, drawn, strict=True)]
        done += size


def sample(estimate: Estimate, draws: int, seed: int = 1, *, normal: bool = False) -> Array:
    """Draws of an estimate.

    Returns
    -------
    array, shape (draws, *estimate.value.shape)
    """
    return np.concatenate([piece[0] for piece in chunks([estimate], draws, seed, normal=normal)])
