"""The results of a run as tidy tables: what was simulated, and what every service and hop got.

Units stand in the column names. A figure ``x`` with an interval has columns ``x``, ``x_low`` and
``x_high``: 95 %, from independent blocks; where nothing was seen ``x`` is 0 and ``x_high`` the bound.
No plotting library is needed to read or make them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pandas as pd

from hopyears.sim.counting.result_tables import OF_A_RUN
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.run_folder import RunFolder

RESULT_TABLES = tuple(OF_A_RUN)
"""Tables of results that every run has."""

TEXTBOOK, SIMULATED = "textbook sum", "simulated"
"""First and last step of the table ``textbook_distance``: figures, where those between are differences."""

WAITING = "of which waiting for crews and spares"
"""A further step, of ``textbook_distance.queue_table``: part of the simulated figure."""


@dataclass(frozen=True)
class Results:
    """Results of one run.

    Attributes
    ----------
    manifest : dict
        Origin: identity, seed, options, versions, warnings; the blocks and years that the tables rest on.
    network : dict
        The network simulated, every default filled in.
    tables : mapping of str to DataFrame
        ``RESULT_TABLES``; their columns are described where each is made, from ``sim.runs.summary`` on.
    """

    manifest: Mapping[str, Any]
    network: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]

    @classmethod
    def load(cls, folder: Path | str) -> "Results":
        """Results of the run in a folder.

        Raises
        ------
        InputError
            If the folder holds no run, one of another format, one without results, or a damaged one.
        """
        run = RunFolder(folder)
        manifest, stored = run.manifest(), run.read_results()
        if not stored:
            raise InputError(
                f"{run.path}: run has no results yet; must have at least one finished block. "
                "'hopyears simulate --resume' goes on with it"
            )
        tables = {name: stored[name].to_pandas() for name in RESULT_TABLES}
        return cls({**manifest, **run.results_rest_on()}, run.network(), MappingProxyType(tables))

    @property
    def services(self) -> pd.DataFrame:
        """One row a service."""
        return self.tables["services"]

    @property
    def hops(self) -> pd.DataFrame:
        """One row a hop."""
        return self.tables["hops"]


CAUSES_NAMED = 3
"""Causes that are named where there is room for a few."""


def worst_causes(causes: pd.DataFrame, name: str, *, least_share: float) -> list[tuple[str, float]]:
    """The few causes with most of a figure, worst first, and their shares of it.

    Parameters
    ----------
    causes : DataFrame
        One row a cause, with columns ``cause`` and ``name``.
    name : str
        Column of the figure, at least 0.
    least_share : float
        Causes with less of it are left out.
    """
    seen = causes[causes[name] > 0.0].sort_values(name, ascending=False, kind="stable")
    shares = zip(seen["cause"], seen[name] / seen[name].sum(), strict=True)
    return [(str(cause), float(share)) for cause, share in shares if share >= least_share][:CAUSES_NAMED]
