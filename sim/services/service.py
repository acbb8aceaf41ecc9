"""From the histories of hops to the history of each end-to-end service.

The changes of all hops are merged in time. Each distinct joint state of the hops and routes that a group
of services may use is judged once (capacity shared as in ``models.judging.sharing``) and looked up
afterwards.

A direction of a service is *down* while it gets less than the required share of its committed rate. Where
its demand follows the hours, both rates are those that it asks for at the hour.
*Why* it gets less than it should is a set of causes, by this rule:

- A link *fails* a direction when its capacity, with nobody else on it, is below what the direction needs:
  the required share of the committed rate when it is down, the committed rate when it gets less than that,
  else the peak. The causes are those of all
  links of the route in use that fail it, and when it is down, of the other routes' links that fail it too.
- If no link fails it, capacity was shared away: the causes are those of the full links of its route, and
  ``CONGESTION`` for each full link with nothing wrong. When it gets less than its committed rate, full is
  what committed rates fill: the excess of others takes nothing of it. A link too small with nothing wrong
  is ``CONGESTION``.
- While it changes route the cause is ``SWITCHING``, with those of the links that fail it on the route
  it leaves.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.busy_hours import Stretches, clock_changes, where, with_hours
from hopyears.sim.services.choices import all_choices
from hopyears.sim.services.congestion import Changes
from hopyears.sim.services.link_histories import LinkHistories
from hopyears.sim.services.service_data import BACKWARD, FORWARD, Route, ServiceDemand, ServiceHistory
from hopyears.sim.services.service_frame import Frame, Lists, frame_of, pointer, row_of
from hopyears.sim.services.service_plan import Plan, build_plan
from hopyears.sim.services.service_run import Outages, ServiceRun

__all__ = ["BACKWARD", "FORWARD", "Route", "ServiceDemand", "ServiceHistory", "sweep_services"]


CHANGES_AT_ONCE = 1_000_000
"""Changes merged at a time: bounds the memory of a sweep whatever the length of the histories."""


def sweep_services(
    hops: Sequence[HopHistory],
    services: Sequence[ServiceDemand],
    duration_s: float,
    *,
    links: Sequence[Sequence[int]] | None = None,
    record_rates: bool = False,
    span_edges_s: Sequence[float] | Floats = (),
    frame: Frame | None = None,
) -> list[ServiceHistory]:
    """History of each service on the given histories of hops.

    Parameters
    ----------
    hops : sequence of HopHistory
        One each hop; changes at or after ``duration_s`` are ignored.
    services : sequence of ServiceDemand
        At most 32,767.
    duration_s : float
        Length of the observation from time 0 [s], above 0.
    links : sequence of sequences of int, optional
        Hops of each link: parallel hops share their load as one, and stay of use when some fail.
        Without it every hop is a link by itself. A hop is in one link at most.
    record_rates : bool
        Whether every change of rate is in the histories, not only those that matter for
        outages; takes memory.
    span_edges_s : sequence of float
        Edges of the spans for which the histories tell what was lacking, rising from 0 [s]; none unless
        asked for.
    frame : Frame, optional
        Of these services and links, where it is at hand.

    Returns
    -------
    list of ServiceHistory
        In the order of ``services``.

    Raises
    ------
    ValueError
        If a route uses an unknown link or direction, a link an unknown hop, or a hop is in two links.
    """
    if frame is None:
        links = [(hop,) for hop in range(len(hops))] if links is None else links
        frame = frame_of(services, links, len(hops))
    sweeper = Sweeper(hops, frame, duration_s, record_rates=record_rates, span_edges_s=span_edges_s)
    return sweeper.sweep(hops)


class Sweeper:
    """Sweeps over histories of the same hops, one after another; what is judged once serves them all.

    Parameters
    ----------
    hops : sequence of HopHistory
        With the states of all histories.
    frame : Frame
        Of the services and links.
    duration_s, record_rates, span_edges_s
        As for ``sweep_services``.
    after : Sweeper, optional
        One of the same services: what has been judged there serves here too, where it may.
    """

    def __init__(
        self,
        hops: Sequence[HopHistory],
        frame: Frame,
        duration_s: float,
        *,
        record_rates: bool = False,
        span_edges_s: Sequence[float] | Floats = (),
        after: "Sweeper | None" = None,
    ) -> None:
        if not 0.0 < duration_s < np.inf:
            raise ValueError(f"duration_s is {duration_s}; must be above 0")
        self._frame, self._duration_s, self._edges_s = frame, duration_s, span_edges_s
        self._record_rates = record_rates
        n_choices = [2 * len(service.routes) for service in frame.services]
        self._plan, self._numbers, self._clocks = build_plan(hops, frame, n_choices)
        run = None if after is None else after._run
        if run is None or not run.serves(self._plan, record_rates):
            run = ServiceRun(self._plan, record_rates)
        self._run: ServiceRun = run
        groups = np.diff(self._plan.groups_of_entity.first[: len(hops) + 1])
        self._used = np.flatnonzero(groups).tolist()

    def sweep(self, hops: Sequence[HopHistory]) -> list[ServiceHistory]:
        """History of each service on one history of the hops."""
        self._run_through(hops)
        return [
            replace(with_hours(history, service, self._edges_s), severe_share=service.severe_share)
            for service, history in zip(
                self._frame.services, self._run.histories(self._duration_s), strict=True
            )
        ]

    def outages(self, hops: Sequence[HopHistory]) -> Outages:
        """What takes all services down on one history of the hops."""
        self._run_through(hops)
        shares = np.array([service.severe_share for service in self._frame.services])
        return self._run.outages(self._duration_s, shares)

    def _run_through(self, hops: Sequence[HopHistory]) -> None:
        frame, duration_s = self._frame, self._duration_s
        finder = LinkHistories(hops, frame.links)
        choices = all_choices(frame, self._plan, finder, duration_s)
        levels = [
            clock_changes(
                clock,
                [(np.zeros(1), np.full(1, duration_s))]
                if self._record_rates
                else _may_be_short(frame, self._plan, group, finder, choices, duration_s),
                duration_s,
            )
            for clock, group in self._clocks
        ]
        changes: list[Changes] = [(hops[k].time_s, hops[k].state) for k in self._used]
        changes += [*choices, *levels]
        first_states = [
            number[hop.state[_last_at_zero(hop.time_s)]]
            for hop, number in zip(hops, self._numbers, strict=True)
        ]
        first_choices = [int(choice[_last_at_zero(time_s)]) for time_s, choice in choices]
        first_levels = [int(level[0]) for _, level in levels]
        self._run.start(self._plan, self._edges_s, first_states, first_choices, first_levels)
        n_hops, n_choices = len(hops), len(choices)
        entity = np.concatenate(
            [
                np.array(self._used, dtype=np.int64),
                n_hops + np.arange(n_choices),
                n_hops + n_choices + 1 + np.arange(len(levels)),
            ]
        )
        # What stands at time 0 has been told already.
        moving = [k for k, (time_s, _) in enumerate(changes) if time_s.size > 1]
        of_used = [self._numbers[self._used[k]] for k in moving if k < len(self._used)]
        numbers = Lists(
            pointer([each.size for each in of_used]), np.concatenate([np.zeros(0, np.int32), *of_used])
        )
        for chunk in _merged(entity[moving], [changes[k] for k in moving], numbers, duration_s):
            self._run.apply(*chunk)


def _may_be_short(
    frame: Frame, plan: Plan, group: int, finder: LinkHistories, choices: Sequence[Changes], duration_s: float
) -> Iterator[Stretches]:
    """When some service of a group may lack something: a link is too small for all, or it changes route."""
    for link in row_of(plan.groups.links, group):
        time_s, capacity, _, state = finder.capacity(link)
        small: Bools = np.any(capacity < frame.enough_mbit_s[frame.links[link][0]], axis=1)
        yield where(small[state], time_s, duration_s)
    for s in row_of(plan.groups.services, group):
        time_s, choice = choices[s]
        yield where(choice >= len(frame.services[s].routes), time_s, duration_s)


def _last_at_zero(time_s: Floats) -> int:
    if time_s.size == 1 or time_s[1] > 0.0:
        return 0
    return int(np.searchsorted(time_s, 0.0, side="right")) - 1


def routes_in_use(
    hops: Sequence[HopHistory],
    services: Sequence[ServiceDemand],
    duration_s: float,
    *,
    links: Sequence[Sequence[int]],
) -> list[Changes]:
    """Of each service times [s], the first 0, and which route is in use from then on.

    Of n routes, n + r is the gap without traffic while route r is being left. ``hops`` and ``links`` are as
    for ``sweep_services``.
    """
    frame = frame_of(services, links, len(hops))
    plan, _, _ = build_plan(hops, frame, [2 * len(service.routes) for service in services])
    return all_choices(frame, plan, LinkHistories(hops, frame.links), duration_s)


def _merged(
    entity: Ints, changes: Sequence[Changes], numbers: Lists, duration_s: float
) -> Iterator[tuple[Floats, Ints, Ints]]:
    """Changes of all entities after time 0 in order of time, a stretch of time after another.

    ``numbers`` are those of the states of as many of the first entities; the others' are numbers already.
    """
    if not changes:
        return
    edges_s = np.linspace(0.0, duration_s, 2 + sum(time_s.size for time_s, _ in changes) // CHANGES_AT_ONCE)
    inner_s = edges_s[1:-1]
    cuts = [
        (0, *(np.searchsorted(time_s, inner_s).tolist() if inner_s.size else ()), time_s.size)
        for time_s, _ in changes
    ]
    n_numbered, before = numbers.first.size - 1, np.full(len(changes), -1)
    for window in range(edges_s.size - 1):
        here = [slice(cut[window], cut[window + 1]) for cut in cuts]
        own = np.repeat(np.arange(len(changes)), [part.stop - part.start for part in here])
        time_s, state = (
            np.concatenate([each[column][part] for each, part in zip(changes, here, strict=True)])
            for column in (0, 1)
        )
        n = int(np.searchsorted(own, n_numbered))
        state = state.astype(np.int64)
        state[:n] = numbers.item[numbers.first[own[:n]] + state[:n]]
        begins = np.append(True, own[1:] != own[:-1])
        was = np.where(begins, before[own], np.append(-1, state[:-1]))
        before[own[np.append(begins[1:], True)]] = state[np.append(begins[1:], True)]
        new = np.flatnonzero((state != was) & (time_s < duration_s))
        new = new[np.argsort(time_s[new], kind="stable")]
        if new.size:
            yield time_s[new], entity[own[new]], state[new]
