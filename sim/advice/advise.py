"""What to buy: candidates judged on one run, sets of them searched, and the best confirmed by simulation."""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import pyarrow as pa

from hopyears.models.basics.arrays import Floats
from hopyears.sim.advice.candidates import PLAN, Candidate, exclusive, made_candidates
from hopyears.sim.advice.confirm import Goal, contend, order_table, promising_sets
from hopyears.sim.advice.estimate import corrected, surrogate_of, worth_of_minutes
from hopyears.sim.advice.market import candidate_table, of_use, priced
from hopyears.sim.advice.search import Choice
from hopyears.sim.advice.set_runs import SetRuns
from hopyears.sim.advice.surrogate import Set, Surrogate
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.input_errors import InputError, place_among
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.money.network_costs import terms_of
from hopyears.sim.money.service_money import judged_in_money
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.runs.together import simulate_together
from hopyears.sim.storage.table_files import write_table
from hopyears.sim.studies.plan_sides import COST, MINUTES

CORRECTIONS = 4
"""Times that sets are searched, at most, before they are compared: what their members save by themselves is
simulated in between."""

OPTIONS = ModelOptions(replications=16)
"""A third of a run's usual histories: in differences of many sets, weather is soon the less sure part."""


class Advice(NamedTuple):
    """Frames ``purchases`` (in order), ``contenders`` and ``candidates``."""

    purchases: pd.DataFrame
    contenders: pd.DataFrame
    candidates: pd.DataFrame


def advise(
    source: NetworkSource,
    goal: Goal,
    request: RunRequest,
    out: Path,
    *,
    named: Sequence[Candidate] = (),
    made: bool = True,
    tell: Callable[[str], None] = lambda text: None,
) -> Advice:
    """Find what to buy, in which order.

    Candidates are judged on the blocks of one run by counterfactuals and closed forms; sets of them are
    searched on a surrogate made of these; members of the best sets are simulated one by one, which puts the
    surrogate right, and it is searched again; the best few are simulated, with more blocks where the choice
    is open, and then the winner step by step, each beside its next best.

    Parameters
    ----------
    source : NetworkSource
        With prices.
    goal : Goal
    request : RunRequest
        Its years are the most that any set gets.
    out : Path
        Folder of the runs, which are kept, and of the frames as Parquet files.
    named : sequence of Candidate
        Of the user.
    made : bool
        Also those that the network suggests.
    tell : callable
        Called with what is being done.

    Raises
    ------
    InputError
        If the network has no prices, the target no service, or a named candidate leads to no network.
    """
    network, terms = source.network, terms_of(source.network)
    if terms is None:
        raise InputError(
            f"{source.name}: prices is missing; must be given: advice weighs gains against money"
        )
    ids = [service.id for service in network.services]
    if goal.budget is None:
        place_among(ids, goal.service, "--target service", "a service")
    runs = SetRuns(source, (), request, out, tell)
    simulate_together([(source, out / "base")], request)
    tables = Results.load(out / "base").tables
    market = priced(source, [*named, *(of_use(made_candidates(network), tables) if made else [])], terms)
    runs.candidates = market.candidates
    surrogate = surrogate_of(runs, market.candidates, tell)
    money = goal.budget is not None and any(map(judged_in_money, network.services))
    weights = {goal.service: 1.0} if goal.budget is None else {s.id: s.weight for s in network.services}
    figure = COST if money else MINUTES
    per_loss = worth_of_minutes(runs, surrogate, weights, figure, ids)
    pairs = combinations(enumerate(market.candidates), 2)
    apart = frozenset((i, j) for (i, one), (j, other) in pairs if exclusive(one, other))
    simulated: set[int] = set()
    for _ in range(CORRECTIONS):
        choice = Choice(market.present, apart, partial(_harm, surrogate, per_loss))
        sets = promising_sets(goal, choice, runs, weights, figure)
        members = [
            i for i in sorted(frozenset().union(*sets) - simulated) if market.candidates[i].kind != PLAN
        ]
        if not members:
            break
        surrogate = corrected(surrogate, members, runs, weights, figure, per_loss)
        simulated |= {*members}
    contenders, winner, n_blocks = contend(sets, runs, weights, figure, choice, goal)
    purchases = order_table(winner, n_blocks, runs, weights, figure, choice, market, goal)
    found = Advice(purchases, contenders, candidate_table(market, choice, winner))
    for name, frame in found._asdict().items():
        write_table(out / f"{name}.parquet", pa.Table.from_pandas(frame, preserve_index=False))
    return found


def _harm(surrogate: Surrogate, per_loss: Floats, chosen: Set) -> float:
    """What services lose with a set, by what a minute of each is worth."""
    return float(per_loss @ surrogate.left(chosen))
