"""What services lost in a block and its replications, as they were and without each target."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.plant import Plant
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.month_figures import YEAR_FIGURES, month_figures
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.forced import ByHand, by_hand
from hopyears.sim.rare.forced_draw import FORCED_YEARS, ForcedDraw, kept_back, weather_of_draw
from hopyears.sim.rare.strata import n_draws
from hopyears.sim.rare.weather_alone import multipath_draws
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.streams import Streams
from hopyears.sim.studies.counterfactual import BlockCase, plant_without
from hopyears.sim.studies.targets import Target

SHARE_STUDIED = 8
"""One in so many of a run's replications is judged without each target too, which costs as often so much."""

_UNAVAILABLE, _BELOW = (YEAR_FIGURES.index(name) for name in ("unavailable_s", "below_committed_s"))

Judge = Callable[[ServiceHistory], Floats | float]
"""What is looked at of a service."""

Thing = Target | Plant | Sequence[str]
"""A target or hops that never went wrong, or a plant in place of the network's own."""

N_STRATA = 4
"""Kinds of units of ``ReplicatedStudy``."""


def rows_without(block: BlockCase, things: Sequence[Thing], judge: Judge) -> Floats:
    """What is looked at of each judged service, shape (1 + n_things, n_services, ...), in row 0 as it was."""
    before = block.services
    rows = [[judge(service) for service in before]]
    for thing in things:
        match thing:
            case Plant():
                after = block.services_with_plant(thing)
            case Target():
                after = block.services_without(thing)
            case _:
                after = block.services_without_hops(thing)
        rows.append(
            [rows[0][i] if service is before[i] else judge(service) for i, service in enumerate(after)]
        )
    return np.array(rows)


def months_of(service: ServiceHistory) -> Floats:
    """Figures of a service, both ways together, shape (n_years, 12, n_figures) as ``YEAR_FIGURES``."""
    n_years = round(service.duration_s / SECONDS_PER_YEAR)
    return month_figures(service, three_ways(service, service.duration_s)[BOTH], n_years)


def lost_s(service: ServiceHistory) -> Floats:
    """Time down by the ten-second rule and time below committed, both ways together [s]."""
    return np.asarray(months_of(service).sum(axis=(0, 1))[[_UNAVAILABLE, _BELOW]])


def unavailable_s(service: ServiceHistory) -> float:
    """Unavailable time of a service, both ways together, by the ten-second rule [s]."""
    return float(three_ways(service, service.duration_s)[BOTH].unavailable_s)


@dataclass(frozen=True)
class RunStudy:
    """Looks into the blocks of a run, each drawn anew.

    Attributes
    ----------
    prepared : Prepared
    seed, n_years : int
        Seed of the run and years of a block.
    targets : sequence of Target
        That might never have gone wrong.
    """

    prepared: Prepared
    seed: int
    n_years: int
    targets: Sequence[Target]

    @cached_property
    def simulator(self) -> BlockSimulator:
        """Of the network as it is."""
        return BlockSimulator(self.prepared)

    def draws(self, number: int) -> BlockDraws:
        """What befell a block."""
        return self.simulator.draw(self.seed, number, self.n_years)


@dataclass(frozen=True)
class MonthStudy(RunStudy):
    """What services (as for ``BlockCase``) lost in a block by month, as it was and without each target."""

    services: Sequence[int]

    def block(self, number: int) -> Floats:
        """Figures both ways together as ``YEAR_FIGURES``, those of row 0 as it was.

        Shape (1 + n_targets, n_services, n_years, 12, n_figures).
        """
        case = BlockCase(self.simulator, self.draws(number), self.services, by_month=True)
        rows = rows_without(case, self.targets, months_of)
        return rows.reshape(len(rows), -1, self.n_years, 12, len(YEAR_FIGURES))


