"""What penalties to expect of a year, and which sum a year keeps within: from the law of single years."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.money.penalties import Tier, owed
from hopyears.models.network.network import Service
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.money.service_money import tiers_of
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.promise import Terms

ALL = "all services"

Tiers = tuple[tuple[tuple[Tier, ...], float | None], ...]


@dataclass(frozen=True)
class Owed(Measure):
    """Penalties of a year, of all services together [money].

    Attributes
    ----------
    tiers : tuple of (tiers, cap a year)
        Of each service.
    """

    tiers: Tiers = ()

    def worst(self, periods: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sum over services of what is owed for their months, the last axis."""
        found = [owed(periods[..., i, :], own, cap) for i, (own, cap) in enumerate(self.tiers)]
        return np.asarray(np.sum(found, axis=0))


class PromisedPenalty(NamedTuple):
    """Penalties of a service, or of all [money]: mean of a year with limits, and what a year keeps within.

    ``within`` holds with the chance and confidence of the terms; infinite where the years are too few.
    """

    service: str
    mean: Interval
    within: float


def promised_penalties(
    years: YearTables, ids: Sequence[str], services: Sequence[Service], terms: Terms
) -> list[PromisedPenalty]:
    """Penalties of each service that states any, and of all of them together where they are several.

    Parameters
    ----------
    years : YearTables
    ids : sequence of str
        Services of the run in its order.
    services : sequence of Service
        Those among them whose penalties count.
    terms : Terms
    """
    stating = [service for service in services if service.penalties and service.id in ids]
    groups = [(service.id, [service]) for service in stating]
    if len(stating) > 1:
        groups.append((ALL, stating))
    found = []
    for name, some in groups:
        tiers = tuple((tiers_of(service), service.penalty_cap_per_year) for service in some)
        measure = Owed((("unavailable_s", 1.0),), monthly=True, tiers=tiers)
        law = YearLaw(years.of([ids.index(service.id) for service in some]), [measure])
        mean = law.mean_interval(0, level=terms.level)
        found.append(PromisedPenalty(name, mean, law.limit(0, chance=1.0 - terms.chance, level=terms.level)))
    return found
