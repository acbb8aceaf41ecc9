"""Figures of services from a run's blocks and replications, each with its interval: the one place that makes
them.

A block's outage is parted: E is what its own failures take with no fading at all, M what its own multipath
takes with nothing else wrong, R what its own rain takes so, and the rest is weather on broken parts. The mean
of U - E - M - cR comes from the blocks; those of E, M and cR from replications: many more histories of common
failures, rare failures put in by hand, more histories of multipath, and more of rain. A part c of rain gives
way (``rain_share``), since the blocks know rain as well as its histories do. Rain is put right by what
the histories and blocks met (``sim.rare.weather_controls``). The limits add up what is unsure in each
(``strata_interval``).
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, fields

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.fading_tally import FADING
from hopyears.sim.counting.figures import UNSEEN_OUTAGES, UNSEEN_SEVERELY_ERRORED_S
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import ENOUGH_SEEN, LEVEL, Interval, Stratum, strata_interval
from hopyears.sim.counting.tally_rows import BOTH, TOTAL
from hopyears.sim.rare.alone import Alone, alone, largest_of
from hopyears.sim.rare.candidates import Candidates
from hopyears.sim.rare.forced import ByHand, by_hand
from hopyears.sim.rare.strata import (
    DRAWN,
    FIGURES,
    MOST_A_YEAR,
    OWN,
    OWN_RAIN,
    REPLICATIONS,
    WAYS,
    n_draws,
    rain_share,
)
from hopyears.sim.rare.weather_controls import (
    FEWEST_BLOCKS,
    SLOPE_BOUNDS,
    RainControl,
    controlled_stratum,
    rain_control,
    rain_seconds,
)
from hopyears.sim.storage.run_folder import RunFolder

UNAVAILABLE, SEVERELY_ERRORED, OUTAGES = range(3)
"""Figures by number, as ``FIGURES``."""

UNSEEN_WEATHER_S = 3600.0
"""Length assumed of an outage by weather where none was seen (common practice, no
source: a rain cell lives for little more than half an hour)."""


@dataclass(frozen=True)
class Seen:
    """What the blocks of a run and their replications met; figures as ``FIGURES``, a year.

    Attributes
    ----------
    blocks : float array, shape (n_blocks, n_services, n_ways, n_figures)
        Own figures of each block.
    own, own_rain : float array, of the same shape
        What its own failures alone and its own multipath alone take; what its own rain alone takes; zeros
        without replications.
    histories, forced, nights, rains : float array, shape (n_draws, n_services, n_ways, n_figures)
        Replications of all blocks, one after the other; none without.
    rain : float array, shape (n_blocks, n_services)
        Loss to rain by the hops of the working route, each alone [s a year].
    """

    blocks: Floats
    own: Floats
    own_rain: Floats
    histories: Floats
    forced: Floats
    nights: Floats
    rains: Floats
    rain: Floats

    @classmethod
    def read(cls, prepared: Prepared, rain: RainControl | None, folder: RunFolder) -> "Seen":
        """From the finished blocks of a run."""
        n = len(prepared.demands)
        years = float(folder.manifest()["block_years"])
        asked = prepared.options.replications
        columns: list[list[Floats]] = [[] for _ in fields(cls)]
        for block in folder.finished_blocks():
            total, drawn, fading = (
                KeyedTable.from_arrow(kind, folder.read_table(block, name))
                for kind, name in (
                    (TOTAL, "service_total"),
                    (REPLICATIONS, "service_replications"),
                    (FADING, "hop_fading"),
                )
            )
            rained = (
                np.zeros(n) if rain is None else np.array([rain_seconds(fading, own) for own in rain.rows])
            )
            columns[0].append(_figures(total, (n, len(WAYS))) / years)
            columns[1].append(_figures(drawn, (n, len(WAYS), 2), stratum=OWN).sum(axis=0))
            columns[2].append(_figures(drawn, (n, len(WAYS)), stratum=OWN_RAIN, draw=0))
            for column, stratum, number in zip(columns[3:7], DRAWN, n_draws(asked, block), strict=True):
                column.extend(_figures(drawn, (n, len(WAYS), number), stratum=stratum))
            columns[7].append(rained / years)
        widths = [(n, len(WAYS), len(FIGURES))] * 7 + [(n,)]
        return cls(
            *(
                np.reshape(column, (len(column), *width))
                for column, width in zip(columns, widths, strict=True)
            )
        )


def _figures(table: KeyedTable, shape: tuple[int, ...], **fixed: int) -> Floats:
    """Figures of services by way, those of draws first where the shape ends with draws."""
    found = np.stack([table.spread(name, shape, **fixed) for name in FIGURES], axis=-1)
    return np.asarray(np.moveaxis(found, 2, 0) if len(shape) > len(("service", "way")) else found)


@dataclass(frozen=True)
class Unseen:
    """How large what was not seen may be: figures as ``FIGURES``, shape (n_services, n_figures).

    Attributes
    ----------
    weather, common, rare : float array
        One outage by weather; by the slowest of the common failures; by the slowest of those put in by hand,
        times the largest weight of one that stops the service (0 where none does).
    """

    weather: Floats
    common: Floats
    rare: Floats

    @classmethod
    def of(cls, prepared: Prepared, single: Alone, hands: Sequence[ByHand]) -> "Unseen":
        """From the plant's own laws."""
        n, options = len(prepared.demands), prepared.options
        small = np.array([0.0, UNSEEN_SEVERELY_ERRORED_S, UNSEEN_OUTAGES])
        weather, common, weighted = (np.tile(small, (n, 1)) for _ in range(3))
        weather[:, UNAVAILABLE] = UNSEEN_WEATHER_S
        every = Candidates.of(prepared, single)
        for hand in hands:
            mine = hand.services
            common[mine, UNAVAILABLE] = single.longest_outage_s(~hand.held)[mine]
            stops = every.lost_s[hand.events][:, mine]
            weighted[mine] *= largest_of(stops, hand.weight_per_year)[:, None]
            weighted[mine, UNAVAILABLE] = hand.longest_s(every)
        # A run of nothing at all gets the bound of weather: no bound is ever nought.
        fades = options.rain or options.multipath or not options.failures
        return cls(weather * fades, common * options.failures, weighted)


