"""The longest outages of each service of a run."""

import pandas as pd

from hopyears.models.basics.calendar import date_of
from hopyears.sim.counting.result_tables import columns_of
from hopyears.sim.counting.tallies import Tally

MOST_OF_A_SERVICE = 10


def longest_outages(total: Tally, block_years: int) -> pd.DataFrame:
    """Up to ``MOST_OF_A_SERVICE`` outages of each service, the longest first; number 1 is the longest.

    Parameters
    ----------
    total : Tally
        Of all blocks.
    block_years : int
        Years of a block, at least 1.
    """
    frame = total.to_frame("service_outage")
    frame = frame.sort_values(
        ["duration_s", "block", "start_s"], ascending=[False, True, True], kind="stable"
    )
    frame = frame.groupby("service", sort=False).head(MOST_OF_A_SERVICE)
    frame = frame.sort_values("service", kind="stable")
    frame["number"] = frame.groupby("service", sort=False).cumcount() + 1
    dates = zip(frame["block"], frame["start_s"], strict=True)
    frame["began"] = [str(date_of(start, first_year=1 + block * block_years)) for block, start in dates]
    return frame[columns_of("longest_outages")].reset_index(drop=True)
