"""What services would have gained, block by block, without single things, pairs of hops, or with a plan."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from hopyears.models.equipment.plant import Plant
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.studies.counterfactual import BlockCase, Target
from hopyears.sim.studies.replicated import rows_without, unavailable_s

_Floats = NDArray[np.float64]

MOST_PAIRS = 300
"""Pairs of hops that are judged; those on different routes of one service come first."""


class GainStudy:
    """Unavailable seconds of every service in a block, as it was and in each case.

    Parameters
    ----------
    prepared : Prepared
    seed, n_years : int
        Seed of the run and years of a block.
    targets : sequence of Target
        That might never have gone wrong.
    pairs : sequence of (str, str)
        Hops of which both might never have gone wrong.
    plants : sequence of Plant
        In place of the network's own, with the same parts.
    plans : sequence of Prepared
        In place of the network; services that one lacks fare as they were.
    beside : sequence of sequence of str
        For each plan, hops of which each in turn might never have gone wrong with it.
    """

    def __init__(
        self,
        prepared: Prepared,
        seed: int,
        n_years: int,
        targets: Sequence[Target],
        pairs: Sequence[tuple[str, str]],
        plants: Sequence[Plant],
        plans: Sequence[Prepared],
        beside: Sequence[Sequence[str]],
    ) -> None:
        self._simulator = BlockSimulator(prepared)
        self._seed, self._n_years = seed, n_years
        self._targets, self._pairs, self._plants = targets, pairs, plants
        self._plans = [BlockSimulator(plan) for plan in plans]
        self._beside = beside
        self._ids = [demand.id for demand in prepared.demands]

    def block(self, number: int) -> _Floats:
        """Unavailable seconds, both ways, one row a case, shape (n_cases, n_services).

        As it was; without each target; each pair; with each plant; with each plan, and after it with the plan
        and without each of the hops beside it.
        """
        draws = self._simulator.draw(self._seed, number, self._n_years)
        case = BlockCase(self._simulator, draws)
        rows = [*rows_without(case, [*self._targets, *self._pairs, *self._plants], unavailable_s)]
        for plan, hops in zip(self._plans, self._beside, strict=True):
            other = BlockCase(plan, plan.draw(self._seed, number, self._n_years))
            names = [demand.id for demand in plan.prepared.demands]
            histories = [other.services, *(other.services_without_hops([hop]) for hop in hops)]
            for after in histories:
                lost = dict(zip(names, map(unavailable_s, after), strict=True))
                rows.append(np.array([lost.get(name, rows[0][i]) for i, name in enumerate(self._ids)]))
        return np.array(rows).reshape(len(rows), -1)


def pairs_of_hops(prepared: Prepared, hops: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs among some hops that a service may cross both of, those that may protect each other first."""
    index = {design.hop.id: i for i, design in enumerate(prepared.designs)}
    wanted = {index[hop]: hop for hop in hops}
    apart: dict[tuple[str, str], None] = {}
    along: dict[tuple[str, str], None] = {}
    for number, demand in enumerate(prepared.demands):
        routes = [{hop for link in prepared.hops_along(route) for hop in link} for route in demand.routes]
        crossed = [hop for hop in prepared.hops_crossed(number) if hop in wanted]
        for one, other in combinations(crossed, 2):
            together = any({one, other} <= route for route in routes)
            (along if together else apart)[wanted[one], wanted[other]] = None
    return [*apart, *(pair for pair in along if pair not in apart)][:MOST_PAIRS]
