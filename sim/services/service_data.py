"""What the services sweep is given and what it gives: demands, and frozen histories of services."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.models.judging.outage_rule import SEVERE_SHARE

Route = tuple[tuple[int, int], ...]
"""Links a service crosses from its first end to its second: (link, direction) each, direction 0 when the
service's forward traffic goes the link's forward way, 1 when it goes the backward way."""

FORWARD, BACKWARD = 0, 1

LEAST_SHORTFALL_MBIT_S = 5.1e-4
"""Rates come to the nearest kbit/s: a smaller shortfall is none."""

SMALL_MBIT_S = 1e-6
"""One bit a second is no loss."""


@dataclass(frozen=True)
class RingSwitch:
    """A ring of links that turns for all of its services at once.

    Attributes
    ----------
    links : tuple of int
        In order round the ring.
    protection : int
        Place of the ring protection link among them.
    hold_off_s, guard_s, wait_to_restore_s : float
        As for ``ring_switch.ring_openings`` [s].
    switching_s, commanded_s : float
        Time without traffic when a service turns, for a failure and by command [s].
    degraded_below_mbit_s : float
        A link that carries less than this either way is degraded [Mbit/s]; 0: none is.
    """

    links: tuple[int, ...]
    protection: int
    hold_off_s: float
    guard_s: float
    wait_to_restore_s: float
    switching_s: float = 0.05
    commanded_s: float = 0.05
    degraded_below_mbit_s: float = 0.0


@dataclass(frozen=True)
class ServiceDemand:
    """A service between two ends: what it asks for, its routes, and how it changes route.

    Attributes
    ----------
    id : str
        Name of the service.
    committed_mbit_s, peak_mbit_s : float
        Committed and peak rate of each direction [Mbit/s], 0 <= committed <= peak, peak above 0.
    backward_mbit_s : tuple of two float or None
        Committed and peak rate backward, where they are others than forward.
    rings : tuple of RingSwitch
        What chooses among its routes, the ways over these rings, in place of its own switch; may be none.
    priority : int
        The smallest is served first.
    routes : tuple of routes
        In order of preference. One: unprotected. Two: working and protecting. More: free rerouting.
    switching_s : float
        Time without traffic at each change of route [s]; the convergence time of rerouting.
        Default 0.05 s: ITU-T G.8031, G.8032 aim below 50 ms.
    commanded_s : float
        Time without traffic at a change by command [s]: ahead of planned work, and back to a preferred route.
        Default 0.05 s, as for a failure; 0 where the new route is ready before the old one is left.
    hold_off_s : float
        A route must have failed for this long before it is left [s].
    wait_to_restore_s : float
        A preferred route must have been back for this long before it is taken again [s]; infinite:
        never goes back by itself. Default 300 s: common practice, no source.
    switch_below_mbit_s : float
        A link has failed for this service when its capacity either way is 0 or below this [Mbit/s]: 0 for a
        switch that is triggered by signal fail alone.
    leaves_congestion : bool
        Whether it leaves a route on which it gets less than its committed rate (``sim.services.congestion``).
    preempts : bool
        Whether it then counts what services of lower priority hold as room.
    required_share : float
        Share of the committed rate, above 0 to 1, below which a direction is down. A service without a
        committed rate is down only when it gets nothing.
    severe_share : float
        Share of a second, above 0 to 1, that must be lost to make it severely errored.
    clock : DemandClock or None
        Share of both rates that is asked for by the hour; None: all of them at all times.
    sharing_weight : float
        Of what it gets where capacity is shared among services of its priority, above 0.
    """

    id: str
    committed_mbit_s: float
    peak_mbit_s: float
    priority: int
    routes: tuple[Route, ...]
    switching_s: float = 0.05
    commanded_s: float = 0.05
    hold_off_s: float = 0.0
    wait_to_restore_s: float = 300.0
    switch_below_mbit_s: float = 0.0
    required_share: float = 1.0
    severe_share: float = SEVERE_SHARE
    clock: DemandClock | None = None
    sharing_weight: float = 1.0
    backward_mbit_s: tuple[float, float] | None = None
    rings: tuple[RingSwitch, ...] = ()
    leaves_congestion: bool = False
    preempts: bool = True

    def __post_init__(self) -> None:
        for committed, peak in zip(self.committed_ways_mbit_s, self.peak_ways_mbit_s, strict=True):
            if not 0.0 <= committed <= peak < np.inf or peak <= 0.0:
                found = f"{committed} with peak_mbit_s {peak}"
                raise ValueError(f"committed_mbit_s is {found}; must be 0 to the peak, and the peak above 0")
        if not 0.0 < self.required_share <= 1.0:
            raise ValueError(f"required_share is {self.required_share}; must be above 0 to 1")
        if not 0.0 < self.severe_share <= 1.0:
            raise ValueError(f"severe_share is {self.severe_share}; must be above 0 to 1")
        if not 0.0 < self.sharing_weight < np.inf:
            raise ValueError(f"sharing_weight is {self.sharing_weight}; must be above 0")
        for name in ("switching_s", "commanded_s", "hold_off_s", "wait_to_restore_s", "switch_below_mbit_s"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"{name} is {getattr(self, name)}; must be at least 0")
        if not self.routes or not all(self.routes):
            raise ValueError("routes is empty or holds an empty route; must hold a route of one link or more")
        for route in self.routes:
            if len({link for link, _ in route}) != len(route):
                raise ValueError(f"routes holds {route}; must cross each link once")

    @property
    def committed_ways_mbit_s(self) -> tuple[float, float]:
        """Committed rate forward and backward [Mbit/s]."""
        return self.committed_mbit_s, (self.backward_mbit_s or (self.committed_mbit_s, 0.0))[0]

    @property
    def peak_ways_mbit_s(self) -> tuple[float, float]:
        """Peak rate forward and backward [Mbit/s]."""
        return self.peak_mbit_s, (self.backward_mbit_s or (0.0, self.peak_mbit_s))[1]

    @property
    def needed_mbit_s(self) -> float:
        """Rate below which it is down, of the direction that needs more [Mbit/s]."""
        return self.required_share * max(self.committed_ways_mbit_s)

    def asked_share(self, duration_s: float) -> float:
        """Mean share of its rates that it asks for in a block of that length, 0 to 1."""
        if self.clock is None:
            return 1.0
        seconds = self.clock.seconds(np.array([0.0, duration_s]))[0]
        return float(seconds @ self.clock.shares) / duration_s

    def levels(self) -> list[tuple[float, float]]:
        """Shares of its rates that it asks for, and the share of a week in which it asks for each."""
        if self.clock is None:
            return [(1.0, 1.0)]
        pairs = zip(self.clock.shares.tolist(), self.clock.week.tolist(), strict=True)
        return [(share, time) for share, time in pairs if time > 0.0]


@dataclass(frozen=True)
class ServiceHistory:
    """Piecewise-constant history of one service: numbered results in time, and what each number means.

    Attributes
    ----------
    time_s : float array, shape (n_changes,)
        When each result begins [s]; the first is 0.
    result : int32 array, shape (n_changes,)
        Result that begins. Unless rates were recorded, a change of rate that changes neither a down flag
        nor the causes of a down direction has no entry; then only the down flags and the causes of the
        down directions of ``result`` hold until the next entry.
    asked_share : float array, shape (n_results,)
        Share of its rates that the service asks for in each result; 1 unless it has a clock.
    rate_mbit_s : float array, shape (n_results, 2)
        Rate of each result forward and backward [Mbit/s], to the nearest kbit/s.
    down : bool array, shape (n_results, 2)
        Whether the direction gets less than the required share of its committed rate.
    causes : int array, shape (n_results, 2)
        Why the direction gets less than it asks for: cause flags, 0 when it gets all.
    seconds : float array, shape (n_results,)
        Time spent in each result [s], exact whether or not rates were recorded.
    duration_s : float
        Length of the observation [s].
    severe_share : float
        As of the demand.
    spans : float array, shape (n_spans, 3, 2)
        In each span of time that the sweep was asked for, forward, backward and both ways together (then of
        the slower one): megabits that lacked of the peak rate, asked for at that hour or not, and time below
        committed though not down [s].
    """

    time_s: Floats
    result: NDArray[np.int32]
    rate_mbit_s: Floats
    down: Bools
    causes: Ints
    seconds: Floats
    duration_s: float
    severe_share: float = SEVERE_SHARE
    spans: Floats = field(default_factory=lambda: np.zeros((0, 3, 2)))
    asked_share: Floats = field(default_factory=lambda: np.ones(1))

    def __post_init__(self) -> None:
        shares = np.broadcast_to(self.asked_share, self.seconds.shape).copy()
        object.__setattr__(self, "asked_share", shares)
        for name in ("time_s", "result", "rate_mbit_s", "down", "causes", "seconds", "spans", "asked_share"):
            getattr(self, name).setflags(write=False)

    def down_intervals(self, direction: int) -> tuple[Floats, Floats, Ints]:
        """Start [s], end [s] and causes of every stretch in which one direction is down.

        Parameters
        ----------
        direction : int
            ``FORWARD`` or ``BACKWARD``.

        Returns
        -------
        tuple of arrays, each shape (n,)
            Sorted and disjoint; stretches touch where only the causes change.
        """
        end = np.append(self.time_s[1:], self.duration_s)
        down = self.down[self.result, direction]
        return self.time_s[down], end[down], self.causes[self.result[down], direction]
