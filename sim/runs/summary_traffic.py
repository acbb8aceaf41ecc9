"""Tables of results of the traffic: rates that services get, and what is not delivered, by cause."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.units import SECONDS_PER_YEAR
from sim.blocks.prepared import Prepared
from sim.counting.statistics import mean_interval
from sim.counting.tallies import Tally
from sim.counting.tally_rows import N_BINS
from sim.runs.summary_figures import UNSEEN_OUTAGE_S, put_interval


def throughput_shares(
    total: Tally, entity: int, peak_mbit_s: float, direction: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rates [Mbit/s], falling, and the share of time with at least each."""
    table = total.tables["service_throughput"]
    seconds = table.spread("seconds", (N_BINS + 1,), entity=entity, direction=direction)
    rates = peak_mbit_s * np.arange(N_BINS, -1, -1) / N_BINS
    return rates, np.cumsum(seconds[::-1]) / seconds.sum()


def throughput_table(prepared: Prepared, total: Tally) -> pd.DataFrame:
    """Share of time with at least each rate, per service and direction; only rates that occur."""
    parts = []
    for i, service in enumerate(prepared.network.services):
        for direction, name in enumerate(("forward", "backward")):
            rates, at_least = throughput_shares(total, i, service.full_rate_mbit_s, direction)
            steps = np.flatnonzero(np.diff(at_least, prepend=0.0) > 0.0)
            parts.append(
                pd.DataFrame(
                    {
                        "service": service.id,
                        "direction": name,
                        "rate_mbit_s": rates[steps],
                        "exceeded_share": at_least[steps],
                    }
                )
            )
    columns = ["service", "direction", "rate_mbit_s", "exceeded_share"]
    return pd.concat(parts) if parts else pd.DataFrame(columns=columns)


def undelivered_table(total: Tally) -> pd.DataFrame:
    """Megabits asked for and not delivered, by service, direction and exact set of causes.

    What is asked for is the peak rate, all the time; ``undelivered_committed_mbit_per_year`` is what lacks of
    the committed rate. ``hours_per_year`` is the time with less than the peak.
    """
    frame = total.to_frame("service_undelivered")
    frame = frame[frame["seconds"] > 0.0]
    whole = frame.groupby(["service", "direction"], sort=False)["undelivered_mbit"].transform("sum")
    table = pd.DataFrame(
        {
            "service": frame["service"],
            "direction": frame["direction"],
            "cause": frame["cause"],
            "undelivered_mbit_per_year": frame["undelivered_mbit"] / total.years,
            "undelivered_committed_mbit_per_year": frame["undelivered_committed_mbit"] / total.years,
            "hours_per_year": frame["seconds"] / 3600.0 / total.years,
            "share": frame["undelivered_mbit"] / whole,
        }
    )
    keys = ["service", "direction", "undelivered_mbit_per_year"]
    return table.sort_values(keys, ascending=[True, True, False], kind="stable")


def priority_table(prepared: Prepared, blocks: Sequence[Tally]) -> pd.DataFrame:
    """Megabits asked for and not delivered, both directions together, by priority and exact set of causes.

    A row ``all`` has the sum over causes. ``share`` is of all that the services of the priority ask for.
    """
    priority = {demand.id: demand.priority for demand in prepared.demands}
    asked: dict[int, float] = {}
    for demand in prepared.demands:
        both_ways = 2.0 * demand.peak_mbit_s * SECONDS_PER_YEAR
        asked[demand.priority] = asked.get(demand.priority, 0.0) + both_ways
    per_year = [_by_priority(tally, priority) / tally.years for tally in blocks]
    frame = pd.concat(per_year, axis=1).fillna(0.0).sort_index()
    rows: list[dict[str, object]] = []
    for level in sorted(asked):
        own = frame[frame.index.get_level_values("priority") == level]
        by_cause = own.to_numpy(dtype=np.float64)
        causes = ["all", *own.index.get_level_values("cause")]
        named = zip(causes, [by_cause.sum(axis=0), *by_cause], strict=True)
        for cause, values in named:
            row: dict[str, object] = {"priority": level, "cause": cause}
            # Where nothing was lost: at most all services of the priority for the length of one outage.
            unseen = asked[level] * UNSEEN_OUTAGE_S / SECONDS_PER_YEAR / blocks[0].years
            put_interval(row, "undelivered_mbit_per_year", mean_interval(values, largest_unseen=unseen))
            row["share"] = float(values.mean()) / asked[level]
            rows.append(row)
    columns = ["priority", "cause", "undelivered_mbit_per_year", "undelivered_mbit_per_year_low"]
    table = pd.DataFrame(rows, columns=[*columns, "undelivered_mbit_per_year_high", "share"])
    table["_part"] = table["cause"] != "all"
    keys = ["priority", "_part", "undelivered_mbit_per_year"]
    table = table.sort_values(keys, ascending=[True, True, False], kind="stable")
    return table.drop(columns="_part").reset_index(drop=True)


def _by_priority(tally: Tally, priority: Mapping[str, int]) -> pd.Series:
    """Undelivered megabits of one block by priority and cause."""
    frame = tally.to_frame("service_undelivered")
    frame = frame[frame["seconds"] > 0.0]
    level = frame["service"].map(priority).astype(np.int64).rename("priority")
    return frame.groupby([level, "cause"])["undelivered_mbit"].sum()
