"""What the blocks of a run counted, put together block after block, so that years take little memory."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.calendar import month_of
from hopyears.sim.blocks.block_tally import run_of
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tallies import TABLES, Tally, add_tallies, by_month
from hopyears.sim.counting.tally_rows import BOTH, OUTAGE
from hopyears.sim.counting.years import worst_month
from hopyears.sim.runs.summary_failures import FAILURE_TABLES
from hopyears.sim.storage.run_folder import RunFolder

MOST_OF_A_SERVICE = 10
"""Longest outages of a service that are kept."""

MONTH_SUMS = Columns(("entity", "month"), ("unavailable_s", "outages_s", "squares", "seen"))
"""By month of the year (0 to 11), both ways together, over the years: unavailable time; length of the outages
that began in it, and its square; how many rows there were."""

_OF_BLOCKS = ("service_total", "service_traffic", "service_undelivered", "hop_total")
"""Tables of a tally that are needed of each block by itself."""

_JOINED = 8
"""Blocks whose tables are joined at a time."""


@dataclass(frozen=True)
class BlocksSeen:
    """Counts of a run.

    Attributes
    ----------
    total : Tally
        Of all blocks, without rows of months; of outages the ``MOST_OF_A_SERVICE`` longest of each service.
    blocks : list of Tally
        One a block, with few tables.
    months : KeyedTable
        Of columns ``MONTH_SUMS``.
    worst_month_s : float array, shape (n_blocks, n_services)
        Unavailable time of the worst month of a year, mean over the years of each block.
    failures : list of dict
        ``FAILURE_TABLES`` of each block.
    """

    total: Tally
    blocks: list[Tally]
    months: KeyedTable
    worst_month_s: Floats
    failures: list[dict[str, pa.Table]]

    @classmethod
    def read(cls, prepared: Prepared, folder: RunFolder) -> "BlocksSeen":
        """From the finished blocks of a run."""
        manifest = folder.manifest()
        run = run_of(prepared, manifest["identity"], manifest["block_years"])
        blocks, worst, failures = [], [], []
        totals, months = list[Tally](), list[KeyedTable]()
        for number in folder.finished_blocks():
            stored = folder.read_block(number, *TABLES, *FAILURE_TABLES)
            failures.append({name: stored[name] for name in FAILURE_TABLES})
            tally = Tally.from_arrow(run, [number], stored)
            blocks.append(replace(tally, tables={name: tally.tables[name] for name in _OF_BLOCKS}))
            worst.append(worst_month(by_month(tally, "service_month", "unavailable_s"))[:, 0])
            months.append(month_sums(tally))
            totals.append(_without_times(tally))
            if len(totals) == _JOINED:
                totals, months = [_joined(totals)], [KeyedTable.joined(MONTH_SUMS, months)]
        return cls(_joined(totals), blocks, KeyedTable.joined(MONTH_SUMS, months), np.array(worst), failures)


def month_sums(tally: Tally) -> KeyedTable:
    """Rows of ``MONTH_SUMS``."""
    month, outage = tally.tables["service_month"], tally.tables["service_outage"]
    both = month.key("direction") == BOTH
    lost_s, lasted_s = month.value("unavailable_s")[both], outage.value("duration_s")
    keys = np.concatenate(
        [
            np.column_stack([month.key("entity")[both], month.key("month")[both]]),
            np.column_stack([outage.key("entity"), month_of(outage.key("start_s"))]),
        ]
    )
    values = np.zeros((len(keys), len(MONTH_SUMS.sums)))
    values[: lost_s.size, 0], values[: lost_s.size, 3] = lost_s, 1.0
    values[lost_s.size :, 1], values[lost_s.size :, 2] = lasted_s, lasted_s**2
    return KeyedTable.collect(MONTH_SUMS, keys, values)


def month_table(tally: Tally, sums: KeyedTable) -> pd.DataFrame:
    """Unavailable minutes of each calendar month (1 to 12), mean over the years, with their outages.

    These are weighed by length: n if alike, 1 if one outlasts the rest; the square of their sum over the sum
    of their squares (Kish 1965, effective sample size; from memory).
    """
    assert tally.run is not None
    lasted_s, squares = sums.value("outages_s"), sums.value("squares")
    return pd.DataFrame(
        {
            "service": np.array(tally.run.service_ids, dtype=object)[sums.key("entity")],
            "month": sums.key("month") + 1,
            "unavailable_min_per_year": sums.value("unavailable_s") / 60.0 / tally.years,
            "outages_weighed": np.where(squares > 0.0, lasted_s**2 / np.maximum(squares, 1e-300), 0.0),
        }
    )


def _without_times(tally: Tally) -> Tally:
    """A tally without months, and with the longest outages alone."""
    by_time = {name: KeyedTable.empty(TABLES[name]) for name in ("service_month", "hop_month")}
    outages = {"service_outage": _longest(tally.tables["service_outage"])}
    return replace(tally, tables={**tally.tables, **by_time, **outages})


def _joined(tallies: list[Tally]) -> Tally:
    return _without_times(add_tallies(tallies))


def _longest(outages: KeyedTable) -> KeyedTable:
    """The longest outages of each service, the earlier ones where they are alike."""
    keys = (outages.key("start_s"), outages.key("block"), -outages.value("duration_s"))
    order = np.lexsort((*keys, outages.key("entity")))
    entity = outages.key("entity")[order]
    rank = np.arange(entity.size) - np.searchsorted(entity, entity)
    kept = order[rank < MOST_OF_A_SERVICE]
    return KeyedTable.collect(OUTAGE, outages.keys[kept], outages.values[kept])
