"""The only place that makes random numbers.

Every draw belongs to a named thing: (seed, block, source, entity, purpose). A name is turned into
numbers by a stable digest, so a changed plan, another number of workers or another order of work moves
no other draw.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.kernel import kernel

_WORD = 0xFFFFFFFF
_BESIDE = 2**40
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


@lru_cache(maxsize=1 << 16)
def _text(parts: tuple[str | int, ...]) -> bytes:
    return "\x1f".join(map(str, parts)).encode()


def _digest(text: bytes) -> bytes:
    return hashlib.blake2b(text, digest_size=16).digest()


@dataclass(frozen=True)
class Streams:
    """Named random streams of one block of one run.

    Parameters
    ----------
    seed : int
        Seed of the run, at least 0.
    block : int
        Number of the block, at least 0.
    """

    seed: int
    block: int

    def beside(self, number: int) -> "Streams":
        """Streams of the same names that share nothing with these, nor with those of any block."""
        return Streams(self.seed, self.block + number * _BESIDE)

    @property
    def are_beside(self) -> bool:
        """Whether these are of a history beside a block."""
        return self.block >= _BESIDE

    def generator(self, *name: str | int) -> np.random.Generator:
        """Generator of the stream called ``name``, for instance ``("fades", "mill-ridge")``.

        The same (seed, block, name) gives the same draws wherever and whenever it is made.
        """
        digest = _digest(_text(name))
        words = tuple(int.from_bytes(digest[i : i + 4], "big") & _WORD for i in range(0, 16, 4))
        sequence = np.random.SeedSequence(entropy=self.seed, spawn_key=(self.block, *words))
        return np.random.Generator(np.random.PCG64(sequence))

    def keys(self, names: Sequence[tuple[str | int, ...]]) -> NDArray[np.uint64]:
        """One 64-bit key per name, shape (n,), for ``keyed_uniforms``; cheap where things are many."""
        prefix = f"{self.seed}\x1f{self.block}\x1f".encode()
        words = b"".join([_digest(prefix + _text(name))[:8] for name in names])
        return np.frombuffer(words, dtype=">u8").astype(np.uint64)


@kernel
def keyed_uniforms(keys, counters):  # type: ignore[no-untyped-def]
    """Uniform draws in (0, 1), of these numbers of each key's own stream.

    Parameters
    ----------
    keys : uint64 array, shape (n,)
    counters : uint64 array, shape (m,)

    Returns
    -------
    array, shape (n, m)

    References
    ----------
    SplitMix64: G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators,
    OOPSLA 2014, applied twice so that neighbouring keys and counters share nothing.
    """
    found = np.empty((len(keys), len(counters)))
    for i in range(len(keys)):
        for j in range(len(counters)):
            found[i, j] = keyed_uniform(keys[i], counters[j])
    return found


@kernel
def keyed_word(key, counter):  # type: ignore[no-untyped-def]
    """Word number ``counter`` of a key's own stream, for loops: the key of something that belongs to it."""
    return stirred_word(stirred(key), counter)


@kernel
def keyed_uniform(key, counter):  # type: ignore[no-untyped-def]
    """As ``keyed_uniforms``, one number, for loops."""
    return stirred_uniform(stirred(key), counter)


@kernel
def stirred(key):  # type: ignore[no-untyped-def]
    """Half of the way to every word of a key, for loops that ask for many, here and there."""
    return _mixed(np.uint64(key) + _GOLDEN)


@kernel
def stirred_word(half_way, counter):  # type: ignore[no-untyped-def]
    """As ``keyed_word``, of what ``stirred`` made of the key."""
    return _mixed(np.uint64(half_way) + (np.uint64(counter) + np.uint64(1)) * _GOLDEN)


@kernel
def stirred_uniform(half_way, counter):  # type: ignore[no-untyped-def]
    """As ``keyed_uniform``, of what ``stirred`` made of the key."""
    # As a whole number with a sign: what vector instructions can turn into a float.
    return (np.float64(np.int64(stirred_word(half_way, counter) >> np.uint64(11))) + 0.5) * 2.0**-53


@kernel
def _mixed(value):  # type: ignore[no-untyped-def]
    value = (value ^ (value >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    value = (value ^ (value >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return value ^ (value >> np.uint64(31))
