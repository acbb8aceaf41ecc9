"""Advice in words, on frames made up for it, and what stands against the best sets."""

from types import SimpleNamespace

import pandas as pd
import pytest

from hopyears.sim.advice.confirm import CONTENDERS, Goal, promising_sets
from hopyears.sim.advice.search import Choice
from hopyears.sim.wording.advice_rows import answer, purchase_rows

NONE = float("nan")


def purchases(steps):
    rows = [("nothing", 0.0, 0.0, 0.0, 40.0, "", NONE, NONE), *steps]
    names = ["bought", "capital", "present", "spent", "left", "next_best", "next_best_left", "right_chance"]
    table = pd.DataFrame(rows, columns=names)
    table.insert(0, "step", range(len(table)))
    return table.assign(figure="min_per_year", set="a; b" if steps else "nothing")


STEPS = [("a", 90.0, 100.0, 100.0, 25.0, "b", 30.0, 0.93), ("b", 50.0, 50.0, 150.0, 20.0, "", NONE, NONE)]


def contenders(chance, target_chance=NONE):
    return pd.DataFrame(
        {
            "bought": ["a; b", "a", "nothing"],
            "simulated": [20.0, 25.0, 40.0],
            "right_chance": chance,
            "target_chance": [target_chance, NONE, NONE],
        }
    )


@pytest.mark.parametrize(
    ("chance", "second"),
    [
        (0.97, "Right choice of 3 sets: at least 97% (paired simulation); the next best leaves 25.0."),
        (0.2, "Which of 3 sets is best is open (paired simulation); the next best leaves 25.0."),
    ],
)
def test_what_a_budget_buys(chance, second):
    first, then = answer(purchases(STEPS), contenders(chance), Goal(budget=200.0), "shells")
    assert first == "Buy 2 upgrades for 150 shells: 40.0 weighted min/year become 20.0."
    assert then.replace("\N{NO-BREAK SPACE}", "") == second


def test_nothing_may_be_best():
    first, _ = answer(purchases([]), contenders(0.9), Goal(budget=200.0), "shells")
    assert first.startswith("Buy nothing: ")


def test_a_target_is_met_or_missed():
    goal = Goal(service="far", availability=0.9999)
    _, then = answer(purchases(STEPS), contenders(0.9, 0.98), goal, "shells")
    assert (
        then.replace("\N{NO-BREAK SPACE}", "")
        == "far then meets 99.99% (52.6 min/year): 98% sure that it meets it."
    )
    _, then = answer(purchases(STEPS), contenders(0.9, 0.3), Goal(service="far", availability=0.99999), "x")
    assert "misses" in then


def test_steps_with_their_next_best():
    rows = purchase_rows(purchases(STEPS))
    assert rows[1][:5] == ["1", "a", "100", "100", "25.0"]
    assert rows[1][5] == "b (30.0)"
    assert rows[2][5] == rows[2][6] == "–"


def test_to_buy_nothing_stands_against_the_best():
    choice = Choice((1.0,) * 6, frozenset(), lambda chosen: 10.0 - len(chosen))
    found = promising_sets(Goal(budget=6.0), choice, SimpleNamespace(legal=lambda chosen: True), {}, "")
    assert len(found) == CONTENDERS
    assert found[0] == frozenset(range(6))
    assert found[-1] == frozenset()
    few = Choice((1.0,), frozenset(), lambda chosen: 10.0)
    assert promising_sets(Goal(budget=6.0), few, SimpleNamespace(legal=lambda chosen: True), {}, "") == [
        frozenset(), frozenset((0,))
    ]  # fmt: skip
