"""How single years differ: the law of what a year takes from the services of a contract, with limits.

Let U be what a block's year took, E what its own failures take with no fading at all, and g(e) the mean over
years of h(W + e), h any function of a year and W = U - E its weather. Whatever g,

    E h(U) = E [h(U) - g(E)] + E g(E'),

E' of the law of E: so the last mean comes from replications, common failures from whole histories and rare
ones from what one more of them adds to g (``sim.rare.forced``; a chance to break a limit is such a mean). A
block's own years take no part in its g, so that both means are right.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.calendar import MONTH_SECONDS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.counting.statistics import (
    LEVEL,
    Interval,
    Stratum,
    mean_interval,
    proportion_interval,
    strata_interval,
)
from hopyears.sim.rare.year_tables import YearsMet

MOST_WEATHER_YEARS = 300
"""Years of weather that g takes the mean of, at most."""

_STEPS = 40
"""Halvings of the range in which a promise is looked for."""

_AT_ONCE = 500_000
"""Figures worked out at a time, at most."""

_MOST_KEPT = 16_000_000
"""Figures of draws joined with weather that are kept, at most (128 MB); more are worked out when needed."""


@dataclass(frozen=True)
class Measure:
    """A figure of a year, the larger the worse.

    Attributes
    ----------
    amounts : mapping as tuple of (figure, factor)
        What is added up, of ``YEAR_FIGURES``.
    monthly : bool
        The worst month's, not the whole year's.
    mean : bool
        The mean over services, not the worst of them.
    per_time : bool
        Divided by the length of the period [s].
    offset : tuple of float
        Of each service, added at the end.
    """

    amounts: tuple[tuple[str, float], ...]
    monthly: bool = False
    mean: bool = False
    per_time: bool = False
    offset: tuple[float, ...] = ()

    @property
    def replicated(self) -> bool:
        """Whether replications know what is added up."""
        return all(figure != "undelivered_mbit" for figure, _ in self.amounts)

    def periods(self, months: Floats) -> Floats:
        """Amounts by period, shape (n, n_services, n_periods), of months (n, n_services, 12, n_figures)."""
        factors = np.zeros(len(YEAR_FIGURES))
        for figure, factor in self.amounts:
            factors[YEAR_FIGURES.index(figure)] = factor
        found = months @ factors
        if not self.monthly:
            found = found.sum(axis=2, keepdims=True)
        if self.per_time:
            found = found / (MONTH_SECONDS if self.monthly else SECONDS_PER_YEAR)
        if self.offset:
            found = found + np.array(self.offset)[:, None]
        return np.asarray(found)

    def worst(self, periods: Floats) -> Floats:
        """The figure of years of which amounts by period stand in the last two axes."""
        if periods.shape[-2:] == (1, 1):
            return np.asarray(periods[..., 0, 0])
        services = periods.mean(axis=-2) if self.mean else periods.max(axis=-2)
        return np.asarray(services.max(axis=-1))


class _Joined:
    """Years of draws, each joined with every year of weather.

    Parameters
    ----------
    measures : sequence of Measure
    own : iterable of float array, shape (n, n_services, 12, n_figures)
        What the draws took, some rows after the others.
    weather : float array, shape (n_weather_years, n_services, 12, n_figures)
    block : int array, shape (n_rows,)
        Place of the block of each.
    """

    def __init__(
        self, measures: Sequence[Measure], own: Iterable[Floats], weather: Floats, block: Ints
    ) -> None:
        self._measures, self.block = measures, block
        parts = [[measure.periods(months) for measure in measures] for months in own]
        self._own = [np.concatenate(periods) for periods in zip(*parts, strict=True)]
        self._weather = [replace(measure, offset=()).periods(weather) for measure in measures]
        self._at_once = max(_AT_ONCE // max(each.size for each in self._weather), 1)
        n_figures = len(measures) * len(block) * len(weather)
        self._kept = list(self._parts()) if n_figures <= _MOST_KEPT else None

    def parts(self) -> Iterable[tuple[Floats, Ints]]:
        """Figures of some rows at a time, shape (n_measures, n, n_weather_years), and their blocks (n,)."""
        return self._kept if self._kept is not None else self._parts()

    def largest(self, measure: int) -> float:
        """The largest figure of a measure."""
        return max((float(figures[measure].max()) for figures, _ in self.parts()), default=-np.inf)

    def _parts(self) -> Iterator[tuple[Floats, Ints]]:
        for first in range(0, len(self.block), self._at_once):
            rows = slice(first, first + self._at_once)
            found = [
                measure.worst(weather + own[rows, None])
                for measure, own, weather in zip(self._measures, self._own, self._weather, strict=True)
            ]
            yield np.stack(found), self.block[rows]


class YearLaw:
    """Law of some measures of a year.

    Parameters
    ----------
    met : YearsMet
    measures : sequence of Measure
        Judged together, at least one.
    """

    def __init__(self, met: YearsMet, measures: Sequence[Measure]) -> None:
        self._met, self._measures = met, tuple(measures)
        self.figures = np.stack([m.worst(m.periods(met.years)) for m in measures])
        """Of every simulated year, shape (n_measures, n_years)."""

    @property
    def sure(self) -> bool:
        """Whether replications take part; else only the run's own years tell."""
        return self._met.histories is not None and all(m.replicated for m in self._measures)

    @property
    def n_years(self) -> int:
        """Simulated years."""
        return int(self.figures.shape[1])

    def break_chance(self, allowed: Sequence[float], *, level: float) -> Interval:
        """Chance that a year breaks any limit: one for each measure, infinite where it has none."""
        limits = np.asarray(allowed, dtype=np.float64)

        def broken(figures: Floats) -> Bools:
            over = figures > limits.reshape(-1, *[1] * (figures.ndim - 1))
            return np.asarray(over.any(axis=0), dtype=np.bool_)

        if not self.sure:
            return proportion_interval(int(broken(self.figures).sum()), self.n_years, level=level)
        strata = self._strata(broken)
        found = strata_interval(strata, level=level)
        if found.best > 0.5:
            # Few years that keep it are rare too: limits follow the skewness of what is seldom.
            rest = [replace(each, mean=(not i) - each.mean) for i, each in enumerate(strata)]
            kept = strata_interval(rest, level=level)
            found = Interval(1.0 - kept.high, 1.0 - kept.best, 1.0 - kept.low, level)
        low, best, high = (min(max(value, 0.0), 1.0) for value in (found.low, found.best, found.high))
        return Interval(low, best, high, level)

    def mean(self, measure: int) -> float:
        """Mean of a measure over the years."""
        if not self.sure:
            return float(self.figures[measure].mean())
        return sum(stratum.mean for stratum in self._strata(lambda figures: figures[measure]))

    def mean_interval(self, measure: int, *, level: float, largest: float = 0.0) -> Interval:
        """Mean of a measure that is never below 0, with its limits; at least one more year like the worst.

        ``largest`` is what a year may come to, where none did.
        """
        figures = self.figures[measure]
        if not self.sure:
            unseen = max(float(figures.max()), largest) or np.inf
            return mean_interval(self._blocks(figures), level=level, largest_unseen=unseen)
        found = strata_interval(self._strata(lambda each: each[measure], largest), level=level)
        low, best, high = (max(value, 0.0) for value in (found.low, found.best, found.high))
        return Interval(low, best, high, level)

    def units(self, measure: int, *, largest: float = 0.0) -> list[tuple[Floats, float]]:
        """Units of each term of the mean of a measure, and the most of one that was not seen.

        Blocks; where replications tell, histories and rare failures too.
        """
        figures = self.figures[measure]
        if not self.sure:
            most = max(float(figures.max()), largest)
            return [(self._blocks(figures), most / self._met.block_years)]
        return self._terms(lambda each: each[measure], largest)

    def quantile(self, measure: int, share: float) -> float:
        """What a share of the years does not exceed, by the best estimate."""
        figures = self.figures[measure]
        if not self.sure:
            return float(np.quantile(figures, share, method="inverted_cdf"))
        most = max([float(figures.max()), *(rows.largest(measure) for rows in self._drawn)])
        return self._least(
            min(0.0, float(figures.min())), most, lambda limit: self._over(measure, limit).best <= 1.0 - share
        )

    def _over(self, measure: int, limit: float, level: float = LEVEL) -> Interval:
        allowed = [limit if i == measure else np.inf for i in range(len(self._measures))]
        return self.break_chance(allowed, level=level)

    @staticmethod
    def _least(least: float, most: float, kept: Callable[[float], bool]) -> float:
        """The least limit between two that is kept; the larger one is."""
        if kept(least):
            return least
        for _ in range(_STEPS):
            middle = (least + most) / 2.0
            least, most = (least, middle) if kept(middle) else (middle, most)
        return most

    def _blocks(self, figures: Floats) -> Floats:
        return np.asarray(figures.reshape(-1, self._met.block_years).mean(axis=1))

    def limit(self, measure: int, *, chance: float, level: float) -> float:
        """Least limit that a year breaks with no more than a chance, by the upper end of its interval.

        Infinite where the years are too few to tell.
        """
        figures = self.figures[measure]
        least = min(0.0, float(figures.min()))
        most = max([float(figures.max()), *(rows.largest(measure) for rows in self._drawn)])

        def kept(limit: float) -> bool:
            return self._over(measure, limit, level).high <= chance

        return self._least(least, most, kept) if kept(most) else np.inf

    @cached_property
    def _drawn(self) -> list[_Joined]:
        """Years of own failures, of none, of histories and of rare failures, each joined with the weather."""
        met = self._met
        if not self.sure:
            return []
        assert met.histories is not None
        assert met.forced is not None
        weather = (met.years - met.own)[: self._weather_years]
        years = np.arange(len(met.years)) // met.block_years
        none = [np.zeros_like(met.own[:1])], np.zeros(1, dtype=np.int64)
        drawn = ((each.months(), each.block_of[each.unit]) for each in (met.histories, met.forced))
        every = (([met.own], years), none, *drawn)
        return [_Joined(self._measures, own, weather, block) for own, block in every]

    @property
    def _weather_years(self) -> int:
        whole = MOST_WEATHER_YEARS // self._met.block_years or 1
        return min(whole * self._met.block_years, self.n_years)

    def _strata(self, of: Callable[[Floats], Floats | Bools], largest: float = 0.0) -> list[Stratum]:
        """Terms of the mean of a function of the measures of a year, at least 0."""
        (blocks, most), *others = self._terms(of, largest)
        seen = Stratum.of(blocks)
        # However small what was seen, one more year might have come with the largest.
        found = [replace(seen, unseen=max(seen.unseen, most / len(blocks)))]
        return found + [Stratum.of(units, largest_unseen=bound) for units, bound in others if units.size]

    def _terms(self, of: Callable[[Floats], Floats | Bools], largest: float) -> list[tuple[Floats, float]]:
        """Units of the blocks, of histories and of rare failures, and the most of one that was not seen."""
        met, (own, none, histories, forced) = self._met, self._drawn
        assert met.histories is not None
        assert met.forced is not None
        ((calm_figures, block),) = none.parts()
        calm = self._by_block(of(calm_figures), block, every=True)
        own_mean = self._means(of, own)
        blocks = (of(self.figures) - own_mean).reshape(-1, met.block_years).mean(axis=1)
        most = max(float(of(self.figures).max(initial=0.0)), largest) or 1.0
        terms = [(blocks, most / met.block_years)]
        for rows, draws in ((histories, met.histories), (forced, met.forced)):
            more = self._means(of, rows) - calm[rows.block]
            units = np.asarray(np.bincount(draws.unit, draws.weight * more, draws.block_of.size), np.float64)
            # Whole histories are what a year without failures is too.
            units = units + calm[draws.block_of] if draws.whole else units
            terms.append((units, draws.largest_weight * most))
        return terms

    def _means(self, of: Callable[[Floats], Floats | Bools], rows: _Joined) -> Floats:
        """Mean of a function of the measures over the years of weather of other blocks, of each row."""
        return np.concatenate(
            [np.zeros(0), *(self._by_block(of(figures), block) for figures, block in rows.parts())]
        )

    def _by_block(self, values: Floats | Bools, block: Ints, *, every: bool = False) -> Floats:
        """Mean over the years of weather but those of a row's own block; of one row for every block."""
        n_years = self._met.block_years
        years = values.reshape(len(values), values.shape[1] // n_years, n_years)
        # What is counted comes out the same in any order: a product sums short rows six times as fast.
        sums = years @ np.ones(n_years) if values.dtype == np.bool_ else years.sum(axis=2)
        n_own = sums.shape[1]
        total = sums.sum(axis=1)
        if every:
            n_blocks = self.n_years // n_years
            block, total = np.arange(n_blocks), np.repeat(total, n_blocks)
            sums = np.repeat(sums, n_blocks, axis=0)
        inside = block < n_own
        left = np.where(inside, sums[np.arange(len(block)), np.minimum(block, n_own - 1)], 0.0)
        return np.asarray((total - left) / (n_years * (n_own - inside)))
