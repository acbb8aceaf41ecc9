"""Tables of results of the traffic: rates that services get, and what is not delivered, by cause."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR, SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S, per_block, put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval, mean_interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH, N_BINS
from hopyears.sim.services.service_data import ServiceDemand

MISSING = ("undelivered_mbit", "undelivered_committed_mbit")
"""Columns of what lacks of the peak and of the committed rate [Mbit]."""

BELOW_COMMITTED = "below_committed_min_per_year"
"""Column of the time in which a service that is not down gets less than its committed rate."""


def below_committed(blocks: Sequence[Tally], n: int, direction: int) -> list[Interval]:
    """Minutes a year below committed of each of ``n`` services, one way or both (2), from the blocks."""
    years = blocks[0].years
    minutes = per_block(blocks, "service_traffic", "below_committed_s", n, direction=direction) / 60.0 / years
    bound = UNSEEN_OUTAGE_S / 60.0 / years
    found = (mean_interval(minutes[:, i], largest_unseen=bound) for i in range(n))
    return [each.within(0.0, MINUTES_PER_YEAR) for each in found]


def planned_minutes(total: Tally, n: int) -> Floats:
    """Unavailable minutes a year of each service with planned work among the causes, both ways together."""
    table = total.tables["service_cause"]
    here = (table.key("direction") == BOTH) & ((table.key("causes") & int(Cause.MAINTENANCE)) != 0)
    seconds = np.bincount(table.key("entity")[here], table.value("unavailable_s")[here], minlength=n)
    return seconds / 60.0 / total.years


def throughput_shares(total: Tally, entity: int, peak_mbit_s: float, direction: int) -> tuple[Floats, Floats]:
    """Rates [Mbit/s], falling, and the share of time with at least each."""
    own = total.tables["service_throughput"].of(entity)
    seconds = own.spread("seconds", (N_BINS + 1,), entity=entity, direction=direction)
    rates = peak_mbit_s * np.arange(N_BINS, -1, -1) / N_BINS
    return rates, np.cumsum(seconds[::-1]) / seconds.sum()


def throughput_table(prepared: Prepared, total: Tally) -> pd.DataFrame:
    """Share of time with at least each rate, per service and direction; only rates that occur."""
    parts = []
    for i, service in enumerate(prepared.network.services):
        for direction in range(2):
            rates, at_least = throughput_shares(total, i, service.full_ways_mbit_s[direction], direction)
            steps = np.flatnonzero(np.diff(at_least, prepend=0.0) > 0.0)
            parts.append((rates[steps], at_least[steps]))
    if not parts:
        return table_of("service_throughput", ())
    names = [(service.id, way) for service in prepared.network.services for way in ("forward", "backward")]
    service, direction = np.repeat(np.array(names, dtype=object), [len(part[0]) for part in parts], axis=0).T
    rates, at_least = (np.concatenate(column) for column in zip(*parts, strict=True))
    columns = {"service": service, "direction": direction, "rate_mbit_s": rates, "exceeded_share": at_least}
    return pd.DataFrame(columns).astype({"service": "str", "direction": "str"})


def undelivered_table(total: Tally) -> pd.DataFrame:
    """Megabits asked for and not delivered, by service, direction and exact set of causes.

    What is asked for is the peak rate, or its share by the service's demand profile;
    ``undelivered_committed_mbit_per_year`` is what lacks of the committed rate, likewise. ``hours_per_year``
    is the time with less than was asked for.
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
            BELOW_COMMITTED: frame["below_committed_s"] / 60.0 / total.years,
            "hours_per_year": frame["seconds"] / 3600.0 / total.years,
            "share": frame["undelivered_mbit"] / whole,
        }
    )
    keys = ["service", "direction", "undelivered_mbit_per_year"]
    return table.sort_values(keys, ascending=[True, True, False], kind="stable")


def priority_table(prepared: Prepared, blocks: Sequence[Tally]) -> pd.DataFrame:
    """What is not delivered by priority and cause over the blocks of a run: see ``by_priority``."""
    frames = [tally.to_frame("service_undelivered") for tally in blocks]
    return by_priority(prepared.demands, frames, blocks[0].years)


def by_priority(
    demands: Sequence[ServiceDemand], blocks: Sequence[pd.DataFrame], block_years: int
) -> pd.DataFrame:
    """Megabits asked for and not delivered, both directions together, by priority and exact set of causes.

    Parameters
    ----------
    demands : sequence of ServiceDemand
    blocks : sequence of DataFrame
        One for each block, with columns service, cause and ``MISSING``.
    block_years : int

    Returns
    -------
    DataFrame
        Columns priority, cause, ``undelivered_mbit_per_year`` (of the peak rates) and
        ``undelivered_committed_mbit_per_year``, each with its interval, ``share`` and ``committed_share``
        of all that the services of the priority ask for at those rates. A row ``all`` has the sum over
        causes and comes first.
    """
    level_of = {demand.id: demand.priority for demand in demands}
    frame = _sums(blocks, level_of) / block_years
    rows: list[dict[str, object]] = []
    for level in sorted(set(level_of.values())):
        own = frame[frame.index.get_level_values("priority") == level]
        asked = _asked_mbit(demands, level, block_years)
        causes = own.index.get_level_values("cause")
        named = [("all", own.sum()), *((str(cause), own.iloc[i]) for i, cause in enumerate(causes))]
        for cause, values in named:
            row: dict[str, object] = {"priority": level, "cause": cause}
            for name, ending, of_all in zip(MISSING, ("share", "committed_share"), asked, strict=True):
                by_block = values[name].to_numpy(dtype=np.float64)
                # Where nothing was lost: at most all services of the priority for the length of one outage.
                unseen = of_all * UNSEEN_OUTAGE_S / SECONDS_PER_YEAR / block_years
                put_interval(row, f"{name}_per_year", mean_interval(by_block, largest_unseen=unseen))
                row[ending] = float(by_block.mean()) / of_all if of_all else 0.0
            rows.append(row)
    table = table_of("priority_undelivered", rows)
    table["_part"] = table["cause"] != "all"
    keys = ["priority", "_part", f"{MISSING[0]}_per_year"]
    table = table.sort_values(keys, ascending=[True, True, False], kind="stable")
    return table.drop(columns="_part").reset_index(drop=True)


def _sums(blocks: Sequence[pd.DataFrame], level_of: Mapping[str, int]) -> pd.DataFrame:
    """Undelivered megabits by priority and cause, in order; columns ``MISSING``, each by block."""
    frame = pd.concat(blocks, keys=range(len(blocks)), names=["block"])
    frame = frame[frame[MISSING[0]] > 0.0]
    level = frame["service"].map(level_of).astype(np.int64).rename("priority")
    sums = frame.groupby([level, "cause", "block"])[[*MISSING]].sum()
    every = pd.MultiIndex.from_product([MISSING, range(len(blocks))])
    return pd.DataFrame(sums.unstack("block"), columns=every).fillna(0.0)


def _asked_mbit(demands: Sequence[ServiceDemand], level: int, block_years: int) -> tuple[float, float]:
    """Megabits a year that the services of a priority ask for, both ways: at their peak, as committed."""
    own = [
        (demand, demand.asked_share(block_years * SECONDS_PER_YEAR))
        for demand in demands
        if demand.priority == level
    ]
    return (
        SECONDS_PER_YEAR * sum(sum(demand.peak_ways_mbit_s) * share for demand, share in own),
        SECONDS_PER_YEAR * sum(sum(demand.committed_ways_mbit_s) * share for demand, share in own),
    )
