"""Advice in words: what to buy in which order, what it leaves, the next best, and how sure that is."""

import math
from collections.abc import Iterator

import pandas as pd

from hopyears.sim.advice.confirm import Goal
from hopyears.sim.studies.plan_sides import MINUTES
from hopyears.sim.wording.money_rows import amount
from hopyears.sim.wording.wording import NO_FIGURE, Cell, confidence, level_name, number, plural, records

METHOD = "paired simulation"


def answer(purchases: pd.DataFrame, contenders: pd.DataFrame, goal: Goal, currency: str) -> Iterator[str]:
    """The answer in a sentence or two."""
    first, last, unit = purchases.iloc[0], purchases.iloc[-1], unit_of(purchases, currency)
    left = purchases["left"].dropna().iloc[-1]
    if len(purchases) == 1:
        yield f"Buy nothing: no candidate is seen to help within that money ({number(left)} {unit} as it is)."
    else:
        yield (
            f"Buy {plural(len(names_in(last['set'])), 'upgrade')} for {amount(last['spent'])} {currency}: "
            f"{number(first['left'])} {unit} become {number(left)}."
        )
    sure = contenders["right_chance"].iloc[0]
    if goal.budget is not None:
        others = contenders[contenders["bought"] != _all(purchases)]["simulated"]
        beside = f"; the next best leaves {number(others.min())}" if len(others) else ""
        if sure < 0.5:
            yield f"Which of {len(contenders)} sets is best is open ({METHOD}){beside}."
        else:
            yield f"Right choice of {len(contenders)} sets: at least {confidence(sure)} ({METHOD}){beside}."
        return
    met = contenders[contenders["bought"] == _all(purchases)]["target_chance"]
    chance = float(met.iloc[0]) if len(met) else float("nan")
    verdict = "meets" if left <= goal.allowed_min else "misses"
    wanted = f"{level_name(goal.availability)} ({number(goal.allowed_min)} min/year)"
    yield (
        f"{goal.service} then {verdict} {wanted}: "
        f"{NO_FIGURE if math.isnan(chance) else confidence(chance)} sure that it meets it."
    )


def unit_of(purchases: pd.DataFrame, currency: str) -> str:
    """Unit of what is left."""
    minutes = purchases["figure"].iloc[0] == MINUTES
    return "weighted min/year" if minutes else f"{currency} a year of outage costs"


def names_in(text: str) -> list[str]:
    """Candidates of a set as tables name it."""
    return text.split("; ") if text else []


def missing_sentences(candidates: pd.DataFrame) -> Iterator[str]:
    """What is bought without all of its price known."""
    missing = candidates[candidates["chosen"] & (candidates["without_price"] != "")]
    for name, items in zip(missing["candidate"], missing["without_price"], strict=True):
        yield f"{name}: no price of {items.replace('_', ' ')}; left out of its cost."


def _all(purchases: pd.DataFrame) -> str:
    """What is bought, as the contenders name it."""
    return str(purchases["set"].iloc[-1])


RIGHT = "Right: how sure that the next best saves less for its money (paired t test of blocks)."

HEADS = ("", "buy", "cost", "spent", "left", "next best (left)", "right")
"""Heads of ``purchase_rows``."""


def purchase_rows(purchases: pd.DataFrame) -> list[list[str | Cell]]:
    """Each step in order; "right" is how sure it is that its next best saves less for its money."""
    rows: list[list[str | Cell]] = []
    for row in records(purchases):
        beside = f"{row['next_best']} ({number(row['next_best_left'])})" if row["next_best"] else NO_FIGURE
        sure = row["right_chance"]
        rows.append(
            [
                str(row["step"]),
                row["bought"],
                amount(row["present"]),
                amount(row["spent"]),
                number(row["left"]),
                beside,
                NO_FIGURE if math.isnan(sure) else confidence(sure),
            ]
        )
    return rows
