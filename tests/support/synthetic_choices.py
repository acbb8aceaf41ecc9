"""Comparisons, promises and advice made up for tests of pages. No simulation."""

import numpy as np
import pandas as pd

from hopyears.sim.advice.advise import Advice
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.runs.promise import ALL_TERMS, SURE
from hopyears.sim.runs.promise_terms import PromiseTerms
from hopyears.sim.studies.plan_tables import ALL, BY_MINUTES, Comparison
from hopyears.sim.wording.promises import Promised

NONE = float("nan")


def made_up_differences() -> pd.DataFrame:
    """Differences of one plan on two services, of which only the first is sure, and their sum."""
    row = {
        "plan": "a", "service": "s<1>",
        "base_min_per_year": 60.0, "base_min_per_year_low": 50.0, "base_min_per_year_high": 70.0,
        "plan_min_per_year": 40.0, "plan_min_per_year_low": 30.0, "plan_min_per_year_high": 50.0,
        "difference_min_per_year": -20.0, "difference_min_per_year_low": -25.0,
        "difference_min_per_year_high": -15.0, "difference_ses_per_year": 0.0,
        "difference_ses_per_year_low": -1.0, "difference_ses_per_year_high": 1.0, "sure": True,
    }  # fmt: skip
    doubtful = {"difference_min_per_year": 4.0, "difference_min_per_year_low": -1.0, "sure": False}
    rows = [row, {**row, "service": "s2", **doubtful, "difference_min_per_year_high": 9.0}]
    return pd.DataFrame([*rows, {**row, "service": ALL, "difference_min_per_year": -16.0}])


def made_up_comparison(*, priced: bool = True) -> Comparison:
    """Plan a saves 16 minutes for 500 a year, plan b costs more and saves 2."""
    figures = ("outages_per_year", "below_committed_min_per_year", "outage_cost_per_year")
    rows = []
    for rank, (plan, minutes, cost) in enumerate(
        (("a", -16.0, 500.0), ("b", -2.0, 900.0), ("base", 0.0, 0.0)), 1
    ):
        row = {"plan": plan, "rank": rank, "rank_chance": 0.9, "best_chance": 0.97, "ranked_by": BY_MINUTES}
        for name, value in {"min_per_year": minutes, **dict.fromkeys(figures, minutes / 10.0)}.items():
            row[f"difference_{name}"] = value
            row |= {f"difference_{name}_low": value - 1.0, f"difference_{name}_high": value + 1.0}
        money = {"capital": 9.0 * cost, "yearly": cost / 10.0, "cost_per_year": cost}
        row |= money if priced else dict.fromkeys(money, NONE)
        row |= {"min_saved_per_cost": -minutes / cost if cost else NONE, "undominated": plan != "b"}
        row |= {"rows_without_price": 0, "services_added": "", "services_removed": "", "pairing_lost": ""}
        rows.append(row)
    plans = pd.DataFrame(rows)
    differing = made_up_differences()
    limits = {"difference_min_per_year_low": -12.0, "difference_min_per_year_high": -8.0}
    causes = pd.DataFrame(
        [{"plan": "a", "service": "s2", "cause": "rain", "difference_min_per_year": -10.0, **limits}]
    )
    bill = {"plan": "a", "place": "s", "item": "outdoor_radio", "type": "r<18>", "base_count": 2.0}
    bills = pd.DataFrame([{**bill, "plan_count": 4.0, "capital": 4500.0, "yearly": 50.0, "present": 5000.0}])
    return Comparison(
        plans, pd.concat([differing, differing.assign(plan="b")], ignore_index=True), causes, bills
    )


def made_up_promised(*, levers: bool = True) -> Promised:
    """A contract of two terms that is not kept, one that is, and a service without."""
    limits = {f"{name}_break_chance": 0.3 for name in ("year", "contract")}
    limits |= {f"{name}_low": 0.2 for name in limits} | {f"{name}_high": 0.4 for name in limits}
    sure = {name: 0.0 if not name.endswith("high") else 0.05 for name in limits}
    none = dict.fromkeys(limits, NONE)
    head = {"period": "year", "contract_years": 3, "rests_on": SURE, "unit": ""}
    shares = {"mean": 0.9998, "median": 0.9999, "worst": 0.998, "can_be_promised": 0.9995}
    counts = {"mean": 2.5, "median": 2.0, "worst": 9.0, "can_be_promised": 4.0}
    minutes = {"mean": 30.0, "median": 20.0, "worst": 300.0, "can_be_promised": 50.0}
    two = {**head, "contract": "port", "services": "s<1>, s2"}
    rows = [
        {
            **head, "contract": "free", "services": "free", "figure": "unavailable_min", "asked": NONE,
            "kept": "", **none, **minutes,
        },
        {**two, "figure": "availability", "asked": 0.9999, "kept": "no", **limits, **shares},
        {**two, "figure": "outages", "asked": 10.0, "kept": "yes", **sure, **counts},
        {**two, "figure": ALL_TERMS, "kept": "no", **limits},
        {
            **head, "contract": "voice", "services": "s2", "figure": "availability", "asked": 0.999,
            "kept": "yes", **sure, **shares, "period": "month",
        },
    ]  # fmt: skip
    kinds = (("as it is", ""), ("hop", "far<hop>"), ("cause", "rain"))
    lever = {"figure": "availability", "mean": 0.9998, "can_be_promised": 0.9995, **limits}
    found = pd.DataFrame(
        [
            {**lever, "contract": name, "kind": kind, "target": target}
            for name in ("free", "port", "voice")
            for kind, target in kinds
        ]
    )
    return Promised(
        table_of("promise", rows), PromiseTerms(), 200,
        [["s2", ("12.0", "8.0 to 17.0"), "40.0"]],
        "shells", found if levers else None, "Weather is as it is.",
    )  # fmt: skip


def made_up_advice() -> Advice:
    """Two steps, of which the first has a next best."""
    names = ["bought", "capital", "present", "spent", "left", "next_best", "next_best_left", "right_chance"]
    steps = [
        ("nothing", 0.0, 0.0, 0.0, 40.0, "", NONE, NONE),
        ("a<1>", 90.0, 100.0, 100.0, 25.0, "b", 30.0, 0.93),
        ("b", 50.0, 50.0, 150.0, 20.0, "", NONE, NONE),
    ]
    purchases = pd.DataFrame(steps, columns=names).assign(figure="min_per_year", set="a<1>; b")
    purchases.insert(0, "step", range(len(purchases)))
    contenders = pd.DataFrame(
        {
            "bought": ["a<1>; b", "a<1>", "nothing"], "present": [150.0, 100.0, 0.0], "blocks": [20, 20, 8],
            "guessed": [19.0, 26.0, 40.0], "simulated": [20.0, 25.0, 40.0], "best_chance": [0.97, 0.03, 0.0],
            "right_chance": 0.97, "target_chance": [0.98, NONE, NONE],
        }
    )  # fmt: skip
    candidates = pd.DataFrame(
        {
            "candidate": ["a<1>", "b", "c"], "changes": "hop", "capital": [90.0, 50.0, 70.0], "yearly": 1.0,
            "present": [100.0, 50.0, 80.0], "without_price": ["cable", "", "mast_space"],
            "guessed_saved": [15.0, 6.0, np.float64(2.0)], "chosen": [True, True, False],
        }
    )  # fmt: skip
    return Advice(purchases, contenders, candidates)
