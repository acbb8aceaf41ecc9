"""How many services keep their objectives, for whoever shows the table ``service_objectives``."""

import pandas as pd

from hopyears.sim.counting.statistics import LEVEL

OBJECTIVES = {
    "availability": "availability",
    "severely_errored": "severely errored seconds",
    "outages": "outages a year",
}
"""Objectives by the name in their columns, in words."""

_CONFIDENCE = [f"{name}_met_confidence" for name in OBJECTIVES]


def least_sure_first(objectives: pd.DataFrame) -> pd.DataFrame:
    """Rows by the objective of theirs that is least surely met, the least sure first.

    Parameters
    ----------
    objectives : DataFrame
        The table ``service_objectives`` (``sim.runs.objective_table``).
    """
    least = objectives[_CONFIDENCE].min(axis=1)
    return objectives.loc[least.sort_values(kind="stable").index]


def objectives_summary(objectives: pd.DataFrame) -> str:
    """How many services surely meet and miss each objective that any of them has; empty without services.

    Surely is with the whole 95 % interval: with a confidence of 97.5 % to either side.
    """
    sure = (1.0 + LEVEL) / 2.0
    phrases = []
    for name, words in OBJECTIVES.items():
        confidence = objectives[f"{name}_met_confidence"].dropna()
        if confidence.empty:
            continue
        met, missed = int((confidence >= sure).sum()), int((confidence <= 1.0 - sure).sum())
        counts = ((met, "met"), (missed, "missed"), (len(confidence) - met - missed, "open"))
        phrases.append(f"{words} {', '.join(f'{count} {what}' for count, what in counts if count)}")
    return f"Objectives with the whole 95 % interval: {'; '.join(phrases)}." if phrases else ""
