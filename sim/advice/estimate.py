"""The surrogate of a network: gains from the blocks of a run, shares of candidates from the standards."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.equipment.plant import Plant
from hopyears.sim.advice.allocation import FIRST_BLOCKS
from hopyears.sim.advice.candidates import HOP, PLAN, PLANT, SITE, Candidate
from hopyears.sim.advice.set_runs import SetRuns
from hopyears.sim.advice.shares import closed_form_share
from hopyears.sim.advice.surrogate import Surrogate
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared, prepare, stormy_share
from hopyears.sim.equipment.plant_builder import build_plant
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.runs.block_pool import over_blocks
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.studies.counterfactual import BlockCase
from hopyears.sim.studies.plan_sides import MINUTES
from hopyears.sim.studies.replicated import RunStudy, rows_without, unavailable_s
from hopyears.sim.studies.targets import HOP as HOP_TARGET
from hopyears.sim.studies.targets import SITE as SITE_TARGET
from hopyears.sim.studies.targets import Target

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


Thing = tuple[str, str]
"""What might be better: its kind (of ``candidates``) and its name."""

GAIN_YEARS = 50
"""Blocks of the run on which gains are judged."""

MOST_NAMED_PAIRS = 15
"""Pairs of the user's own candidates that are judged together, the first of the file."""


