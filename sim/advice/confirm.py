"""Simulation of the sets that a search ends with: which is best, and each step of the way to it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.advice.allocation import FIRST_BLOCKS, next_blocks, paired_means, wrong_chances
from hopyears.sim.advice.market import Market
from hopyears.sim.advice.search import Choice, best_sets, best_step, cheapest, order_of
from hopyears.sim.advice.set_runs import SetRuns
from hopyears.sim.counting.years import met_confidence
from hopyears.sim.rare.service_figures import UNAVAILABLE
from hopyears.sim.studies.ranking import ranked

Set = frozenset[int]

CONTENDERS = 5
"""Sets that are simulated against each other, to buy nothing among them."""

MOST_STEPS = 8
"""Steps of the order that are simulated one by one, each with its next best."""

SURE_ENOUGH = 0.95
"""Chance of a right choice from which no more blocks are spent on it."""

ROUNDS = 3
"""Times that sets are sought anew for a target when a simulation misses it."""


@dataclass(frozen=True)
class Goal:
    """Least harm within a budget, or least money for a service's availability; one of the two.

    Attributes
    ----------
    budget : float or None
        Present sum of all payments of the stated life [money], at least 0.
    service : str
        Whose availability is the target.
    availability : float
        Above 0 to below 1.
    """

    budget: float | None = None
    service: str = ""
    availability: float = 0.0

    @property
    def allowed_min(self) -> float:
        """Unavailable minutes a year that the target allows."""
        return (1.0 - self.availability) * MINUTES_PER_YEAR


def promising_sets(
    goal: Goal, choice: Choice, runs: SetRuns, weights: dict[str, float], figure: str
) -> list[Set]:
    """The best few sets by the surrogate; for a target, until a simulation meets it or nothing more helps."""
    if goal.budget is not None:
        legal = (each for each in best_sets(choice, goal.budget) if runs.legal(each))
        # To buy nothing stands against them: what saves nothing in the simulation is not advised.
        return [*dict.fromkeys((*islice(legal, CONTENDERS - 1), frozenset[int]()))]
    wanted, found = goal.allowed_min, list[Set]()
    for _ in range(ROUNDS):
        sets = [each for each in cheapest(choice, wanted) if runs.legal(each)]
        if not sets:
            break
        found = sets[:CONTENDERS]
        seen = float(runs.values(found[0], weights, figure, runs.request.n_blocks).mean())
        if seen <= goal.allowed_min:
            break
        wanted *= 0.9 * goal.allowed_min / seen
    everything = best_sets(choice, sum(choice.costs))[:1]
    return found or everything


def contend(
    sets: Sequence[Set], runs: SetRuns, weights: dict[str, float], figure: str, choice: Choice, goal: Goal
) -> tuple[pd.DataFrame, Set, int]:
    """Simulate sets against each other, more blocks where the choice is open; all, the winner, its blocks."""
    most = runs.request.n_blocks
    counts = [min(FIRST_BLOCKS, most)] * len(sets)
    while True:
        for n in sorted(set(counts)):
            runs.ready((chosen for chosen, own in zip(sets, counts, strict=True) if own == n), n)
        values = [runs.values(chosen, weights, figure, n) for chosen, n in zip(sets, counts, strict=True)]
        best = _winner(values, [choice.cost(chosen) for chosen in sets], goal)
        wrong = wrong_chances(
            values[best], [v[: len(values[best])] for i, v in enumerate(values) if i != best]
        )
        chance = max(1.0 - float(wrong.sum()), 0.0)
        wanted = next_blocks(values, len(sets), most)
        if chance >= SURE_ENOUGH or wanted == counts or (goal.budget is None and min(counts) == most):
            break
        counts = wanted if goal.budget is not None else [most] * len(sets)
    ranking = ranked(
        [np.column_stack([v[: min(counts)] for v in values])], np.zeros(len(sets)), runs.request.seed
    )
    table = pd.DataFrame(
        {
            "bought": [runs.named(chosen) for chosen in sets],
            "present": [choice.cost(chosen) for chosen in sets],
            "blocks": counts,
            "guessed": [choice.harm(chosen) for chosen in sets],
            "simulated": paired_means(values),
            "best_chance": ranking.best_chance,
            "right_chance": chance,
            "target_chance": [_met(runs, chosen, n, goal) for chosen, n in zip(sets, counts, strict=True)],
        }
    )
    return table, sets[best], counts[best]


def _met(runs: SetRuns, chosen: Set, n_blocks: int, goal: Goal) -> float:
    """How sure it is that a set meets the target; not a number without one."""
    if goal.budget is not None:
        return float("nan")
    side = runs.side(chosen, n_blocks)
    number = side.numbers[goal.service]
    return met_confidence(
        lambda level: side.figures.interval(number, UNAVAILABLE, level=level).scaled(1.0 / 60.0),
        goal.allowed_min,
    )


def _winner(values: Sequence[Floats], costs: Sequence[float], goal: Goal) -> int:
    """Least harm; for a target the cheapest that meets it, and where none does the least harm."""
    means = paired_means(list(values))
    good = [i for i, mean in enumerate(means) if mean <= goal.allowed_min]
    if goal.budget is None and good:
        return min(good, key=lambda i: costs[i])
    return min(range(len(means)), key=lambda i: (means[i], costs[i]))


Path = list[tuple[Set, Set, Set | None]]
"""Steps: what there is, what is bought next, and the next best to that."""


def order_table(
    winner: Set,
    n: int,
    runs: SetRuns,
    weights: dict[str, float],
    figure: str,
    choice: Choice,
    market: Market,
    goal: Goal,
) -> pd.DataFrame:
    """The winner step by step: what each step costs and leaves, its next best, and how sure it is.

    Where the next best is to be bought as well and the simulation finds that it saves more for its money, it
    comes first. A step is simulated for few blocks, and where that leaves it open for ``n``, as many as it
    took to choose the winner; what it leaves is told from the difference to the network as it is.
    """
    judge = _Judge(runs, weights, figure, choice)
    base = runs.values(frozenset(), weights, figure, n)
    few = min(FIRST_BLOCKS, n)
    for n_blocks in (few, n):
        path = _path(winner, choice, goal)[:MOST_STEPS]
        unsure = [
            step for step in path if n_blocks == few or judge.wrong_chance(*step, few) > 1.0 - SURE_ENOUGH
        ]
        runs.ready(
            (here | each for here, *steps in unsure for each in (frozenset(), *steps) if each is not None),
            n_blocks,
        )
    here, spent = frozenset[int](), 0.0
    rows: list[tuple[object, ...]] = [("nothing", 0.0, 0.0, 0.0, float(base.mean()), "", np.nan, np.nan)]
    while here != winner:
        step, beside = _next(here, winner, choice, goal)
        left, seen, wrong = np.nan, np.nan, np.nan
        if len(rows) <= MOST_STEPS:
            blocks = few
            if beside is not None:
                wrong = judge.wrong_chance(here, step, beside, few)
                if wrong > 1.0 - SURE_ENOUGH:
                    blocks, wrong = n, judge.wrong_chance(here, step, beside, n)
                if beside <= winner and wrong > 0.5:
                    step, beside, wrong = beside, step, 1.0 - wrong
                seen = judge.left(here | beside, base, blocks)
            left = judge.left(here | step, base, blocks)
        spent += choice.cost(step)
        capital = sum(market.capital[i] for i in step)
        second = "" if beside is None else runs.named(beside)
        money = (capital, choice.cost(step), spent)
        rows.append((runs.named(step), *money, left, second, seen, 1.0 - wrong))
        here |= step
    names = ["bought", "capital", "present", "spent", "left", "next_best", "next_best_left", "right_chance"]
    table = pd.DataFrame(rows, columns=names)
    table.insert(0, "step", range(len(table)))
    table.loc[table.index[-1], "left"] = float(runs.values(winner, weights, figure, n).mean())
    return table.assign(figure=figure, set=runs.named(winner))


@dataclass(frozen=True)
class _Judge:
    """Steps compared by what they save for their money in simulated blocks."""

    runs: SetRuns
    weights: dict[str, float]
    figure: str
    choice: Choice

    def wrong_chance(self, here: Set, step: Set, beside: Set | None, n: int) -> float:
        """Chance that the next best saves more for its money, by the first ``n`` blocks; 0 without one."""
        if beside is None:
            return 0.0
        before, after, rival = (self._values(here | each, n) for each in (frozenset[int](), step, beside))
        worth = [
            (now - before) / max(self.choice.cost(each), 1e-12)
            for now, each in ((after, step), (rival, beside))
        ]
        return float(wrong_chances(worth[0], worth[1:])[0])

    def left(self, chosen: Set, base: Floats, n: int) -> float:
        """What a set leaves: the network as it is, and the difference to it in the first ``n`` blocks."""
        return float(base.mean() + (self._values(chosen, n) - base[:n]).mean())

    def _values(self, chosen: Set, n: int) -> Floats:
        return self.runs.values(chosen, self.weights, self.figure, n)


def _path(winner: Set, choice: Choice, goal: Goal) -> Path:
    """All steps to the winner by the surrogate."""
    here, path = frozenset[int](), Path()
    while here != winner:
        step, beside = _next(here, winner, choice, goal)
        path.append((here, step, beside))
        here |= step
    return path


def _next(here: Set, winner: Set, choice: Choice, goal: Goal) -> tuple[Set, Set | None]:
    """The next step to the winner, and the best of what it has not."""
    step = order_of(winner, choice, here)[0]
    others = [i for i in range(len(choice.costs)) if not {i} <= step]
    return step, best_step(here, others, choice, _fitting(choice, goal, here))


def _fitting(choice: Choice, goal: Goal, here: Set) -> Callable[[Set], float]:
    """Harm of a set, without limit where it is not allowed or beyond the budget."""

    def judge(chosen: Set) -> float:
        budget = np.inf if goal.budget is None else goal.budget * (1.0 + 1e-9)
        fits = chosen == here or (choice.allowed(chosen) and choice.cost(chosen) <= budget)
        return choice.harm(chosen) if fits else np.inf

    return judge