class ServiceFigures:
    """Figures of every service of a run.

    Parameters
    ----------
    prepared : Prepared
    seen : Seen
        What the run met.
    block_years : float
        Years of a block.
    rain : RainControl or None
        Needed with replications, as ``Seen.read`` took it.
    """

    def __init__(
        self, prepared: Prepared, seen: Seen, block_years: float, rain: RainControl | None = None
    ) -> None:
        self.prepared, self.seen, self._years, self._rain = prepared, seen, block_years, rain
        single = alone(BlockSimulator(prepared))
        self.by_hand = by_hand(prepared, single)
        self.unseen = Unseen.of(prepared, single, self.by_hand)
        self._known: dict[tuple[int, int, int], list[Stratum]] = {}

    def of(self, seen: Seen) -> "ServiceFigures":
        """Figures of the same network from what another run of it met."""
        other = copy(self)
        other.seen, other._known = seen, {}
        return other

    @classmethod
    def read(cls, prepared: Prepared, folder: RunFolder, *, controlled: bool = True) -> "ServiceFigures":
        """Of a run with at least one finished block; ``controlled`` by the known mean of rain."""
        enough = len(folder.finished_blocks()) >= FEWEST_BLOCKS  # else no slope rests on it
        wanted = controlled and enough and prepared.options.replications
        rain = rain_control(prepared) if wanted else None
        seen = Seen.read(prepared, rain, folder)
        return cls(prepared, seen, float(folder.manifest()["block_years"]), rain)

    def interval(self, service: int, figure: int, *, way: int = BOTH, level: float = LEVEL) -> Interval:
        """A figure of a service a year with its limits, from 0 to what a year holds.

        Parameters
        ----------
        service : int
            Its number.
        figure : int
            ``UNAVAILABLE``, ``SEVERELY_ERRORED`` or ``OUTAGES``.
        way : int
            ``FORWARD``, ``BACKWARD`` or ``BOTH`` together.
        level : float
            Confidence.
        """
        found = strata_interval(self.strata(service, figure, way), level=level)
        return found.within(0.0, MOST_A_YEAR[figure])

    def intervals(self, service: int, way: int = BOTH) -> list[Interval]:
        """All figures of a service a year, in the order of ``FIGURES``."""
        return [self.interval(service, figure, way=way) for figure in range(len(FIGURES))]

    def strata(self, service: int, figure: int, way: int = BOTH) -> list[Stratum]:
        """Terms of a figure: blocks, and with replications histories and rare failures."""
        key = (service, figure, way)
        if key not in self._known:
            first, *others = self.terms(service, figure, way)
            drawn = [Stratum.of(values, largest_unseen=largest) for values, largest in others if values.size]
            weather = Stratum.of(first[0], largest_unseen=first[1])
            if self.prepared.options.replications:
                weather = self._weather(service, figure, *first)
            self._known[key] = [weather, *drawn]
        return self._known[key]

    def terms(self, service: int, figure: int, way: int = BOTH) -> list[tuple[Floats, float]]:
        """Units of each term of a figure, and the largest of one that was not seen; weather as it was met.

        Empty where the run has no such term.
        """
        seen, years = self.seen, self._years
        weather, common, rare = (
            float(part[service, figure])
            for part in (self.unseen.weather, self.unseen.common, self.unseen.rare)
        )
        blocks = seen.blocks[:, service, way, figure]
        if not self.prepared.options.replications:
            return [(blocks, max(weather, common) / years)]
        share = rain_share(len(seen.rains), len(blocks))
        own = (seen.own + share * seen.own_rain)[:, service, way, figure]
        return [
            (blocks - own, weather / years),
            (seen.histories[:, service, way, figure], common / years),
            (seen.forced[:, service, way, figure], rare),
            (seen.nights[:, service, way, figure], weather / years),
            (share * seen.rains[:, service, way, figure], share * weather / years),
        ]

    def _weather(self, service: int, figure: int, values: Floats, largest_unseen: float) -> Stratum:
        """What is not lost to failures alone, put right by what weather the blocks met."""
        seen = np.count_nonzero(values)
        if values.size < FEWEST_BLOCKS or seen < ENOUGH_SEEN or self._rain is None:
            return Stratum.of(values, largest_unseen=largest_unseen)
        return controlled_stratum(
            values,
            self.seen.rain[:, service, None],
            [float(self._rain.mean_s[service])],
            [float(self._rain.error_s[service])],
            SLOPE_BOUNDS if figure == UNAVAILABLE else (0.0, np.inf),
        )