def surrogate_of(runs: SetRuns, candidates: Sequence[Candidate], tell: Callable[[str], None]) -> Surrogate:
    """Gains of things from the blocks of the run, shares that candidates take by the standards alone."""
    request, source = runs.request, runs.source
    base = runs.side(frozenset(), request.n_blocks)
    tell(f"what {len(candidates)} candidates would have saved")
    shares = np.ones(len(candidates))
    for i, each in enumerate(candidates):
        if each.kind in (HOP, SITE):
            shares[i] = _share(source, each, base.figures.prepared)
    cases, arguments = _cases(source, base.figures.prepared, candidates, request)
    seconds = np.array(
        over_blocks(
            GainStudy,
            (base.figures.prepared, request.seed, request.block_years, *arguments),
            list(range(min(request.n_blocks, -(-GAIN_YEARS // request.block_years)))),
            workers=request.workers,
        )
    )
    minutes = seconds.mean(axis=0) / 60.0 / request.block_years
    # The run knows more of each service than its blocks alone: gains are scaled to its best figure.
    known = np.array([base.figures.interval(i, 0).best / 60.0 for i in range(minutes.shape[1])])
    scale = np.where(minutes[0] > 0.0, known / np.where(minutes[0] > 0.0, minutes[0], 1.0), 1.0)
    gains = (minutes[0] - minutes[1:]) * np.clip(scale, 0.0, 5.0)
    return assembled(candidates, shares, cases, gains, known)


def thing_of(candidate: Candidate) -> Thing:
    """What a candidate makes better: its hop or site, else a thing of its own."""
    own = candidate.where if candidate.kind in (HOP, SITE) else candidate.id
    return candidate.kind, own


def _cases(
    source: NetworkSource, prepared: Prepared, candidates: Sequence[Candidate], request: RunRequest
) -> tuple[list[tuple[Thing, ...]], tuple[object, ...]]:
    """What each row of ``GainStudy`` is, after the first, and what the study takes."""
    hops, sites = (
        list(dict.fromkeys(each.where for each in candidates if each.kind == kind)) for kind in (HOP, SITE)
    )
    sites = sites if request.options.failures else []
    pairs = pairs_of_hops(prepared, hops)
    options = replace(request.options, replications=0)

    def with_all(some: Sequence[Candidate]) -> Prepared:
        changed = source
        for each in some:
            changed = read_plan(dict(each.plan), changed)
        return prepare(changed.network, options)

    def plant_with(some: Candidate) -> Plant:
        changed = read_plan(dict(some.plan), source).network
        return build_plant(changed, prepared.designs, stormy_share(prepared)).plant

    plants = [each for each in candidates if each.kind == PLANT]
    named = [each for each in candidates if each.kind == PLAN]
    plans: list[tuple[tuple[Candidate, ...], Prepared]] = [((each,), with_all([each])) for each in named]
    for both in [*combinations(named, 2)][:MOST_NAMED_PAIRS]:
        with suppress(InputError):  # two that cannot be together
            plans.append((both, with_all(both)))
    beside = [
        [hop for hop in hops if len(some) == 1 and hop in {d.hop.id for d in plan.designs}]
        for some, plan in plans
    ]
    cases: list[tuple[Thing, ...]] = [((HOP, hop),) for hop in hops]
    cases += [((SITE, site),) for site in sites]
    cases += [((HOP, one), (HOP, other)) for one, other in pairs]
    cases += [(thing_of(each),) for each in plants]
    for (some, _), own in zip(plans, beside, strict=True):
        things = tuple(thing_of(each) for each in some)
        cases += [things, *((*things, (HOP, hop)) for hop in own)]
    targets = [*(Target(HOP_TARGET, hop) for hop in hops), *(Target(SITE_TARGET, site) for site in sites)]
    built = [plant_with(each) for each in plants]
    return cases, (targets, pairs, built, [plan for _, plan in plans], beside)


def assembled(
    candidates: Sequence[Candidate],
    shares: Floats,
    cases: Sequence[tuple[Thing, ...]],
    gains: Floats,
    loss: Floats,
) -> Surrogate:
    """Rows of gains put in their places.

    Parameters
    ----------
    candidates : sequence of Candidate
    shares : float array, shape (n_candidates,)
    cases : sequence of tuples of things
        One thing or two for each row.
    gains : float array, shape (n_cases, n_services)
    loss : float array, shape (n_services,)
    """
    singles = [i for i, case in enumerate(cases) if len(case) == 1]
    place = {cases[i][0]: number for number, i in enumerate(singles)}
    beyond = []
    for i, case in enumerate(cases):
        if len(case) == 2:
            one, other = (place[thing] for thing in case)
            more = gains[i] - gains[singles[one]] - gains[singles[other]]
            if np.any(np.abs(more) > 1e-9):
                beyond.append((one, other, more))
    thing = np.array([place.get(thing_of(each), len(singles)) for each in candidates], dtype=np.int64)
    # The last thing is one that nothing is known of, and that gains nothing.
    things = np.concatenate([gains[singles], np.zeros((1, gains.shape[1]))])
    return Surrogate(loss, things, beyond, thing, shares)


def _share(source: NetworkSource, candidate: Candidate, base: Prepared) -> float:
    try:
        return closed_form_share(source, candidate, base)
    except InputError:  # no law describes the hop as the candidate would have it
        return -1.0


def corrected(
    surrogate: Surrogate,
    members: Sequence[int],
    runs: SetRuns,
    weights: dict[str, float],
    figure: str,
    per_loss: Floats,
) -> Surrogate:
    """The surrogate with what some candidates save by themselves in the first blocks of a simulation.

    Of a candidate whose thing costs services nothing, or less than chance can tell, nothing is changed.
    """
    n = min(FIRST_BLOCKS, runs.request.n_blocks)
    runs.ready((frozenset((i,)) for i in members), n)
    nothing = runs.values(frozenset(), weights, figure, n)
    for i in members:
        saved = nothing - runs.values(frozenset((i,)), weights, figure, n)
        whole = float(per_loss @ surrogate.gains[surrogate.thing[i]])
        if whole > 1e-9:
            share = float(np.clip(saved.mean() / whole, -1.0, 1.0))
            surrogate = surrogate.with_share(i, share)
    return surrogate


def worth_of_minutes(
    runs: SetRuns, surrogate: Surrogate, weights: dict[str, float], figure: str, ids: Sequence[str]
) -> Floats:
    """What a minute of each service is worth: its weight, or the outage cost of the run by the minute."""
    if figure == MINUTES:
        return np.array([weights.get(name, 0.0) for name in ids])
    base = runs.side(frozenset(), runs.request.n_blocks)
    cost = np.array(
        [sum(float(units.mean()) for units, _ in base.units(name, figure) if units.size) for name in ids]
    )
    return np.where(surrogate.loss > 0.0, cost / np.where(surrogate.loss > 0.0, surrogate.loss, 1.0), 0.0)
