"""Figures of choices: what plans save for their money, what purchases leave, what can be promised."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from hopyears.models.basics.arrays import Floats
from hopyears.sim.report.naming import name_points
from hopyears.sim.report.scales import Mark, availability_axis, legend_above, named_rows
from hopyears.sim.wording.palette import ACCENT, FAINT, INK, SECOND

LEAST_FLOOR_SHARE = 1e-7
"""Right end of an axis of availability at the utmost."""


def saved_for_money(plans: pd.DataFrame, axes: Axes) -> Axes:
    """Minutes a year that each plan saves, with 95 % interval, against what it costs a year.

    Parameters
    ----------
    plans : DataFrame
        Columns ``plan``, ``cost_per_year``, ``difference_min_per_year`` with ``_low`` and ``_high``,
        ``undominated``; the network as it is among them.
    axes : Axes
        On a figure whose size is final: names are placed in its pixels.

    Notes
    -----
    A line joins the plans of which none saves as much for less.
    """
    cost = plans["cost_per_year"].to_numpy(np.float64)
    best, high, low = (
        -plans[f"difference_min_per_year{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    good = plans["undominated"].to_numpy(np.bool_)
    order = np.flatnonzero(good)[np.argsort(cost[good], kind="stable")]
    axes.axhline(0.0, color=FAINT, linewidth=0.9)
    axes.plot(cost[order], best[order], color=SECOND, linewidth=1.6, zorder=1)
    axes.vlines(cost, low, high, color=ACCENT, linewidth=2.2, alpha=0.55)
    axes.plot(cost[good], best[good], "o", color=ACCENT, markersize=6)
    axes.plot(cost[~good], best[~good], "o", color=ACCENT, markersize=6, markerfacecolor="white")
    axes.set_ylabel("minutes a year saved")
    axes.grid()
    axes.margins(0.12, 0.12)
    marks: list[Mark] = [
        (Line2D([], [], color=ACCENT, marker="o", linewidth=2.2), "none saves as much for less"),
        (Line2D([], [], color=ACCENT, marker="o", linewidth=2.2, markerfacecolor="white"), "beaten"),
    ]
    legend_above(axes, marks[: 1 + bool((~good).any())])
    segments = np.column_stack([cost, low, cost, high])
    name_points(axes, list(plans["plan"]), np.column_stack([cost, best]), segments)
    return axes


def left_for_money(purchases: pd.DataFrame, axes: Axes, *, next_spent: Floats) -> Axes:
    """What each purchase leaves, against all that has been spent by then, and what its next best leaves.

    Parameters
    ----------
    purchases : DataFrame
        Columns ``step``, ``spent``, ``left``, ``next_best_left``, in order; ``left`` is not a number where
        it was not simulated.
    axes : Axes
        On a figure whose size is final: numbers of steps are placed in its pixels.
    next_spent : float array, shape (n,)
        What would have been spent with the next best of each step.
    """
    known = purchases["left"].notna().to_numpy()
    spent, left = (purchases[name].to_numpy(np.float64)[known] for name in ("spent", "left"))
    axes.step(spent, left, where="post", color=ACCENT, linewidth=1.8)
    axes.plot(spent, left, "o", color=ACCENT, markersize=6)
    beside = purchases["next_best_left"].to_numpy(np.float64)
    axes.plot(next_spent, beside, "D", color=SECOND, markersize=6, markerfacecolor="white")
    axes.set_ylim(bottom=0.0)
    axes.grid()
    axes.margins(0.06, 0.1)
    marks: list[Mark] = [
        (Line2D([], [], color=ACCENT, marker="o", linewidth=1.8), "in the advised order, numbered by step"),
        (
            Line2D([], [], color=SECOND, marker="D", linestyle="", markerfacecolor="white"),
            "the next best of a step",
        ),
    ]
    legend_above(axes, marks[: 1 + bool(np.isfinite(beside).any())])
    steps = [str(step) for step in purchases["step"][known]]
    corners = np.column_stack([spent[:-1], left[:-1], spent[1:], left[:-1]])
    drops = np.column_stack([spent[1:], left[:-1], spent[1:], left[1:]])
    name_points(axes, steps, np.column_stack([spent, left]), np.concatenate([corners, drops]))
    return axes


def promised_shares(table: pd.DataFrame, axes: Axes) -> Axes:
    """Availability that each contract asks for, that can be promised, and that years had; worse to the left.

    Parameters
    ----------
    table : DataFrame
        Columns ``contract``, and the availability (0 to 1) ``asked``, ``can_be_promised``, ``mean``,
        ``worst``; not a number where there is none. Drawn from top to bottom.
    axes : Axes
    """
    rows = named_rows(axes, table["contract"])
    lost = {
        column: 1.0 - table[column].to_numpy(np.float64)
        for column in ("asked", "can_be_promised", "mean", "worst")
    }
    every = np.concatenate([*lost.values()])
    every = every[np.isfinite(every) & (every > 0.0)]
    floor = max(10.0 ** np.floor(np.log10(every.min() / 1.5)) if every.size else 1e-6, LEAST_FLOOR_SHARE)
    top = min(10.0 ** np.ceil(np.log10(every.max() * 1.05)) if every.size else 1.0, 1.0)
    availability_axis(axes, left_share=float(top), floor_share=float(floor))
    at = {column: np.maximum(values, floor) for column, values in lost.items()}
    axes.hlines(rows, at["worst"], at["mean"], color=FAINT, linewidth=1.4, zorder=1)
    axes.plot(at["worst"], rows, "x", color=INK, markersize=5)
    axes.plot(at["mean"], rows, "D", color=SECOND, markersize=5, markerfacecolor="white")
    axes.plot(at["can_be_promised"], rows, "o", color=ACCENT, markersize=6.5)
    axes.plot(at["asked"], rows, "|", color=INK, markersize=14, markeredgewidth=2.0)
    axes.set_xlabel("availability of the period that counts, a year or a month [%]")
    axes.grid(axis="x")
    marks: list[Mark] = [
        (Line2D([], [], color=ACCENT, marker="o", linestyle=""), "can be promised"),
        (Line2D([], [], color=INK, marker="x", linestyle=""), "worst seen"),
        (Line2D([], [], color=SECOND, marker="D", linestyle="", markerfacecolor="white"), "mean"),
        (Line2D([], [], color=INK, marker="|", linestyle="", markersize=12, markeredgewidth=2.0), "asked"),
    ]
    return legend_above(axes, marks[: 3 + bool(np.isfinite(lost["asked"]).any())])


def break_chances(table: pd.DataFrame, axes: Axes, *, allowed: float, names: Sequence[str]) -> Axes:
    """Chance that each contract is broken, with its interval, and the chance that a promise allows.

    Parameters
    ----------
    table : DataFrame
        Column ``contract_break_chance`` with ``_low`` and ``_high``, 0 to 1. Drawn from top to bottom.
    axes : Axes
    allowed : float
        Chance with which a promise may be broken, 0 to 1.
    names : sequence of str
        Of the rows.
    """
    rows = named_rows(axes, names)
    best, low, high = (
        100.0 * table[f"contract_break_chance{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    axes.axvline(100.0 * allowed, color=INK, linewidth=1.2, linestyle=(0, (4, 2)))
    axes.hlines(rows, low, high, color=ACCENT, linewidth=2.2, alpha=0.55)
    axes.plot(best, rows, "o", color=ACCENT, markersize=5.5)
    axes.set_xlim(-1.0, 101.0)
    axes.set_xlabel("chance that it is broken [%]")
    axes.grid(axis="x")
    marks: list[Mark] = [
        (Line2D([], [], color=ACCENT, marker="o", linewidth=2.2), "chance with its interval"),
        (Line2D([], [], color=INK, linewidth=1.2, linestyle=(0, (4, 2))), "as much as a promise allows"),
    ]
    return legend_above(axes, marks)
