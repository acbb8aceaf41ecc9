"""Candidates with their prices: what each costs, what of it has no price, what it would save by itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hopyears.models.money.costs import Terms
from hopyears.sim.advice.candidates import PLAN, PLANT, Candidate
from hopyears.sim.advice.search import Choice
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.money.network_costs import cost_rows
from hopyears.sim.studies.plan_tables import changed_rows

Set = frozenset[int]


@dataclass(frozen=True)
class Market:
    """Candidates with their prices and what the search needs to know of them."""

    candidates: Sequence[Candidate]
    capital: Sequence[float]
    yearly: Sequence[float]
    present: Sequence[float]
    missing: Sequence[str]


def priced(source: NetworkSource, candidates: Sequence[Candidate], terms: Terms) -> Market:
    """Candidates that lead to a network, with their money; of those made, only what has a price."""
    kept, money, missing = [], [], []
    before = cost_rows(source.network)
    for each in candidates:
        try:
            after = cost_rows(read_plan(dict(each.plan), source).network)
        except InputError:
            if each.kind == PLAN:
                raise
            continue
        unpriced = {
            item for (_, item, _), _, cost in changed_rows(before, after, terms) if np.isnan(cost.present)
        }
        cost = terms.cost_of(after) - terms.cost_of(before)
        if cost.present <= 0.0 and unpriced and each.kind != PLAN:
            continue
        kept.append(each)
        money.append(cost)
        missing.append(", ".join(sorted(unpriced)))
    return Market(
        kept,
        [cost.capital for cost in money],
        [cost.yearly for cost in money],
        [max(cost.present, 0.0) for cost in money],
        missing,
    )


def of_use(candidates: Sequence[Candidate], tables: Mapping[str, pd.DataFrame]) -> list[Candidate]:
    """Candidates without those for what never went wrong in a run.

    Batteries and generators of sites that were never dark, spares that nobody waited for, crews where nobody
    waited for one.

    Parameters
    ----------
    candidates : sequence of Candidate
    tables : mapping of str to DataFrame
        ``site_failures`` and ``part_failures`` of the run.
    """
    sites, parts = tables["site_failures"].set_index("site"), tables["part_failures"].set_index("kind")
    dark = sites["dark_per_year"] > 0.0
    waited = parts["waiting_for_spare_h_per_year"] > 0.0
    queued = bool((parts["waiting_for_crew_h_per_year"] > 0.0).any())

    def useful(each: Candidate) -> bool:
        if each.kind != PLANT:
            return True
        first, _, rest = each.where.partition("/")
        if rest == "power":
            return bool(dark.get(first, True))
        return bool(waited.get(rest.partition("/")[0], True)) if rest else queued

    return [each for each in candidates if useful(each)]


def candidate_table(market: Market, choice: Choice, winner: Set) -> pd.DataFrame:
    """Every candidate: its money, what it would save by itself, and whether it is bought."""
    nothing = choice.harm(frozenset())
    saved = [nothing - choice.harm(frozenset((i,))) for i in range(len(market.candidates))]
    table = pd.DataFrame(
        {
            "candidate": [each.id for each in market.candidates],
            "changes": [each.kind for each in market.candidates],
            "capital": market.capital,
            "yearly": market.yearly,
            "present": market.present,
            "without_price": market.missing,
            "guessed_saved": saved,
            "chosen": [i in winner for i in range(len(market.candidates))],
        }
    )
    table["_worth"] = table["guessed_saved"] / table["present"].clip(lower=1e-12)
    return table.sort_values("_worth", ascending=False, kind="stable").drop(columns="_worth")
