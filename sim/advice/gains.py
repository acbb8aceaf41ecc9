"""What services would have gained, block by block, without single things, pairs of hops, or with a plan."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.equipment.plant import Plant
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.studies.counterfactual import BlockCase
from hopyears.sim.studies.replicated import RunStudy, rows_without, unavailable_s

MOST_PAIRS = 300
"""Pairs of hops that are judged; those on different routes of one service come first."""


@dataclass(frozen=True)
class GainStudy(RunStudy):
    """Unavailable seconds of every service in a block, as it was and in each case.

    Attributes
    ----------
    pairs : sequence of (str, str)
        Hops of which both might never have gone wrong.
    plants : sequence of Plant
        In place of the network's own, with the same parts.
    plans : sequence of Prepared
        In place of the network; services that one lacks fare as they were.
    beside : sequence of sequence of str
        For each plan, hops of which each in turn might never have gone wrong with it.
    """

    pairs: Sequence[tuple[str, str]]
    plants: Sequence[Plant]
    plans: Sequence[Prepared]
    beside: Sequence[Sequence[str]]

    @cached_property
    def _simulators(self) -> list[BlockSimulator]:
        return [BlockSimulator(plan) for plan in self.plans]

    def block(self, number: int) -> Floats:
        """Unavailable seconds, both ways, one row a case, shape (n_cases, n_services).

        As it was; without each target; each pair; with each plant; with each plan, and after it with the plan
        and without each of the hops beside it.
        """
        case = BlockCase(self.simulator, self.draws(number))
        rows = [*rows_without(case, [*self.targets, *self.pairs, *self.plants], unavailable_s)]
        ids = [demand.id for demand in self.prepared.demands]
        for plan, hops in zip(self._simulators, self.beside, strict=True):
            other = BlockCase(plan, plan.draw(self.seed, number, self.n_years))
            names = [demand.id for demand in plan.prepared.demands]
            histories = [other.services, *(other.services_without_hops([hop]) for hop in hops)]
            for after in histories:
                lost = dict(zip(names, map(unavailable_s, after), strict=True))
                rows.append(np.array([lost.get(name, rows[0][i]) for i, name in enumerate(ids)]))
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
