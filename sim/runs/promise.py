"""What can be promised: how years differ, how likely one breaks a target, and which target holds.

The units are the simulated years, taken as independent (a spare that is out of stock over New Year is the
exception). Every chance has its own interval, and every promise its confidence, because the years are few.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.tally_rows import BOTH, MONTH
from hopyears.sim.counting.years import any_year_chance, break_chance, year_quantile
from hopyears.sim.inputs.network_file import InputError
from hopyears.sim.storage.run_folder import RunFolder

QUANTILES = (0.5, 0.8, 0.9, 0.95, 0.99)
"""Shares of years for which the table ``service_years`` tells what they do not exceed."""

LEVELS = (0.999, 0.9999, 0.99999)
"""Availabilities for which the table ``service_targets`` tells how likely a year breaks them."""

_Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Terms:
    """What a promise is to mean.

    Attributes
    ----------
    target_min : float or None
        Unavailable minutes allowed in a year; None asks for no target's chances.
    contract_years : int
        Years in each of which the promise must hold.
    chance : float
        How likely it is to hold, above 0 to below 1.
    confidence : float
        How sure that chance is to be had, given that the simulated years are few, above 0 to below 1; also
        the level of the intervals.
    """

    target_min: float | None = None
    contract_years: int = 1
    chance: float = 0.9
    confidence: float = 0.9

    def __post_init__(self) -> None:
        if self.target_min is not None and not 0.0 <= self.target_min <= MINUTES_PER_YEAR:
            raise InputError(f"target is {self.target_min:g} min; must be 0 to {MINUTES_PER_YEAR:.0f}")
        if not 1 <= self.contract_years <= 100:
            raise InputError(f"--contract-years is {self.contract_years}; must be 1 to 100")
        for name in ("chance", "confidence"):
            if not 0.0 < getattr(self, name) < 1.0:
                raise InputError(f"--{name} is {getattr(self, name):g}; must be above 0 to below 1")


def minutes_of_years(folder: RunFolder) -> tuple[tuple[str, ...], _Floats]:
    """Services of a run, and unavailable minutes of each in every simulated year, (n_services, n_years).

    Raises
    ------
    InputError
        If the folder holds no run, or one without a finished block.
    """
    manifest = folder.manifest()
    blocks = folder.finished_blocks()
    if not blocks:
        raise InputError(f"{folder.path}: run has no finished block; must have at least one")
    services = tuple(str(service["id"]) for service in folder.network()["services"])
    shape = (len(services), int(manifest["block_years"]), 12)
    years = []
    for block in blocks:
        table = KeyedTable.from_arrow(MONTH, folder.read_table(block, "service_month"))
        seconds = table.spread("unavailable_s", shape, direction=BOTH, block=block)
        years.append(seconds.sum(axis=2) / 60.0)
    return services, np.concatenate(years, axis=1)


def year_to_promise(per_year: ArrayLike, chance: float, confidence: float) -> float:
    """Smallest limit that a year keeps with at least a chance, at a confidence, whatever the distribution.

    Parameters
    ----------
    per_year : float array, any shape
        The figure of each simulated year, years independent.
    chance, confidence : float
        Above 0 to below 1.

    Returns
    -------
    float
        One of the simulated years; infinite when there are too few for the confidence.

    References
    ----------
    S. S. Wilks, Determination of sample sizes for setting tolerance limits, Annals of Mathematical
    Statistics 12 (1941) 91-96: the one-sided tolerance limit by order statistics.
    """
    year = np.sort(np.asarray(per_year, dtype=np.float64).ravel())
    # The k-th smallest (from 0) keeps the chance unless more than k years lie at or below the quantile.
    sure = bdtr(np.arange(year.size), year.size, chance) >= confidence
    return float(year[np.argmax(sure)]) if sure.any() else np.inf


def years_wanted(chance: float, confidence: float) -> int:
    """Fewest simulated years from which ``year_to_promise`` can tell anything."""
    return int(np.ceil(np.log1p(-confidence) / np.log(chance)))


def promise_table(services: Sequence[str], minutes: _Floats, terms: Terms) -> pd.DataFrame:
    """One row a service: what its years look like and what can be promised.

    Parameters
    ----------
    services : sequence of str
    minutes : float array, shape (n_services, n_years)
        Of every simulated year.
    terms : Terms

    Returns
    -------
    DataFrame
        ``service``; ``mean_min_per_year``, ``median_min_per_year``, ``worst_min_per_year``;
        ``year_limit_min``, which a given year keeps with the chance and confidence of the terms;
        ``contract_limit_min``, which every year of the contract keeps likewise; with a target also
        ``year_break_chance`` and ``contract_break_chance``, each with ``_low`` and ``_high``.
    """
    every = terms.chance ** (1.0 / terms.contract_years)
    rows = []
    for service, year in zip(services, minutes, strict=True):
        row: dict[str, object] = {
            "service": service,
            "mean_min_per_year": float(year.mean()),
            "median_min_per_year": float(np.median(year)),
            "worst_min_per_year": float(year.max()),
            "year_limit_min": year_to_promise(year, terms.chance, terms.confidence),
            "contract_limit_min": year_to_promise(year, every, terms.confidence),
        }
        if terms.target_min is not None:
            one = break_chance(year, terms.target_min, level=terms.confidence)
            put_interval(row, "year_break_chance", one)
            put_interval(row, "contract_break_chance", any_year_chance(one, terms.contract_years))
        rows.append(row)
    return pd.DataFrame(rows)


def year_table(services: Sequence[str], minutes: _Floats) -> pd.DataFrame:
    """Quantiles over years: minutes that a share of the years do not exceed, with 95 % intervals.

    Columns: service, share_of_years, unavailable_min (with ``_low`` and ``_high``; a limit is infinite when
    the years are too few to tell).
    """
    rows = []
    for service, year in zip(services, minutes, strict=True):
        for share in QUANTILES:
            found = year_quantile(year, share)
            row: dict[str, object] = {"service": service, "share_of_years": share}
            put_interval(row, "unavailable_min", Interval(max(found.low, 0.0), found.best, found.high))
            rows.append(row)
    columns = ["service", "share_of_years", *(f"unavailable_min{end}" for end in ("", "_low", "_high"))]
    return pd.DataFrame(rows, columns=columns)


def target_table(services: Sequence[str], minutes: _Floats) -> pd.DataFrame:
    """Chance that a given year breaks each availability of ``LEVELS``, with 95 % intervals.

    Columns: service, availability, target_min_per_year, year_break_chance (with ``_low`` and ``_high``).
    """
    rows = []
    for service, year in zip(services, minutes, strict=True):
        for level in LEVELS:
            target_min = (1.0 - level) * MINUTES_PER_YEAR
            row: dict[str, object] = {
                "service": service,
                "availability": level,
                "target_min_per_year": target_min,
            }
            put_interval(row, "year_break_chance", break_chance(year, target_min))
            rows.append(row)
    chances = [f"year_break_chance{end}" for end in ("", "_low", "_high")]
    return pd.DataFrame(rows, columns=["service", "availability", "target_min_per_year", *chances])
