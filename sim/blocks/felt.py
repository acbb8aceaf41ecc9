"""Which modulations of a hop services can tell apart: what they cannot feel need not be followed for them.

A link that can carry the committed rates of all who may ever cross it takes no service down and makes none
change its route, however much more it could carry: committed rates are shared out first
(``models.judging.sharing``), and all that looks for room looks at them.
"""

from collections.abc import Sequence

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.sim.services.service_data import ServiceDemand

ROUNDING_MARGIN = 1e-6
"""A link with no more room than this share over what is asked of it counts as too small: sums are rounded."""


def felt_modulations(
    demands: Sequence[ServiceDemand], links: Sequence[Sequence[int]], capacity_mbit_s: Sequence[Floats]
) -> tuple[int, ...]:
    """Lowest modulations of each hop, at least 1, that services feel the loss of; the others are one to them.

    Parameters
    ----------
    demands : sequence of ServiceDemand
    links : sequence of sequences of int
        Hops behind each link, as of ``Prepared``.
    capacity_mbit_s : sequence of float arrays
        Of one carrier of each hop, by modulation, lowest first [Mbit/s]. One by itself must do, whatever the
        others of the hop and of its bundle do.
    """
    asked_mbit_s = _asked_mbit_s(demands, len(links))
    link_of = {hop: link for link, hops in enumerate(links) for hop in hops}
    found = []
    for hop, by_modulation in enumerate(capacity_mbit_s):
        small = by_modulation < asked_mbit_s[link_of[hop]] * (1.0 + ROUNDING_MARGIN)
        found.append(min(len(small), 2 + int(np.flatnonzero(small).max(initial=-1))))
    return tuple(found)


def _asked_mbit_s(demands: Sequence[ServiceDemand], n_links: int) -> Floats:
    """Rate from which on nobody feels what more each link carries, shape (n_links,) [Mbit/s]."""
    ways = [(each.committed_ways_mbit_s, each.peak_ways_mbit_s) for each in demands]
    rates = np.reshape(np.array(ways, dtype=np.float64), (-1, 2, 2))
    # Who has bought nothing lives on what the excess of others leaves, wherever those are held back.
    shared = rates[:, 1] if (rates[:, 0] <= 0.0).any() else rates[:, 0]
    asked, least = np.zeros((n_links, 2)), np.zeros(n_links)
    for demand, rate in zip(demands, shared, strict=True):
        for link, direction in {step for route in demand.routes for step in route}:
            asked[link] += rate[::-1] if direction else rate
            least[link] = max(least[link], demand.switch_below_mbit_s)
        for ring in demand.rings:
            links = list(ring.links)
            least[links] = np.maximum(least[links], ring.degraded_below_mbit_s)
    return np.asarray(np.maximum(asked.max(axis=1), least))
