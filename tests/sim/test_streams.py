"""Generators by name are those of numpy's own seeding, and share nothing."""

import hashlib

import numpy as np
import pytest

from hopyears.sim.streams import Streams


def seeded_by_numpy(seed, block, text):
    digest = hashlib.blake2b(text.encode(), digest_size=16).digest()
    words = [int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4)]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(block, *words))))


@pytest.mark.parametrize("seed", [0, 1, 2**32 - 1, 2**32, 2**63 - 1])
@pytest.mark.parametrize("block", [0, 7, 2**32, 3 * 2**40 + 25, 2**64])
def test_a_generator_is_that_of_a_seed_sequence(seed, block):
    for name, text in (((), ""), (("fades", "hill-ridge", 3), "fades\x1fhill-ridge\x1f3")):
        found, wanted = Streams(seed, block).generator(*name), seeded_by_numpy(seed, block, text)
        assert found.bit_generator.state == wanted.bit_generator.state
        assert np.array_equal(found.standard_normal(5), wanted.standard_normal(5))


def test_names_blocks_and_seeds_share_nothing():
    streams = Streams(1, 2)
    each = [streams.generator("a"), streams.generator("b"), Streams(1, 3).generator("a")]
    each += [Streams(2, 2).generator("a"), streams.beside(1).generator("a")]
    drawn = np.array([generator.random(2000) for generator in each])
    assert np.abs(np.corrcoef(drawn) - np.eye(len(each))).max() < 5.0 / np.sqrt(2000)
    assert np.array_equal(drawn[0], streams.generator("a").random(2000))
