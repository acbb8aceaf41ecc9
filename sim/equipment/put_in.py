"""Failures put into a history by hand, beside those that come by themselves.

A failure that is rare is put into an ordinary history and what it adds is weighted by its known rate. Kinds
of failure treated so must not also come by themselves after it: see ``sim.rare.forced``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats


@dataclass(frozen=True)
class PutIn:
    """Failures and strikes put in, and parts that wear out, and lightning that strikes, only before a time.

    Attributes
    ----------
    times_s : mapping of int to tuple of float
        Times [s] at which a part fails, by part. A part that is down then, or rests, does not fail.
    rare : bool array, shape (n_parts,), or None
        Parts that fail by themselves only before ``only_before_s``; None: no part is held back. Lightning
        strikes them all the same.
    only_before_s : float
        Time [s] from which the rare parts no longer fail by themselves; minus infinity: they never do.
    struck_s : mapping of int to tuple of float
        Times [s] at which lightning kills a part, by part; one that is down then is not hit.
    rarely_struck : bool array, shape (n_parts,), or None
        Parts that lightning hits by itself only before ``only_before_s``.
    """

    times_s: Mapping[int, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))
    rare: Bools | None = None
    only_before_s: float = np.inf
    struck_s: Mapping[int, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))
    rarely_struck: Bools | None = None

    def hits_s(self, hits: Mapping[int, Sequence[float]]) -> dict[int, list[float]]:
        """Times [s] at which lightning kills each part, of those by itself and those put in; increasing."""
        found = {part: list(times) for part, times in hits.items()}
        if self.rarely_struck is not None:
            for part in found.keys() & set(np.flatnonzero(self.rarely_struck).tolist()):
                found[part] = [hit for hit in found[part] if hit < self.only_before_s]
        for part, times in self.struck_s.items():
            found[part] = sorted([*found.get(part, ()), *times])
        return {part: times for part, times in found.items() if times}

    def worn_s(self, first_s: Floats) -> Floats:
        """Times [s] at which all parts would first wear out, infinite for those that no longer do."""
        if self.rare is None:
            return first_s
        return np.where(self.rare & (first_s >= self.only_before_s), np.inf, first_s)

    def again_s(self, part: int, worn_s: float) -> float:
        """Time [s] at which a mended part would wear out next, likewise."""
        held = self.rare is not None and self.rare[part] and worn_s >= self.only_before_s
        return np.inf if held else worn_s


NOTHING_PUT_IN = PutIn()
