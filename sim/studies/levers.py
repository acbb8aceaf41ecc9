"""What keeps a contract from more: its figures had each hop, site, kind of part or cause never gone wrong.

Counterfactuals of the run's own blocks, so by the simulated years alone.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.years import any_year_chance
from hopyears.sim.rare.year_law import YearLaw
from hopyears.sim.rare.year_tables import YearsMet
from hopyears.sim.runs.block_pool import Workers, over_blocks
from hopyears.sim.runs.promise import figure_of, limits_of, measures_of
from hopyears.sim.runs.promise_terms import Promise, PromiseTerms
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.studies.counterfactual import sharing_groups, targets_of
from hopyears.sim.studies.replicated import MonthStudy

AS_IT_IS = "as it is"
"""Kind of the row in which everything goes wrong as it did."""


def levers(
    run: OpenedRun,
    promises: Sequence[Promise],
    terms: PromiseTerms,
    *,
    n_blocks: int,
    workers: Workers = 1,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> pd.DataFrame:
    """Figures of each contract as they are and without each thing that may go wrong.

    Parameters
    ----------
    run : OpenedRun
    promises : sequence of Promise
    terms : PromiseTerms
    n_blocks : int
        The first so many blocks of the run, at least 1.
    workers : int
    progress : callable
        Called with (blocks done, blocks in all).

    Returns
    -------
    DataFrame
        Table ``levers`` of ``sim.wording.columns``: ``AS_IT_IS`` first, then the largest gain first.
    """
    prepared, network = run.prepared, run.folder.network()
    ids, group = [demand.id for demand in prepared.demands], sharing_groups(prepared)
    asked = {group[ids.index(service)] for promise in promises for service in promise.services}
    judged = [s for s in range(len(ids)) if group[s] in asked]
    targets = targets_of(prepared, judged)
    blocks = run.folder.finished_blocks()[:n_blocks]
    arguments = (prepared, run.seed, run.block_years, targets, judged)
    months = np.concatenate(
        over_blocks(MonthStudy, arguments, blocks, workers=workers, progress=progress), axis=2
    )
    heads = [(AS_IT_IS, ""), *((target.kind, target.name) for target in targets)]
    rows = []
    for promise in promises:
        own = [judged.index(ids.index(service)) for service in promise.services]
        found = [
            _row(promise, np.moveaxis(case[own], 0, 1), network, terms, run.block_years) for case in months
        ]
        rows += [
            {"contract": promise.name, "kind": kind, "target": name, **found[i]}
            for i, (kind, name) in sorted(
                enumerate(heads), key=lambda each: (each[0] > 0, found[each[0]]["_key"])
            )
        ]
    return table_of("levers", rows)


def _row(
    promise: Promise, years: Any, network: Mapping[str, Any], terms: PromiseTerms, block_years: int
) -> dict[str, Any]:
    """Figures of a contract in some years, shape (n_years, n_services, 12, n_figures)."""
    law = YearLaw(YearsMet(years, np.zeros_like(years), block_years), measures_of(promise, network))
    term, measure = promise.first_term, law.mean(0)
    limit = law.limit(0, chance=1.0 - terms.chance ** (1.0 / promise.years), level=terms.level)
    row: dict[str, Any] = {"figure": term, "mean": figure_of(term, measure)}
    row["can_be_promised"] = figure_of(term, limit)
    broken = 0.0
    if promise.asked:
        chance = law.break_chance(limits_of(promise), level=terms.level)
        put_interval(row, "contract_break_chance", any_year_chance(chance, promise.years))
        broken = chance.best
    return {**row, "_key": (limit, broken, measure)}
