"""The only place that makes random numbers.

Every draw belongs to a named thing: (seed, block, source, entity, purpose). A name is turned into
numbers by a stable digest, so a changed plan, another number of workers or another order of work moves
no other draw.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.random.bit_generator import ISeedSequence
from numpy.typing import NDArray

from hopyears.models.basics.kernel import inlined, kernel, written_out

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
        digest = np.frombuffer(_digest(_text(name)), dtype=np.uint8)
        seeded: Any = _Seeded(_seed_words(self._begin, digest))
        return np.random.Generator(np.random.PCG64(seeded))

    @cached_property
    def _begin(self) -> NDArray[np.uint32]:
        """Seed and block as ``numpy.random.SeedSequence`` takes an entropy and the first of a spawn key."""
        seed, block = _words(self.seed), _words(self.block)
        return np.array([*seed, *[0] * (4 - len(seed)), *block], dtype=np.uint32)

    def keys(self, names: Sequence[tuple[str | int, ...]]) -> NDArray[np.uint64]:
        """One 64-bit key per name, shape (n,), for ``keyed_uniforms``; cheap where things are many."""
        prefix = f"{self.seed}\x1f{self.block}\x1f".encode()
        words = b"".join([_digest(prefix + _text(name))[:8] for name in names])
        return np.frombuffer(words, dtype=">u8").astype(np.uint64)


class _Seeded(ISeedSequence):
    """What seeds one generator: words made already."""

    def __init__(self, words: NDArray[np.uint64]) -> None:
        self._words = words

    def generate_state(self, n_words: int, dtype: Any = np.uint32) -> NDArray[np.uint64]:
        """As PCG64 asks: four words of 64 bits."""
        return self._words


def _words(number: int) -> list[int]:
    """Words of 32 bits of a number, the lowest first."""
    return [(number >> shift) & 0xFFFFFFFF for shift in range(0, max(number.bit_length(), 1), 32)]


@kernel
def _seed_words(begin, digest):  # type: ignore[no-untyped-def]
    """What ``numpy.random.SeedSequence`` makes of some words and the four of a digest, for PCG64.

    Its own way takes ten times as long, most of it for looking at what it was given; a test compares.
    """
    entropy = np.zeros(len(begin) + 4, np.uint32)
    for i in range(len(begin)):
        entropy[i] = begin[i]
    for i in range(16):
        word = len(begin) + i // 4
        entropy[word] = entropy[word] << np.uint32(8) | np.uint32(digest[i])
    pool, factor = np.empty(4, np.uint32), np.uint32(0x43B0D7E5)
    for i in range(4):
        pool[i], factor = _hashed(entropy[i], factor, np.uint32(0x931E8875))
    for i in range(len(entropy)):
        for k in range(4):
            if i != k:
                word, factor = _hashed(pool[i] if i < 4 else entropy[i], factor, np.uint32(0x931E8875))
                pool[k] = pool[k] * np.uint32(0xCA01F9DD) - word * np.uint32(0x4973F715)
                pool[k] ^= pool[k] >> np.uint32(16)
    found, factor = np.zeros(4, np.uint64), np.uint32(0x8B51F9DD)
    for i in range(8):
        word, factor = _hashed(pool[i % 4], factor, np.uint32(0x58F38DED))
        found[i // 2] |= np.uint64(word) << np.uint64(32 * (i % 2))
    return found


@inlined
def _hashed(word, factor, step):  # type: ignore[no-untyped-def]
    """A word hashed, and the next factor."""
    word, factor = word ^ factor, np.uint32(factor * step)
    word = np.uint32(word * factor)
    return word ^ (word >> np.uint32(16)), factor


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


@written_out
def normals(key, counter):  # type: ignore[no-untyped-def]
    """Two standard normal numbers (Box and Muller) from two words of a key half-way (``stirred``)."""
    radius = np.sqrt(-2.0 * np.log(stirred_uniform(key, counter)))
    angle = 2.0 * np.pi * stirred_uniform(key, counter + 1)
    return radius * np.cos(angle), radius * np.sin(angle)


@kernel
def _mixed(value):  # type: ignore[no-untyped-def]
    value = (value ^ (value >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    value = (value ^ (value >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return value ^ (value >> np.uint64(31))
