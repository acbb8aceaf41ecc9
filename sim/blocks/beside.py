"""Networks that differ in little, simulated on the same draws: what they have alike is worked out once.

All that is taken over is to the last bit what a network would have drawn by itself, because every draw
belongs to a named thing (a test compares the bytes).
"""

from collections.abc import Callable, Collection, Hashable
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

import numpy as np

from hopyears.models.basics.intervals import Intervals
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator, WetHours
from hopyears.sim.blocks.prepared import Prepared, storm_reach
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.equipment.segments import same_segments
from hopyears.sim.equipment.weather import Weather
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.multipath.fades import FadeEvents
from hopyears.sim.multipath.nights import HopActivity
from hopyears.sim.rain.rain_kernel import RainKnots
from hopyears.sim.rain.storms import RainField
from hopyears.sim.streams import Streams

_T = TypeVar("_T")


def alike(one: object, other: object) -> bool:
    """Whether two things hold the same values, arrays and all."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, tuple | list):
        assert isinstance(other, tuple | list)  # types are the same
        return len(one) == len(other) and all(map(alike, one, other))
    if is_dataclass(one):
        return all(alike(getattr(one, each.name), getattr(other, each.name)) for each in fields(one))
    return bool(one == other)


def hops_alike(one: Prepared, other: Prepared) -> frozenset[int]:
    """Numbers of the hops that rain, nights and equipment make the same of in two networks."""

    def laws(prepared: Prepared, i: int) -> tuple[object, ...]:
        return prepared.designs[i], prepared.anchors[i], prepared.nights[i], prepared.line_sets[i]

    n = min(len(one.designs), len(other.designs))
    return frozenset(i for i in range(n) if alike(laws(one, i), laws(other, i)))


def same_air(one: Prepared, other: Prepared) -> bool:
    """Whether the same storms come near the same sites of two networks."""
    parts = ("storms", "region", "site_km", "weather")
    sites = [[site.id for site in each.network.sites] for each in (one, other)]
    return (
        sites[0] == sites[1]
        and one.options.rain == other.options.rain
        and storm_reach(one.network) == storm_reach(other.network)
        and all(alike(getattr(one, name), getattr(other, name)) for name in parts)
    )


class FirstSimulator(BlockSimulator):
    """Remembers what the block met that was made last, for networks beside it."""

    def __init__(self, prepared: Prepared) -> None:
        super().__init__(prepared)
        self._asked: tuple[int, int, int] | None = None
        self._known: dict[Hashable, Any] = {}

    def draw(self, seed: int, block: int, n_years: int) -> BlockDraws:
        """As for any network; the very same of the block that was drawn last."""
        if self._asked != (seed, block, n_years):
            self._asked, self._known = (seed, block, n_years), {}
        return self._once(("draws",), None, lambda: super(FirstSimulator, self).draw(seed, block, n_years))

    def _once(self, key: tuple[Hashable, ...], of: object, make: Callable[[], _T]) -> _T:
        """What is made ``of`` some object, by name; the object is kept so that no other takes its place."""
        key = (*key, id(of))
        if key not in self._known:
            self._known[key] = of, make()
        found: _T = self._known[key][1]
        return found

    def activity(
        self, streams: Streams, n_years: int, wet: WetHours, among: Collection[int] | None = None
    ) -> tuple[HopActivity | None, ...]:
        """Of all hops, whatever is asked for."""
        return self._once(
            ("activity", streams), wet, lambda: super(FirstSimulator, self).activity(streams, n_years, wet)
        )

    def rain_near_sites(self, field: RainField) -> Intervals:
        """As for any network."""
        return self._once(("rain near",), field, lambda: super(FirstSimulator, self).rain_near_sites(field))

    def rain(self, draws: BlockDraws, index: int, lowest_db: float | None = None) -> RainKnots | None:
        """As for any network."""
        if lowest_db is None:
            lowest_db = self.thresholds[index].lowest_rain_db(draws.segments[index].states)
        return self._once(
            ("rain", index, lowest_db),
            draws.field,
            lambda: super(FirstSimulator, self).rain(draws, index, lowest_db),
        )

    def fades(
        self, draws: BlockDraws, index: int, flat_top: float, dispersive_top: float
    ) -> FadeEvents | None:
        """As for any network."""
        return self._once(
            ("fades", draws.streams, index, flat_top, dispersive_top),
            draws.activity[index],
            lambda: super(FirstSimulator, self).fades(draws, index, flat_top, dispersive_top),
        )

    def hop(self, draws: BlockDraws, index: int) -> tuple[HopHistory, KeyedTable, HopHistory | None]:
        """As for any network."""
        return self._once(("hop", index), draws, lambda: super(FirstSimulator, self).hop(draws, index))

    def bent(self, draws: BlockDraws, index: int) -> HopHistory:
        """As for any network, of equipment in order."""
        return self._once(
            ("bent", draws.streams, index),
            draws.activity[index],
            lambda: super(FirstSimulator, self).bent(draws, index),
        )

    def rained(
        self, streams: Streams, n_years: int, among: Collection[int] | None = None
    ) -> tuple[HopHistory, ...]:
        """Of all hops, whatever is asked for. The storms are not kept, which take much memory."""
        return self._once(
            ("rained", streams), None, lambda: super(FirstSimulator, self).rained(streams, n_years)
        )


class BesideSimulator(BlockSimulator):
    """Simulates a network beside a first one; blocks must be asked for in the same order of both.

    Parameters
    ----------
    prepared : Prepared
    first : FirstSimulator
        Of a network with the same options.
    """

    def __init__(self, prepared: Prepared, first: FirstSimulator) -> None:
        super().__init__(prepared)
        self._first = first
        self._same_air = same_air(prepared, first.prepared)
        self._alike = hops_alike(prepared, first.prepared) if self._same_air else frozenset[int]()
        self._met: BlockDraws | None = None
        for i in self._alike:
            self.thresholds[i], self.plain[i] = first.thresholds[i], first.plain[i]
            self.states[i], self.fade_free[i] = first.states[i], first.fade_free[i]
        felt = zip(self.felt, first.felt, strict=False)
        self._felt_alike = self._alike & {
            i for i, each in enumerate(felt) if alike(each[0].design.steps, each[1].design.steps)
        }
        for i in self._felt_alike:
            self.felt[i] = first.felt[i]

    def draw(self, seed: int, block: int, n_years: int) -> BlockDraws:
        """As for any network."""
        self._met = self._first.draw(seed, block, n_years) if self._same_air else None
        return super().draw(seed, block, n_years)

    def storms(self, streams: Streams, n_years: int) -> RainField:
        """As for any network."""
        met = self._met
        if met is None or met.field is None or streams != met.streams:
            return super().storms(streams, n_years)
        return met.field

    def storms_near_sites(self, field: RainField, n_years: int) -> Weather:
        """As for any network."""
        met = self._met
        if met is None or met.weather is None:
            return super().storms_near_sites(field, n_years)
        return met.weather

    def activity(
        self, streams: Streams, n_years: int, wet: WetHours, among: Collection[int] | None = None
    ) -> tuple[HopActivity | None, ...]:
        """As for any network."""
        if self._met is None:
            return super().activity(streams, n_years, wet, among)
        theirs = self._first.activity(streams, n_years, self._met.wet)
        wanted = range(len(self.prepared.designs)) if among is None else among
        others = [i for i in wanted if i not in self._alike]
        own = super().activity(streams, n_years, wet, others)
        return tuple(theirs[i] if i in self._alike else each for i, each in enumerate(own))

    def wet_hours(
        self, field: RainField | None, n_years: int, among: Collection[int] | None = None
    ) -> WetHours:
        """As for any network."""
        met = self._met
        if met is None or field is not met.field:
            return super().wet_hours(field, n_years, among)
        others = [i for i in range(len(self.prepared.designs)) if i not in self._alike]
        own = super().wet_hours(field, n_years, others)
        return tuple(met.wet[i] if i in self._alike else each for i, each in enumerate(own))

    def rain_near_sites(self, field: RainField) -> Intervals:
        """As for any network."""
        met = self._met
        if met is None or field is not met.field:
            return super().rain_near_sites(field)
        return self._first.rain_near_sites(field)

    def rain(self, draws: BlockDraws, index: int, lowest_db: float | None = None) -> RainKnots | None:
        """As for any network."""
        if index in self._alike:
            return self._first.rain(draws, index, lowest_db)
        return super().rain(draws, index, lowest_db)

    def fades(
        self, draws: BlockDraws, index: int, flat_top: float, dispersive_top: float
    ) -> FadeEvents | None:
        """As for any network."""
        if index in self._alike:
            return self._first.fades(draws, index, flat_top, dispersive_top)
        return super().fades(draws, index, flat_top, dispersive_top)

    def hop(self, draws: BlockDraws, index: int) -> tuple[HopHistory, KeyedTable, HopHistory | None]:
        """As for any network."""
        met = self._met
        if (
            met is not None
            and index in self._alike
            and same_segments(draws.segments[index], met.segments[index])
        ):
            history, rows, alone = self._first.hop(met, index)
            if alone is not None and met.field is not None and index not in self._felt_alike:
                alone = self._rained(met.field, index, met.duration_s)
            return history, rows, alone
        return super().hop(draws, index)

    def bent(self, draws: BlockDraws, index: int) -> HopHistory:
        """As for any network."""
        if index in self._felt_alike:
            return self._first.bent(draws, index)
        return super().bent(draws, index)

    def rained(
        self, streams: Streams, n_years: int, among: Collection[int] | None = None
    ) -> tuple[HopHistory, ...]:
        """As for any network."""
        if self._met is None:
            return super().rained(streams, n_years, among)
        hops = range(len(self.prepared.designs))
        theirs = self._first.rained(streams, n_years)
        own = iter(super().rained(streams, n_years, [i for i in hops if i not in self._felt_alike]))
        return tuple(theirs[i] if i in self._felt_alike else next(own) for i in hops)
