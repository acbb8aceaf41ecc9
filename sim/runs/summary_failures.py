"""Tables of failures by kind of part, by site and by crew: how often, how long, and their share of outage."""

from collections.abc import Mapping, Sequence

import pandas as pd
import pyarrow as pa

from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH

_TABLES = {
    "part_failures": ("failures_kind", "kind"),
    "site_failures": ("failures_site", "site"),
    "crew_visits": ("failures_crew", "crew"),
}
FAILURE_TABLES = tuple(table for table, _ in _TABLES.values())
"""Tables of a block that ``failure_frames`` takes."""


def failure_frames(stored: Sequence[Mapping[str, pa.Table]], total: Tally) -> dict[str, pd.DataFrame]:
    """The three tables of a run, from those of its blocks and its whole tally."""
    unavailable_s = total.tables["service_total"]
    lost_s = float(unavailable_s.value("unavailable_s")[unavailable_s.key("direction") == BOTH].sum())
    return {
        name: failure_table([block[table] for block in stored], row, total.years, lost_s)
        for name, (table, row) in _TABLES.items()
    }


def failure_table(blocks: Sequence[pa.Table], name: str, years: int, lost_s: float) -> pd.DataFrame:
    """Events a year, hours a year, and share of the services' outage of each row.

    Parameters
    ----------
    blocks : sequence of Table
        Of every block, with the same rows.
    name : str
        Column of the names.
    years : int
        Observed.
    lost_s : float
        Unavailable time of all services together [s]: the whole of ``outage_share``.
    """
    frames = [block.to_pandas() for block in blocks]
    summed = sum((frame.drop(columns=name) for frame in frames[1:]), frames[0].drop(columns=name))
    result = pd.DataFrame({name: frames[0][name]})
    for column in summed.columns.drop("outage_s"):
        if column.endswith("_s"):
            result[f"{column.removesuffix('_s')}_h_per_year"] = summed[column] / years / 3600.0
        else:
            result[f"{column}_per_year"] = summed[column] / years
    result["outage_min_per_year"] = summed["outage_s"] / years / 60.0
    result["outage_share"] = summed["outage_s"] / lost_s if lost_s > 0.0 else 0.0
    return result
