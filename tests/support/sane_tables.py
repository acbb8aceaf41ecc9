"""What must hold of any table of results."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hopyears.sim.runs.results import Results
from hopyears.sim.wording.columns import described


def assert_sane(results: Results) -> None:
    """Figures are finite except where the column's text says so; limits in order; time within the year."""
    assert unexplained(results.tables) == []
    assert results.services["unavailable_min_per_year"].between(0.0, 366.0 * 1440.0).all()
    for table, frame in results.tables.items():
        for low in (name for name in frame if name.endswith("_low")):
            high = frame[low.removesuffix("_low") + "_high"].to_numpy(dtype=float)
            least = frame[low].to_numpy(dtype=float)
            assert not np.any(least - high > 1e-9 * (1.0 + np.abs(high))), (table, low)


def unexplained(tables: Mapping[str, pd.DataFrame]) -> list[tuple[str, str]]:
    """Columns with a figure that is none, or infinite, though their text does not say so."""
    found = []
    for table, frame in tables.items():
        for column, words in described(table):
            if column not in frame or frame[column].dtype.kind != "f":
                continue
            said = f"{words.meaning} {words.unseen}"
            values = frame[column].to_numpy()
            told = {"nan": "not a number" in said or "none" in said, "inf": "infinite" in said}
            if (np.isnan(values).any() and not told["nan"]) or (np.isinf(values).any() and not told["inf"]):
                found.append((table, column))
    return found
