"""Money in words, for terminal and page alike: totals of a bill, its rows by item, what outages cost."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from hopyears.models.money.costs import Cost, CostRow, Terms
from hopyears.sim.money.network_costs import by_item, cost_frame, without_price
from hopyears.sim.wording.wording import NO_FIGURE, PER_CENT, Cell, figure_and_ends, given, number, records


def amount(value: float) -> str:
    """A sum of money: whole from 100 on, else three figures; a cell that is none is a price not given."""
    return "no price" if value != value else number(value)


def cost_sentences(cost: Cost, missing: Sequence[str], terms: Terms, currency: str) -> list[str]:
    """What a bill comes to, and which of its rows have no price."""
    lines = [
        f"{amount(cost.capital)} {currency} when bought, {amount(cost.yearly)} by the year: "
        f"{amount(cost.present)} over {terms.life_years:g} years at {100.0 * terms.discount_rate:g}{PER_CENT}"
        f", or {amount(terms.by_year(cost.present))} a year."
    ]
    if missing:
        lines.append(f"Without a price and not in these sums: {', '.join(missing)}.")
    return lines


ITEM_HEADS = ("item", "how many", "when bought", "by the year", "over the life")
"""Heads of ``item_rows``."""


def item_rows(costs: pd.DataFrame) -> list[tuple[str, ...]]:
    """Rows of the bill by item, as cells; items without any price are left out."""
    found = by_item(costs) if len(costs) else pd.DataFrame()
    return [
        (
            str(row["item"]).replace("_", " "),
            given(row["count"]),
            *(amount(row[name]) for name in ("capital", "yearly", "present")),
        )
        for row in records(found)
        if row["unpriced"] < row["count"]
    ]


def item_rows_of(rows: Sequence[CostRow], terms: Terms) -> list[tuple[str, ...]]:
    """The same of rows that no run has stored."""
    return item_rows(cost_frame(rows, terms))


def money_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """What outages of each service cost a year: penalties, gigabits not delivered and their value."""
    return [
        {
            "service": str(row["service"]),
            "penalty": figure_and_ends(row, "penalty_per_year"),
            "bad_year": (number(row["penalty_bad_year"]), ""),
            "lost": figure_and_ends(row, "undelivered_gbit_per_year"),
            "value": _value(row),
        }
        for row in records(table)
    ]


def _value(row: Mapping[str, Any]) -> Cell:
    name = "undelivered_value_per_year"
    return figure_and_ends(row, name) if row[f"{name}_high"] else (NO_FIGURE, "")


def cost_rows_of_run(network: Mapping[str, Any], costs: pd.DataFrame) -> list[str]:
    """Sentences on what a run's network costs, the counted journeys and spares with it; empty without prices.

    Parameters
    ----------
    network : mapping
        The network of the run as it is stored.
    costs : DataFrame
        Table ``costs``.
    """
    prices = network.get("prices") or {}
    if costs.empty or prices.get("life_years") is None:
        return []
    rows = [
        CostRow(row["place"], row["item"], "", "", row["count"], None, None)
        for row in records(costs[costs["present"].isna()])
    ]
    terms = Terms(prices["life_years"], prices["discount_rate"])
    cost = Cost(*(float(costs[name].sum()) for name in ("capital", "yearly", "present")))
    return cost_sentences(cost, without_price(rows), terms, prices["currency"])