@dataclass(frozen=True)
class ReplicatedStudy(RunStudy):
    """Time down and below committed of services (as for ``BlockCase``) in a block and its replications."""

    services: Sequence[int]

    @cached_property
    def _things(self) -> list[Target | Plant]:
        return [plant_without(self.prepared, each) if each.is_of_plant else each for each in self.targets]

    @cached_property
    def _by_hand(self) -> tuple[ByHand, ...]:
        return by_hand(self.prepared, alone(self.simulator))

    def block(self, number: int) -> tuple[Floats, ...]:
        """Of the block less its own failures alone and its own multipath alone; of histories of failures; of
        failures put in by hand, weighted; of histories of multipath.

        Each of shape (n_units, 1 + n_targets, n_services, 2) [s a year], in the second axis first as it was;
        the last axis is time down and time below committed, both ways together. Without replications only
        the first, of the block as a whole, has a unit.
        """
        simulator, streams = self.simulator, Streams(self.seed, number)
        draws = self.draws(number)
        asked = simulator.prepared.options.replications
        whole = self._yearly(draws)
        if not asked:
            return whole[None], *(np.zeros((0, *whole.shape)) for _ in range(3))
        histories, forced, nights, _ = n_draws(-(-asked // SHARE_STUDIED), number)
        of_nights = []
        if simulator.prepared.options.multipath:
            own = [streams, *(streams.beside(1 + draw) for draw in range(nights))]
            alone = (multipath_draws(simulator, each, self.n_years, draws.wet) for each in own)
            of_nights = [self._yearly(simulator.with_fades(each)) for each in alone]
            whole = whole - of_nights.pop(0)
        of_histories, of_forced = np.zeros((2, 0, *whole.shape))
        if draws.log is not None:
            whole = whole - self._yearly(self._calm(streams, draws, draws.log))
            of_histories, of_forced = np.zeros((histories, *whole.shape)), np.zeros((forced, *whole.shape))
            for hand in self._by_hand:
                mine = np.isin(self.services, hand.services)
                self._put_histories(of_histories, mine, hand, draws)
                self._put_forced(of_forced, mine, hand, draws)
        return whole[None], of_histories, of_forced, np.reshape(of_nights, (-1, *whole.shape))

    def _put_histories(self, found: Floats, mine: Bools, hand: ByHand, draws: BlockDraws) -> None:
        simulator, never = self.simulator, kept_back(self._plant, hand, -np.inf)
        for draw in range(len(found)):
            own = draws.streams.beside(1 + draw)

            def failures(plant: Plant, own: Streams = own) -> FailureLog:
                return simulator.failures(plant, own, draws.duration_s, draws.weather, put_in=never)

            calm = self._calm(own, draws, failures(self._plant))
            found[draw][:, mine] = self._yearly(calm, failures)[:, mine]

    def _put_forced(self, found: Floats, mine: Bools, hand: ByHand, draws: BlockDraws) -> None:
        if hand.events.size:
            for draw, place in enumerate(hand.drawn(self._plant, draws.streams, len(found)).tolist()):
                weather = None if draws.weather is None else weather_of_draw(draws.weather, draw)
                drawn = ForcedDraw.of(self.simulator, hand, place, draws.streams, draw, weather)
                found[draw][:, mine] = self._added(drawn, draws)[:, mine]

    def _added(self, drawn: ForcedDraw, draws: BlockDraws) -> Floats:
        """What one draw adds, times its weight: with each plant that of its own histories."""
        logs = drawn.logs(self._plant)
        sides = [self._case(self._calm(drawn.streams, draws, log, FORCED_YEARS)) for log in logs]
        weights = [drawn.weight(self._plant, logs[0])] * (1 + len(self._things))
        after = [[side.services for side in sides]]
        for i, thing in enumerate(self._things, start=1):
            if isinstance(thing, Plant):
                others = drawn.logs(thing)
                weights[i] = drawn.weight(thing, others[0])
                after.append(
                    [side.services_with_failures(log) for side, log in zip(sides, others, strict=True)]
                )
            else:
                after.append([side.services_without(thing) for side in sides])
        lost = np.array([[[lost_s(service) for service in side] for side in both] for both in after])
        added = (lost[:, 1] - lost[:, 0]) * np.array(weights)[:, None, None]
        return np.asarray(added)

    def _yearly(self, draws: BlockDraws, failures: Callable[[Plant], FailureLog] | None = None) -> Floats:
        """Rows of a block or history, a year."""
        case = self._case(draws, failures)
        rows = rows_without(case, self._things, lost_s) / draws.n_years
        return rows.reshape(len(rows), -1, 2)

    def _case(self, draws: BlockDraws, failures: Callable[[Plant], FailureLog] | None = None) -> BlockCase:
        return BlockCase(self.simulator, draws, self.services, by_month=True, failures=failures)

    def _calm(
        self, streams: Streams, draws: BlockDraws, log: FailureLog, n_years: int | None = None
    ) -> BlockDraws:
        """Draws with these failures on which no rain falls and no beam bends."""
        n_hops = len(draws.segments)
        return replace(
            draws,
            streams=streams,
            n_years=n_years or draws.n_years,
            field=None,
            log=log,
            segments=tuple(self.simulator.segments(index, log) for index in range(n_hops)),
            activity=(None,) * n_hops,
            fades=(None,) * n_hops,
        )

    @property
    def _plant(self) -> Plant:
        return self.prepared.built.plant
