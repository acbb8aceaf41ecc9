"""The surrogate of a network: gains from the blocks of a run, shares of candidates from the standards."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hopyears.sim.advice.candidates import HOP, PLAN, PLANT, SITE, Candidate
from hopyears.sim.advice.gains import GainStudy, pairs_of_hops
from hopyears.sim.advice.set_runs import SetRuns
from hopyears.sim.advice.shares import closed_form_share
from hopyears.sim.advice.surrogate import Surrogate
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.network_file import InputError, NetworkSource
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.runs.block_pool import over_blocks
from hopyears.sim.studies.counterfactual import HOP as HOP_TARGET
from hopyears.sim.studies.counterfactual import SITE as SITE_TARGET
from hopyears.sim.studies.counterfactual import Target
from hopyears.sim.studies.plan_sides import MINUTES

_Floats = NDArray[np.float64]


def surrogate_of(runs: SetRuns, candidates: Sequence[Candidate], tell: Callable[[str], None]) -> Surrogate:
    """Gains of things from the blocks of the run, shares that candidates take by the standards alone."""
    request, source = runs.request, runs.source
    base = runs.side(frozenset(), request.n_blocks)
    prepared = base.figures.prepared
    tell(f"what {len(candidates)} candidates would have saved")
    shares = np.ones(len(candidates))
    for i, each in enumerate(candidates):
        if each.kind in (HOP, SITE):
            shares[i] = _share(source, each, request.options)
    hops = list(dict.fromkeys(each.where for each in candidates if each.kind == HOP))
    sites = list(dict.fromkeys(each.where for each in candidates if each.kind == SITE))
    targets = [*(Target(HOP_TARGET, hop) for hop in hops), *(Target(SITE_TARGET, site) for site in sites)]
    if not request.options.failures:
        targets, sites = targets[: len(hops)], []
    pairs = pairs_of_hops(prepared, hops)
    options = replace(request.options, replications=0)
    changed = {
        each.id: prepare(
            read_plan(dict(each.plan), source).network,
            options,
            prepared.designs if each.kind == PLANT else None,
        )
        for each in candidates
        if each.kind in (PLANT, PLAN)
    }
    plants = [each for each in candidates if each.kind == PLANT]
    plans = [each for each in candidates if each.kind == PLAN]
    seconds = np.array(
        over_blocks(
            GainStudy,
            (
                prepared,
                request.seed,
                request.block_years,
                targets,
                pairs,
                [changed[each.id].built.plant for each in plants],
                [changed[each.id] for each in plans],
            ),
            list(range(request.n_blocks)),
            workers=request.workers,
        )
    )
    minutes = seconds.mean(axis=0) / 60.0 / request.block_years
    # The run knows more of each service than its blocks alone: gains are scaled to its best figure.
    known = np.array([base.figures.interval(i, 0).best / 60.0 for i in range(minutes.shape[1])])
    scale = np.where(minutes[0] > 0.0, known / np.where(minutes[0] > 0.0, minutes[0], 1.0), 1.0)
    gains = (minutes[0] - minutes[1:]) * np.clip(scale, 0.0, 5.0)
    return _assembled(candidates, shares, hops, sites, pairs, [*plants, *plans], gains, known)


def _assembled(
    candidates: Sequence[Candidate],
    shares: _Floats,
    hops: Sequence[str],
    sites: Sequence[str],
    pairs: Sequence[tuple[str, str]],
    direct: Sequence[Candidate],
    gains: _Floats,
    loss: _Floats,
) -> Surrogate:
    """Rows of gains put in their places: hops, sites, pairs, then candidates by themselves."""
    n_things = len(hops) + len(sites)
    row = n_things + len(pairs)
    place = {("hop", hop): i for i, hop in enumerate(hops)}
    place |= {("site", site): len(hops) + i for i, site in enumerate(sites)}
    place |= {("own", each.id): n_things + i for i, each in enumerate(direct)}
    nowhere = n_things + len(direct)
    beyond = []
    for i, (one, other) in enumerate(pairs):
        a, b = place["hop", one], place["hop", other]
        more = gains[n_things + i] - gains[a] - gains[b]
        if np.any(np.abs(more) > 1e-9):
            beyond.append((a, b, more))
    thing = [
        place.get((each.kind, each.where) if each.kind in (HOP, SITE) else ("own", each.id), nowhere)
        for each in candidates
    ]
    things = np.concatenate([gains[:n_things], gains[row:], np.zeros((1, gains.shape[1]))])
    return Surrogate(loss, things, beyond, np.array(thing, dtype=np.int64), shares)


def _share(source: NetworkSource, candidate: Candidate, options: ModelOptions) -> float:
    try:
        return closed_form_share(source, candidate, options)
    except InputError:  # no law describes the hop as the candidate would have it
        return -1.0


def worth_of_minutes(
    runs: SetRuns, surrogate: Surrogate, weights: dict[str, float], figure: str, ids: Sequence[str]
) -> _Floats:
    """What a minute of each service is worth: its weight, or the outage cost of the run by the minute."""
    if figure == MINUTES:
        return np.array([weights.get(name, 0.0) for name in ids])
    base = runs.side(frozenset(), runs.request.n_blocks)
    cost = base.by_block[figure].mean(axis=0)
    return np.where(surrogate.loss > 0.0, cost / np.where(surrogate.loss > 0.0, surrogate.loss, 1.0), 0.0)
