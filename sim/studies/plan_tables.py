"""Frames of a comparison: differences by service and cause, of the bill, and of each plan as a whole."""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from hopyears.models.equipment.plant import PlantPart
from hopyears.models.judging.cause import cause_label
from hopyears.models.money.costs import Cost, CostRow, Terms
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.money.network_costs import USED, VISIT, terms_of
from hopyears.sim.money.service_money import judged_in_money
from hopyears.sim.rare.service_figures import ServiceFigures
from hopyears.sim.studies.plan_sides import (
    BELOW,
    COST,
    COUNT,
    FIGURES,
    LOST,
    MINUTES,
    PENALTY,
    Side,
    Units,
    paired,
    paired_causes,
)
from hopyears.sim.studies.ranking import Ranking, ranked, undominated

ALL = "all services"
"""In place of a service: the sum over all that base and plan both have, by their weights in the base."""

BY_MINUTES, BY_MONEY = "weighted minutes", "cost a year with penalties and undelivered gigabits"
"""What plans are ranked by: the latter where there are prices and outages of services cost something."""


class Comparison(NamedTuple):
    """Frames ``plans``, ``differences``, ``difference_causes`` and ``bill_differences``."""

    plans: pd.DataFrame
    differences: pd.DataFrame
    difference_causes: pd.DataFrame
    bill_differences: pd.DataFrame


def comparison(sides: Sequence[Side], seed: int) -> Comparison:
    """All frames of a comparison; the first side is the base."""
    base, *plans = sides
    weights = {name: service.weight for name, service in base.services.items()}
    terms = terms_of(base.figures.prepared.network)
    differing = pd.concat([differences(base, plan, weights) for plan in plans], ignore_index=True)
    causes = pd.concat([cause_differences(base, plan, weights) for plan in plans], ignore_index=True)
    bills = pd.concat([bill_differences(base, plan, terms) for plan in plans], ignore_index=True)
    return Comparison(_plan_table(sides, weights, terms, seed, differing, bills), differing, causes, bills)


def _common(base: Side, plan: Side, weights: dict[str, float]) -> dict[str, float]:
    return {name: weight for name, weight in weights.items() if name in plan.services}


def differences(base: Side, plan: Side, weights: dict[str, float]) -> pd.DataFrame:
    """Frame ``differences``: plan less base of every service that both have, and of their weighted sum."""
    common = _common(base, plan, weights)
    figures, rows = (base.figures, plan.figures), []
    for service in common:
        row: dict[str, object] = {"plan": plan.name, "service": service, "weight": common[service]}
        for name, side, made in zip(("base", "plan"), (base, plan), figures, strict=True):
            minutes = made.interval(side.numbers[service], 0).scaled(1.0 / 60.0)
            put_interval(row, f"{name}_min_per_year", minutes)
        money = judged_in_money(base.services[service]) or judged_in_money(plan.services[service])
        _put_differences(row, lambda f, s=service: (base.units(s, f), plan.units(s, f)), money=money)  # type: ignore[misc]
        rows.append(row)
    if common:
        row = {"plan": plan.name, "service": ALL, "weight": float(sum(common.values()))}
        for name in ("base", "plan"):
            for end in ("", "_low", "_high"):
                row[f"{name}_min_per_year{end}"] = np.nan
            sums = [
                weight * float(str(each[f"{name}_min_per_year"]))
                for each, weight in zip(rows, common.values(), strict=True)
            ]
            row[f"{name}_min_per_year"] = sum(sums)
        money = any(judged_in_money(side.services[s]) for side in (base, plan) for s in common)
        _put_differences(row, lambda f: (base.summed(common, f), plan.summed(common, f)), money=money)
        rows.append(row)
    return pd.DataFrame(rows)


