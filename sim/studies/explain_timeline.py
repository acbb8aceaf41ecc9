"""The course of a service and of the hops that its routes cross around one outage, change by change."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_data import ServiceHistory

SERVICE = "service"
"""In place of a hop's name: the step is the service's own."""

Window = tuple[float, float]


@dataclass(frozen=True)
class Step:
    """From ``time_s`` on (seconds of the block) a hop or the service stands like this.

    Attributes
    ----------
    what : str
        ``SERVICE`` or a hop.
    forward_mbit_s, backward_mbit_s : float
        Rate of the service; capacity of the hop.
    down : bool
        The service gets less than it must, or the hop carries nothing, one way at least.
    causes : int
        Cause flags of both ways together; 0 at full rate.
    states : tuple of two int
        Modulation of the hop's worst channel forward and backward, 0 down. (0, 0) for the service.
    route : int
        Route in use, from 1; 0 while it changes, and for hops.
    asked_share : float
        Share of its rates that the service asks for at the hour; 1 for hops.
    """

    time_s: float
    what: str
    forward_mbit_s: float
    backward_mbit_s: float
    down: bool
    causes: int
    states: tuple[int, int] = (0, 0)
    route: int = 0
    asked_share: float = 1.0


def timeline(
    service: ServiceHistory,
    route: tuple[Floats, NDArray[np.int32]],
    n_routes: int,
    hops: Sequence[tuple[HopDesign, HopHistory]],
    window: Window,
) -> tuple[Step, ...]:
    """How things stand at the start of a window [s] and every change until its end, in order of time.

    Parameters
    ----------
    service : ServiceHistory
        With its rates recorded.
    route : tuple of arrays
        As ``sim.services.service.route_in_use`` gives it.
    n_routes : int
        Routes of the service.
    hops : sequence of (HopDesign, HopHistory)
    window : tuple of two float
    """
    steps = [*service_steps(service, route, n_routes, window)]
    for design, hop in hops:
        steps += hop_steps(design, hop, window)
    return tuple(sorted(steps, key=lambda step: (step.time_s, step.what == SERVICE)))


def _within(time_s: Floats, window: Window) -> range:
    """Rows in force within a window: the one that it begins with, and those that begin in it."""
    first = max(int(np.searchsorted(time_s, window[0], side="right")) - 1, 0)
    return range(first, int(np.searchsorted(time_s, window[1], side="left")))


def service_steps(
    service: ServiceHistory, route: tuple[Floats, NDArray[np.int32]], n_routes: int, window: Window
) -> Iterator[Step]:
    """How a service stands at the start of a window [s], and its changes; parameters as ``timeline``."""
    times = {max(float(service.time_s[i]), window[0]) for i in _within(service.time_s, window)}
    times |= {max(float(route[0][i]), window[0]) for i in _within(route[0], window)}
    before: tuple[object, ...] = ()
    for time_s in sorted(times):
        row = int(service.result[int(np.searchsorted(service.time_s, time_s, side="right")) - 1])
        choice = int(route[1][int(np.searchsorted(route[0], time_s, side="right")) - 1])
        step = Step(
            time_s=time_s,
            what=SERVICE,
            forward_mbit_s=float(service.rate_mbit_s[row, 0]),
            backward_mbit_s=float(service.rate_mbit_s[row, 1]),
            down=bool(service.down[row].any()),
            causes=int(service.causes[row, 0] | service.causes[row, 1]),
            route=choice + 1 if choice < n_routes else 0,
            asked_share=float(service.asked_share[row]),
        )
        now = (row, step.route)
        if now != before:
            yield step
        before = now


def hop_steps(design: HopDesign, hop: HopHistory, window: Window) -> Iterator[Step]:
    """How a hop stands at the start of a window [s], and every change of what it carries, or why, in it."""
    names, before = np.concatenate(([0], design.steps.states)), None
    for i in _within(hop.time_s, window):
        row = int(hop.state[i])
        forward, backward = hop.capacity_mbit_s[row]
        worst = names[hop.levels[row].reshape(2, -1).min(axis=1)]
        now = (forward, backward, int(hop.causes[row]), *worst.tolist())
        if now == before:
            continue
        before = now
        yield Step(
            time_s=max(float(hop.time_s[i]), window[0]),
            what=design.hop.id,
            forward_mbit_s=float(forward),
            backward_mbit_s=float(backward),
            down=bool(min(forward, backward) == 0.0),
            causes=int(hop.causes[row]),
            states=(int(worst[0]), int(worst[1])),
        )
