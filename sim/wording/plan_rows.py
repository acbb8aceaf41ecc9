"""A comparison of plans in words: which is best and how sure that is, what each saves, costs and buys."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from hopyears.sim.money.network_costs import USED, VISIT
from hopyears.sim.studies.compare import BASE
from hopyears.sim.studies.plan_tables import ALL
from hopyears.sim.wording.money_rows import amount
from hopyears.sim.wording.wording import (
    NO_FIGURE,
    PER_CENT,
    Cell,
    confidence,
    difference,
    interval,
    number,
    records,
    signed,
)

METHOD = "bootstrap of blocks"
"""How the chances of a ranking come about (``studies.ranking``)."""

ITEMS_NAMED = 4
"""Items of a bill that are named; of more, their number."""


def best_sentence(plans: pd.DataFrame) -> str:
    """The answer in one line: the best of all, by what, and how sure that is."""
    best = plans.iloc[0]
    name = "the network as it is" if best["plan"] == BASE else best["plan"]
    sure = best["best_chance"]
    how_sure = "" if math.isnan(sure) else f": {confidence(sure)} sure"
    return f"Best by {best['ranked_by']}: {name}{how_sure} ({METHOD})."


def saved(row: Mapping[str, Any], name: str) -> Cell:
    """What a plan takes off a figure, with its interval; the other way round than the difference."""
    value, low, high = interval(row, name)
    turned = {name: -value or 0.0, f"{name}_low": -high or 0.0, f"{name}_high": -low or 0.0}
    return difference(turned, name, decimals=2)


def shortly(chance: float) -> str:
    """A chance in few characters, never certainty."""
    if math.isnan(chance):
        return NO_FIGURE
    return f">99{PER_CENT}" if chance > 0.99 else f"{100.0 * chance:.0f}{PER_CENT}"


PLAN_HEADS = ("plan", "saved min/year", "cost/year", "per 1,000", "sure", "beaten")
"""Heads of ``plan_rows``; without prices the third and fourth are left out."""


def plan_rows(plans: pd.DataFrame) -> list[list[str | Cell]]:
    """Each plan as a row, best first."""
    rows: list[list[str | Cell]] = []
    for row in records(plans):
        cells: list[str | Cell] = [row["plan"], saved(row, "difference_min_per_year")]
        if not math.isnan(row["cost_per_year"]):
            per_cost = row["min_saved_per_cost"]
            cells += [signed(row["cost_per_year"], decimals=0), number(1000.0 * per_cost)]
        sure = row["rank_chance"]
        cells += [shortly(sure), "no" if row["undominated"] else "yes"]
        rows.append(cells)
    return rows


MONEY_HEADS = ("plan", "outage costs saved/year", "cost/year", "gain/year")
"""Heads of ``money_rows``."""


def money_rows(plans: pd.DataFrame) -> list[list[str | Cell]]:
    """What each plan saves of outage costs, and what is left of it after its own cost; empty without."""
    return [
        [
            row["plan"],
            saved(row, "difference_outage_cost_per_year"),
            signed(row["cost_per_year"], decimals=0),
            signed(-row["difference_outage_cost_per_year"] - row["cost_per_year"], decimals=0),
        ]
        for row in records(plans)
        if not math.isnan(row["difference_outage_cost_per_year"] + row["cost_per_year"])
        and row["plan"] != BASE
    ]


def service_rows(differences: pd.DataFrame, most: int) -> list[list[str | Cell]]:
    """Services that plans change most: before, after and what is saved."""
    own = differences[differences["service"] != ALL]
    largest = own.assign(size=own["difference_min_per_year"].abs()).sort_values(
        "size", ascending=False, kind="stable"
    )
    return [
        [
            row["plan"],
            row["service"],
            number(row["base_min_per_year"]),
            number(row["plan_min_per_year"]),
            saved(row, "difference_min_per_year"),
        ]
        for row in records(largest[largest["size"] > 0.0].head(most))
    ]


def bill_sentences(plans: pd.DataFrame, bills: pd.DataFrame) -> Iterator[str]:
    """One line a plan: what it buys and gives up, and what that costs; services that come or go."""
    for row in records(plans[plans["plan"] != BASE]):
        own = bills[(bills["plan"] == row["plan"]) & ~bills["item"].astype(str).str.startswith((VISIT, USED))]
        counts = (own["plan_count"] - own["base_count"]).groupby(own["item"], sort=False).sum()
        changed = [(str(item).replace("_", " "), float(n)) for item, n in counts.items() if n]
        words = [f"{n:+g} × {item}" for item, n in changed[:ITEMS_NAMED]]
        if len(changed) > ITEMS_NAMED:
            words.append(f"{len(changed) - ITEMS_NAMED} items more")
        line = f"{row['plan']}: {', '.join(words) or 'the same hardware'}"
        if not math.isnan(row["capital"]):
            line += f"; {amount(row['capital'])} at once, {amount(row['yearly'])} by the year"
        if row["rows_without_price"]:
            line += f"; {row['rows_without_price']} changed rows have no price"
        for what in ("added", "removed"):
            if row[f"services_{what}"]:
                line += f"; services {what}, not compared: {row[f'services_{what}']}"
        yield line + "."


def pairing_sentences(plans: pd.DataFrame) -> Iterator[str]:
    """Where a plan did not meet the very weather and failures of the base."""
    for row in records(plans):
        if row["pairing_lost"]:
            yield f"{row['plan']}: differences are less sharp, since {row['pairing_lost']}."