def _put_differences(
    row: dict[str, object], units: Callable[[str], tuple[Units, Units]], *, money: bool
) -> None:
    for figure in FIGURES:
        found = paired(*units(figure))
        put_interval(row, f"difference_{figure}", found)
        if figure == MINUTES:
            row["sure"] = found.excludes_zero
        if figure in (PENALTY, COST) and not money:
            row |= {f"difference_{figure}{end}": np.nan for end in ("", "_low", "_high")}


def cause_differences(base: Side, plan: Side, weights: dict[str, float]) -> pd.DataFrame:
    """Frame ``difference_causes``: the minutes by exact set of causes, from the blocks as they were drawn."""
    common = _common(base, plan, weights)
    before, after = base.cause_minutes(), plan.cause_minutes()
    nothing, rows = np.zeros(len(base.blocks)), []
    for key in sorted({*before, *after}):
        if key[0] in common:
            found = paired_causes(before.get(key, nothing), after.get(key, nothing), base.blocks[0].years)
            row: dict[str, object] = {"plan": plan.name, "service": key[0], "cause": cause_label(key[1])}
            put_interval(row, "difference_min_per_year", found)
            rows.append(row)
    return table_of("difference_causes", rows)


def bill_differences(base: Side, plan: Side, terms: Terms | None) -> pd.DataFrame:
    """Frame ``bill_differences``: rows of the bill that a plan adds, removes or changes, and their money."""
    data = [
        (plan.name, *key, *counts, *cost) for key, counts, cost in changed_rows(base.bill, plan.bill, terms)
    ]
    return table_of("bill_differences", data)


def changed_rows(
    before: Sequence[CostRow], after: Sequence[CostRow], terms: Terms | None
) -> Iterator[tuple[tuple[str, str, str], tuple[float, float], Cost]]:
    """(Place, item, type), counts and money less before of each row of a bill that changed."""
    rows: dict[tuple[str, str, str], tuple[list[CostRow], list[CostRow]]] = {}
    for side, bill in enumerate((before, after)):
        for row in bill:
            key = (row.place, row.item, "/".join(filter(None, (row.kind, row.band))))
            rows.setdefault(key, ([], []))[side].append(row)
    for key, held in rows.items():
        if held[0] != held[1]:
            counts = tuple(float(sum(row.count for row in side)) for side in held)
            money = Cost(*(float("nan"),) * 3)
            if terms is not None and all(row.priced for side in held for row in side):
                money = terms.cost_of(held[1]) - terms.cost_of(held[0])
            yield key, (counts[0], counts[1]), money


def _plan_table(
    sides: Sequence[Side],
    weights: dict[str, float],
    terms: Terms | None,
    seed: int,
    differing: pd.DataFrame,
    bills: pd.DataFrame,
) -> pd.DataFrame:
    """Frame ``plans``: each plan as a whole, and the network as it is."""
    base = sides[0]
    sums = differing[differing["service"] == ALL].set_index("plan")
    kept = {name: weight for name, weight in weights.items() if all(name in side.services for side in sides)}
    costs = [Cost(0.0, 0.0, 0.0) if terms is None else side.cost(terms) - base.cost(terms) for side in sides]
    by_year = [0.0 if terms is None else terms.by_year(cost.present) for cost in costs]
    money = terms is not None and any(judged_in_money(side.services[s]) for side in sides for s in kept)
    hardware = bills[~bills["item"].astype(str).str.startswith((VISIT, USED))]
    ranking = _ranking(sides, kept, by_year if money else [0.0] * len(sides), seed, money=money)
    rows = []
    for i, side in enumerate(sides):
        row: dict[str, object] = {"plan": side.name}
        for name in (f"difference_{figure}" for figure in (MINUTES, COUNT, BELOW, LOST, PENALTY, COST)):
            for end in ("", "_low", "_high"):
                row[f"{name}{end}"] = sums.loc[side.name, f"{name}{end}"] if side.name in sums.index else 0.0
        saved = {"min": row[f"difference_{MINUTES}"], "outage_cost": row[f"difference_{COST}"]}
        changed = hardware[hardware["plan"] == side.name]
        row |= dict(zip(("capital", "yearly", "present"), costs[i], strict=True))
        row["cost_per_year"] = by_year[i]
        row["rows_without_price"] = 0 if terms is None else int(changed["present"].isna().sum())
        for name, value in saved.items():
            row[f"{name}_saved_per_cost"] = -float(str(value)) / by_year[i] if by_year[i] > 0.0 else np.nan
        if terms is None:
            row |= dict.fromkeys(("capital", "yearly", "present", "cost_per_year"), np.nan)
        row |= {
            "rank": int(ranking.rank[i]),
            "rank_chance": float(ranking.right_chance[i]),
            "best_chance": float(ranking.best_chance[i]),
            "order_chance": ranking.order_chance,
            "ranked_by": BY_MONEY if money else BY_MINUTES,
            "services_added": ", ".join(name for name in side.services if name not in weights),
            "services_removed": ", ".join(name for name in weights if name not in side.services),
            "pairing_lost": "; ".join(lost_pairing(base.figures, side.figures)),
        }
        rows.append(row)
    table = pd.DataFrame(rows)
    dear = np.zeros(len(sides)) if terms is None else table["cost_per_year"]
    table["undominated"] = undominated(dear, table[f"difference_{MINUTES}"])
    return table.sort_values("rank", kind="stable").reset_index(drop=True)


