"""What a set of candidates would save, from gains of single things and pairs: quick enough for a search.

Let r_e be the share of what thing e (a hop, a site, a candidate of its own) takes from services that a set
leaves out, G_e what a service would gain had e never gone wrong, and G_ef likewise of two. The set saves

    sum over e of r_e G_e + sum over e < f of r_e r_f (G_ef - G_e - G_f),

which is right for two hops that protect each other (either saves all: G_ef = G_e = G_f) and for two that fail
at once in a chain (each alone saves nothing). Beyond pairs it is a guess that a simulation must confirm.
Our own; the first two terms of the expansion of a set function (P. L. Hammer and S. Rudeanu,
Boolean Methods in Operations Research, 1968, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints

Set = frozenset[int]


@dataclass(frozen=True)
class Surrogate:
    """Gains of things, and how much of them candidates take.

    Attributes
    ----------
    loss : float array, shape (n_services,)
        As it is.
    gains : float array, shape (n_things, n_services)
        Had each thing never gone wrong.
    pairs : sequence of (thing, thing, float array of shape (n_services,))
        What two together gain beyond the sum of each alone.
    thing : int array, shape (n_candidates,)
        Thing of each candidate.
    share : float array, shape (n_candidates,)
        Of its thing's loss that it takes away, -1 to 1; below 0 where it makes things worse.
    """

    loss: Floats
    gains: Floats
    pairs: Sequence[tuple[int, int, Floats]]
    thing: Ints
    share: Floats

    def with_share(self, candidate: int, share: float) -> "Surrogate":
        """The same with another share of a candidate."""
        shares = self.share.copy()
        shares[candidate] = share
        return replace(self, share=shares)

    def left(self, chosen: Set) -> Floats:
        """What services still lose with a set of candidates, at least 0, shape (n_services,)."""
        kept = np.ones(len(self.gains))
        for candidate in chosen:
            kept[self.thing[candidate]] *= 1.0 - self.share[candidate]
        taken = 1.0 - kept
        saved = taken @ self.gains
        for one, other, beyond in self.pairs:
            if taken[one] and taken[other]:
                saved = saved + taken[one] * taken[other] * beyond
        return np.maximum(self.loss - saved, 0.0)
