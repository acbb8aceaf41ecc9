"""Tables of a study of adaptive against fixed modulation, from the findings of its blocks."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import cause_label
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import SHARES, UNSEEN_OUTAGE_S, exceeded_rate, put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import difference_interval, mean_interval, paired_difference
from hopyears.sim.modulation.findings import ADAPTIVE, BlockFindings, Finding, Spent
from hopyears.sim.runs.summary_traffic import MISSING, by_priority
from hopyears.sim.services.service_data import ServiceDemand

_Findings = Mapping[tuple[int, int], Finding]


def study_tables(
    prepared: Prepared, blocks: Sequence[BlockFindings], n_years: int
) -> dict[str, pd.DataFrame]:
    """Tables of a study by name.

    Parameters
    ----------
    prepared : Prepared
    blocks : sequence of BlockFindings
    n_years : int
        Years of a block.

    Returns
    -------
    dict of str to DataFrame
        Columns as ``sim.wording.columns`` describes them for the tables ``modulation_...``; ``states`` 0 is
        adaptive. Bundles follow the hops, but not in ``hop_modulations``.
    """
    hops = [*(design.hop.id for design in prepared.designs), *prepared.bundles]
    services = [demand.id for demand in prepared.demands]
    by_hop, by_service = [block.hops for block in blocks], [block.services for block in blocks]
    return {
        "hops": _cases("hop", hops, by_hop, n_years),
        "hop_curves": _curves("hop", hops, by_hop),
        "hop_weather": _weather(hops, blocks, n_years),
        "services": _with_lost(_cases("service", services, by_service, n_years), prepared, blocks, n_years),
        "service_curves": _curves("service", services, by_service),
        "hop_modulations": _with_busy(
            _shares("hop", hops, [block.hop_states for block in blocks]),
            _shares("hop", hops, [block.busy_states for block in blocks]),
        ),
        "service_modulations": _shares("service", services, [block.route_states for block in blocks]),
        "undelivered": _undelivered(prepared.demands, blocks, n_years),
    }


def _cases(kind: str, names: Sequence[str], blocks: Sequence[_Findings], n_years: int) -> pd.DataFrame:
    rows = []
    for number, states in sorted(blocks[0]):
        found = [block[number, states] for block in blocks]
        adaptive = [block[number, ADAPTIVE] for block in blocks]
        row: dict[str, object] = {kind: names[number], "states": states}
        rate, at_least = _at_least(found)
        row["best_mbit_s"] = float(rate[0])
        minutes, before = _minutes(found, n_years), _minutes(adaptive, n_years)
        severe = np.array([each.severely_errored_s for each in found]) / n_years
        mean, mean_before = (np.array([each.mean_mbit_s for each in side]) for side in (found, adaptive))
        bound = UNSEEN_OUTAGE_S / 60.0 / n_years
        put_interval(row, "unavailable_min_per_year", mean_interval(minutes, largest_unseen=bound))
        put_interval(row, "severely_errored_s_per_year", mean_interval(severe, largest_unseen=10.0 / n_years))
        put_interval(row, "mean_mbit_s", difference_interval(mean))
        for ending, share in SHARES.items():
            row[f"mbit_s_{ending}"] = exceeded_rate(rate, at_least, share)
        put_interval(row, "difference_min_per_year", paired_difference(minutes, before))
        put_interval(row, "difference_mbit_s", paired_difference(mean, mean_before))
        if kind == "hop":
            for name, side in (("below_best", found), ("adaptive_below", adaptive)):
                below = np.array([_below_s(each, float(rate[0])) for each in side]) / 60.0 / n_years
                put_interval(row, f"{name}_min_per_year", mean_interval(below, largest_unseen=bound))
        rows.append(row)
    return pd.DataFrame(rows)


def _weather(names: Sequence[str], blocks: Sequence[BlockFindings], n_years: int) -> pd.DataFrame:
    bound = UNSEEN_OUTAGE_S / 60.0 / n_years
    rows = []
    for number, states in sorted(blocks[0].weather):
        whole = [block.hops[number, states] for block in blocks]
        best = float(_at_least(whole)[0][0])
        row: dict[str, object] = {"hop": names[number]}
        for start, side in (("", whole), ("weather_", [block.weather[number, states] for block in blocks])):
            below = np.array([_below_s(each, best) for each in side]) / 60.0 / n_years
            steps = np.array([each.steps for each in side]) / n_years
            for name, values, most in (
                ("unavailable_min_per_year", _minutes(side, n_years), bound),
                ("below_best_min_per_year", below, bound),
                ("steps_per_year", steps, 2.0 / n_years),
            ):
                put_interval(row, f"{start}{name}", mean_interval(values, largest_unseen=most))
        rows.append(row)
    return pd.DataFrame(rows)


def _minutes(found: Sequence[Finding], n_years: int) -> Floats:
    return np.array([each.unavailable_s for each in found]) / 60.0 / n_years


def _below_s(found: Finding, rate_mbit_s: float) -> float:
    """Time with less than a rate, to the nearest kbit/s."""
    return float(found.seconds[found.rate_mbit_s < rate_mbit_s - 5e-4].sum())


def _at_least(found: Sequence[Finding]) -> tuple[Floats, Floats]:
    """Rates [Mbit/s], falling, and the share of the time with at least each."""
    rate, where = np.unique(np.concatenate([each.rate_mbit_s for each in found]), return_inverse=True)
    seconds = np.bincount(where, weights=np.concatenate([each.seconds for each in found]))
    met = seconds > 0.0
    falling = seconds[met][::-1]
    return rate[met][::-1], np.cumsum(falling) / falling.sum()


def _curves(kind: str, names: Sequence[str], blocks: Sequence[_Findings]) -> pd.DataFrame:
    parts = []
    for number, states in sorted(blocks[0]):
        rate, at_least = _at_least([block[number, states] for block in blocks])
        parts.append(
            pd.DataFrame({kind: names[number], "states": states, "mbit_s": rate, "exceeded_share": at_least})
        )
    return pd.concat(parts, ignore_index=True) if parts else table_of(f"modulation_{kind}_curves", ())


def _shares(kind: str, names: Sequence[str], blocks: Sequence[Mapping[int, Spent]]) -> pd.DataFrame:
    """Share of the time at each modulation."""
    rows = []
    for number in sorted(blocks[0]):
        spent: dict[int, float] = {}
        for block in blocks:
            for states, seconds in zip(*block[number], strict=True):
                spent[int(states)] = spent.get(int(states), 0.0) + float(seconds)
        whole = sum(spent.values())
        rows += [
            {kind: names[number], "states": states, "share": spent[states] / whole}
            for states in sorted(spent)
        ]
    return pd.DataFrame(rows, columns=[kind, "states", "share"])


def _with_busy(shares: pd.DataFrame, busy: pd.DataFrame) -> pd.DataFrame:
    """Beside the share of all hours that of busy ones."""
    return shares.merge(busy.rename(columns={"share": "busy_share"}), on=["hop", "states"], how="left")


def _with_lost(
    table: pd.DataFrame, prepared: Prepared, blocks: Sequence[BlockFindings], n_years: int
) -> pd.DataFrame:
    """Beside the rates of services what they lack of what they ask for."""
    rows = []
    for number, states in sorted(blocks[0].services):
        demand = prepared.demands[number]
        lost = np.array([block.undelivered[number, states][1][:, 0].sum() for block in blocks]) / 1000.0
        duration_s = n_years * SECONDS_PER_YEAR
        asked = sum(demand.peak_ways_mbit_s) * demand.asked_share(duration_s) * SECONDS_PER_YEAR / 1000.0
        bound = sum(demand.peak_ways_mbit_s) * UNSEEN_OUTAGE_S / 1000.0 / n_years
        row: dict[str, object] = {}
        put_interval(row, "undelivered_gbit_per_year", mean_interval(lost / n_years, largest_unseen=bound))
        rows.append(row | {"undelivered_share": float(lost.mean()) / n_years / asked})
    return table.join(pd.DataFrame(rows, index=table.index))


def _undelivered(
    demands: Sequence[ServiceDemand], blocks: Sequence[BlockFindings], n_years: int
) -> pd.DataFrame:
    """By modulation, priority and cause, the sum over causes with its difference to adaptive modulation."""
    ends = [f"difference_{name}_per_year{end}" for name in MISSING for end in ("", "_low", "_high")]
    parts = []
    for states in sorted({states for _, states in blocks[0].undelivered}):
        table = by_priority(demands, [_frame(demands, block, states) for block in blocks], n_years)
        rows = [
            _differences(demands, blocks, states, level, n_years) if cause == "all" else {}
            for level, cause in zip(table["priority"], table["cause"], strict=True)
        ]
        table = table.join(pd.DataFrame(rows, columns=ends, dtype=np.float64))
        table.insert(0, "states", states)
        parts.append(table)
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def _differences(
    demands: Sequence[ServiceDemand], blocks: Sequence[BlockFindings], states: int, level: int, n_years: int
) -> dict[str, object]:
    """What more a priority lacks at a fixed modulation than with adaptive modulation."""
    new, old = (
        np.array([_of_level(demands, block, each, level) for block in blocks]) / n_years
        for each in (states, ADAPTIVE)
    )
    row: dict[str, object] = {}
    for column, name in enumerate(MISSING):
        difference = paired_difference(new[:, column], old[:, column])
        put_interval(row, f"difference_{name}_per_year", difference)
    return row


def _frame(demands: Sequence[ServiceDemand], block: BlockFindings, states: int) -> pd.DataFrame:
    """What every service lacks by cause, in one block at one modulation."""
    rows = [
        (demand.id, cause_label(int(cause)), *map(float, megabits))
        for number, demand in enumerate(demands)
        for cause, megabits in zip(*block.undelivered[number, states], strict=True)
    ]
    return pd.DataFrame(rows, columns=["service", "cause", *MISSING])


def _of_level(demands: Sequence[ServiceDemand], block: BlockFindings, states: int, level: int) -> Floats:
    """What lacks of the peak and committed rates of a priority [Mbit], shape (2,)."""
    own = [number for number, demand in enumerate(demands) if demand.priority == level]
    lacking = np.array([block.undelivered[number, states][1].sum(axis=0) for number in own])
    total: Floats = lacking.sum(axis=0)
    return total
