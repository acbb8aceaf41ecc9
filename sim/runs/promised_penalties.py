"""What penalties to expect of a year, and which sum a year keeps within: from the law of single years."""

from collections.abc import Sequence
from typing import NamedTuple

from hopyears.models.network.network import Service
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.money.service_money import one_outage_costs, owed_law
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.promise_terms import PromiseTerms

ALL = "all services"


class PromisedPenalty(NamedTuple):
    """Penalties of a service, or of all [money]: mean of a year with limits, and what a year keeps within.

    ``within`` holds with the chance and confidence of the terms; infinite where the years are too few.
    """

    service: str
    mean: Interval
    within: float


def promised_penalties(
    years: YearTables, ids: Sequence[str], services: Sequence[Service], terms: PromiseTerms
) -> list[PromisedPenalty]:
    """Penalties of each service that states any, and of all of them together where they are several.

    Parameters
    ----------
    years : YearTables
    ids : sequence of str
        Services of the run in its order.
    services : sequence of Service
        Those among them whose penalties count.
    terms : PromiseTerms
    """
    stating = [service for service in services if service.penalties and service.id in ids]
    groups = [(service.id, [service]) for service in stating]
    if len(stating) > 1:
        groups.append((ALL, stating))
    found = []
    for name, some in groups:
        law = owed_law(years.of([ids.index(service.id) for service in some]), some)
        largest = sum(map(one_outage_costs, some))
        mean = law.mean_interval(0, level=terms.level, largest=largest)
        found.append(PromisedPenalty(name, mean, law.limit(0, chance=1.0 - terms.chance, level=terms.level)))
    return found
