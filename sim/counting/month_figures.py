"""What one history of a service lost, month by month."""

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.judging.outage_rule import Lost
from hopyears.sim.counting.tally_rows import BOTH, SERVICE_MONTH, Block, service_month_rows
from hopyears.sim.services.service_data import ServiceHistory

YEAR_FIGURES = (
    "unavailable_s",
    "planned_s",
    "outages",
    "planned_outages",
    "below_committed_s",
    "undelivered_mbit",
)
"""Figures by calendar month, of the columns of ``SERVICE_MONTH``."""

_COLUMNS = [SERVICE_MONTH.values.index(name) for name in YEAR_FIGURES]


def month_figures(service: ServiceHistory, lost: Lost, n_years: int) -> Floats:
    """Figures of a service, both ways together, shape (n_years, 12, n_figures) as ``YEAR_FIGURES``.

    Parameters
    ----------
    service : ServiceHistory
        With spans by month, where it is ever below committed.
    lost : Lost
        Its lost seconds, both ways together.
    n_years : int
        Whole years of the history.
    """
    if not lost.n_outages and not service.spans[:, BOTH].any():
        return np.zeros((n_years, 12, len(YEAR_FIGURES)))
    _, values = service_month_rows(0, BOTH, lost, service, Block(0, n_years))
    return values[:, _COLUMNS].reshape(n_years, 12, len(YEAR_FIGURES))