def _ranking(
    sides: Sequence[Side], weights: dict[str, float], known: Sequence[float], seed: int, *, money: bool
) -> Ranking:
    """Ranking by what plans are for; services that some plan lacks have no part in it."""
    units = [side.summed(weights, COST if money else MINUTES) for side in sides]
    strata = [np.column_stack([each[k][0] for each in units]) for k in range(len(units[0]) if units else 0)]
    return ranked(strata, known, seed)


def lost_pairing(base: ServiceFigures, plan: ServiceFigures) -> list[str]:
    """Why draws of a plan are not those of the base, in words; empty where they are."""
    one, other = base.prepared, plan.prepared
    reasons = []
    if one.options.rain and _storms(one) != _storms(other):
        reasons.append("all storms are others: the plan changes the climate that they come from")
    elif one.options.rain and one.weather.centre_deg != other.weather.centre_deg:
        reasons.append(
            "the same storms lie a little otherwise: the plan moves the middle of the network, about which "
            "the map is drawn"
        )
    if one.options.failures:
        if moved := _moved_supplies(one, other):
            reasons.append(
                f"mains of {moved} untouched sites fail at slightly other times: they follow the mean time "
                "with storms near of all sites"
            )
        before, after = ({part.id for part in _rare(each)} for each in (base, plan))
        common = {part.id for part in one.built.plant.parts} & {part.id for part in other.built.plant.parts}
        if moved := len((before ^ after) & common):
            reasons.append(f"{moved} parts left or joined the rare ones whose failures are put in by hand")
    return reasons


def _storms(prepared: Prepared) -> object:
    """All that decides which storms are born: they come from the map of the globe, whatever the network."""
    rate_mm_h = prepared.network.climate.rain_rate_001_mm_h
    stated_at = None if rate_mm_h is None else prepared.weather.centre_deg
    return prepared.network.climate, prepared.storms, stated_at


def _moved_supplies(one: Prepared, other: Prepared) -> int:
    """Sites of both whose mains fail at another rate though their supply is the same in both files."""
    sides = []
    for prepared in (one, other):
        named = zip(prepared.network.sites, prepared.built.plant.sites, strict=True)
        sides.append({site.id: (prepared.network.power_of(site), built.power) for site, built in named})
    common = sides[0].keys() & sides[1].keys()
    return sum(sides[0][i][0] == sides[1][i][0] and sides[0][i][1] != sides[1][i][1] for i in common)


def _rare(figures: ServiceFigures) -> list[PlantPart]:
    parts = figures.prepared.built.plant.parts
    return [parts[number] for hand in figures.by_hand for number in np.flatnonzero(hand.held).tolist()]
