"""What must hold of any table of results."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hopyears.sim.wording.columns import described


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
