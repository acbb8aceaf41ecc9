"""What single years took from services, month by month: those of a run's blocks and of its replications."""

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.counting.tally_rows import BOTH, SERVICE_MONTH
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.rare.month_rows import MONTHS
from hopyears.sim.rare.stored_rows import StoredRows
from hopyears.sim.rare.strata import FORCED, HISTORIES, MONTH_FIGURES, OWN, TOGETHER, WITH, n_draws
from hopyears.sim.storage.run_folder import RunFolder

_Keys = NDArray[np.int32]

_KNOWN = len(MONTH_FIGURES)
"""Figures that replications know, the first of ``YEAR_FIGURES``: nothing undelivered."""

_MOST_FIGURES = 500_000
"""Figures of months at a time."""


@dataclass(frozen=True)
class Draws:
    """Years of replications of one kind in which anything was lost, and the months in which it was.

    Attributes
    ----------
    year, service, month : int array, shape (n,)
        Row of the year, place of the service and month (0 to 11) of each loss.
    lost : float array, shape (n, n_figures)
        As ``MONTH_FIGURES``.
    n_services : int
    unit : int array, shape (n_rows,)
        Draw that each year is of, numbered through the blocks.
    weight : float array, shape (n_rows,)
        What the year counts for in the figure of its draw, a year: below 0 where no failure is put in.
    block_of : int array, shape (n_units,)
        Place of the block of each draw, those without a row included.
    largest_weight : float
        Of a year; 0 where the run has no such draws.
    whole : bool
        Whether a draw's weights sum to 1 over all of its years, not to 0 over both sides.
    """

    year: Ints
    service: Ints
    month: Ints
    lost: Floats
    n_services: int
    unit: Ints
    weight: Floats
    block_of: Ints
    largest_weight: float
    whole: bool

    def months(self) -> Iterator[Floats]:
        """Some years after the others, shape (n, n_services, 12, n_figures), as ``YEAR_FIGURES``."""
        at_once = max(_MOST_FIGURES // (self.n_services * 12 * len(YEAR_FIGURES)), 1)
        for first in range(0, max(len(self.unit), 1), at_once):
            here = (self.year >= first) & (self.year < first + at_once)
            found = _no_months(min(at_once, len(self.unit) - first), self.n_services)
            found[self.year[here] - first, self.service[here], self.month[here], :_KNOWN] = self.lost[here]
            yield found


@dataclass(frozen=True)
class YearsMet:
    """What single years took from some services.

    Attributes
    ----------
    years : float array, shape (n_years, n_services, 12, n_figures)
        Of the run's blocks, one after the other; as ``YEAR_FIGURES``.
    own : float array, of the same shape
        What the failures of these very years take with no fading at all; zeros without replications.
    block_years : int
    histories, forced : Draws or None
        None without replications.
    """

    years: Floats
    own: Floats
    block_years: int
    histories: Draws | None = None
    forced: Draws | None = None

    def with_weather(self, factor: Floats) -> "YearsMet":
        """The same with so many times the weather of each service, shape (n_services,)."""
        weather = (self.years - self.own) * factor[:, None, None]
        return replace(self, years=self.own + weather)


class YearTables:
    """Months of the services of a run, read of some services at a time: memory does not grow with the years.

    Raises
    ------
    InputError
        If the folder holds no run, or one without a finished block.
    """

    def __init__(self, folder: RunFolder) -> None:
        manifest, blocks = folder.manifest(), folder.finished_blocks()
        if not blocks:
            raise InputError(f"{folder.path}: run has no finished block; must have at least one")
        self.block_years, self.n_blocks = int(manifest["block_years"]), len(blocks)
        self._asked = int(manifest["options"]["replications"]) * bool(manifest["options"]["failures"])
        self._draws = np.array([n_draws(self._asked, block) for block in blocks])
        n_services = len(folder.network()["services"])
        self._months = StoredRows(folder, blocks, "service_month", SERVICE_MONTH, n_services)
        self._drawn = StoredRows(folder, blocks, "service_month_replications", MONTHS, n_services)
        self._weather: Floats | None = None

    @property
    def replicated(self) -> bool:
        """Whether replications tell what failures alone take."""
        return bool(self._asked) and self.n_blocks > 1

    def with_weather(self, factors: Floats) -> "YearTables":
        """The same with so many times the weather of each service, shape (n_services,)."""
        other = copy(self)
        other._weather = factors
        return other

    @property
    def n_years(self) -> int:
        """Years of the run."""
        return self.n_blocks * self.block_years

    def of(self, services: Sequence[int]) -> YearsMet:
        """What the years took from some services, by their numbers; from several in the same draws."""
        met = self._met(services)
        return met if self._weather is None else met.with_weather(self._weather[list(services)])

    def _simulated(self, services: Sequence[int]) -> Floats:
        """Of ``YearsMet``, the years."""
        years = _no_months(self.n_years, len(services))
        place, keys, values = self._months.of(services)
        both = keys[:, 2] == BOTH
        values = values[:, [SERVICE_MONTH.values.index(name) for name in YEAR_FIGURES]]
        at = keys[both, 0] * self.block_years + keys[both, 4], place[both], keys[both, 5]
        years[at] = values[both]
        return years

    def _met(self, services: Sequence[int]) -> YearsMet:
        years = self._simulated(services)
        own = _no_months(self.n_years, len(services))
        if not self.replicated:
            return YearsMet(years, own, self.block_years)
        place, keys, values = self._drawn.of(services)
        here = keys[:, 2] == OWN
        at = keys[here, 0] * self.block_years + keys[here, 5], place[here], keys[here, 6]
        own[(*at, slice(_KNOWN))] = values[here, :_KNOWN]
        together = TOGETHER if len(services) > 1 and max(self._largest, default=0) >= TOGETHER else 0
        histories, forced = (
            self._of_kind(stratum + together, self._draws[:, column], place, keys, values, len(services))
            for column, stratum in enumerate((HISTORIES, FORCED))
        )
        return YearsMet(years, own, self.block_years, histories, forced)

    @cached_property
    def _largest(self) -> dict[int, float]:
        """Largest weight of each stratum that has a row."""
        found: dict[int, float] = {}
        for strata, weights in self._drawn.columns("stratum", "weight"):
            for stratum in np.unique(strata).tolist():
                largest = float(weights[strata == stratum].max())
                found[stratum] = max(largest, found.get(stratum, 0.0))
        return found

    def _of_kind(
        self, stratum: int, numbers: Ints, place: Ints, keys: _Keys, values: Floats, n_services: int
    ) -> Draws:
        largest = self._largest.get(stratum, 0.0)
        if largest == 0.0 and stratum % TOGETHER == FORCED:
            numbers = np.zeros_like(numbers)
        first = np.concatenate([[0], np.cumsum(numbers)])
        here = np.flatnonzero(keys[:, 2] == stratum)
        unit = first[keys[here, 0]] + keys[here, 3]
        # A draw, its side and its year as one number, in the order of all three.
        n_years = int(keys[here, 5].max(initial=0)) + 1
        year_of = (unit * 2 + keys[here, 4]) * n_years + keys[here, 5]
        rows, row = np.unique(year_of, return_inverse=True)
        weight = np.zeros(len(rows))
        weight[row] = values[here, -1]
        side, unit = rows // n_years % 2, rows // n_years // 2
        whole = stratum % TOGETHER == HISTORIES
        signed = weight if whole else np.where(side == WITH, weight, -weight)
        blocks = np.repeat(np.arange(numbers.size), numbers)
        lost = row, place[here], keys[here, 6], values[here, :_KNOWN]
        return Draws(*lost, n_services, unit, signed, blocks, largest or 1.0 / self.block_years, whole)


def _no_months(n_rows: int, n_services: int) -> Floats:
    return np.zeros((n_rows, n_services, 12, len(YEAR_FIGURES)))
