"""In which state each link is for services and rings, on one history of the hops."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.judging.cause import Cause
from hopyears.sim.hops.hop_history import HopHistory, side_by_side
from hopyears.sim.services.ring_switch import Openings, ring_openings
from hopyears.sim.services.route_choice import DEGRADED, FAILED, GOOD, PLANNED
from hopyears.sim.services.service_data import RingSwitch

LinkStates = tuple[Ints, Floats, NDArray[np.int8]]
"""Changes of some links, those of one after those of another, the first of each at time 0: which link, when,
its new state."""


def link_states(links: Sequence[HopHistory], below_mbit_s: Floats) -> LinkStates:
    """Changes of the state of links: of use with capacity both ways, of at least a threshold each."""
    n_changes, n_states = (
        [len(column) for column in columns]
        for columns in zip(*((each.time_s, each.causes) for each in links), strict=True)
    )
    first = np.cumsum([0, *n_states[:-1]])
    link, time_s = (
        np.repeat(np.arange(len(links)), n_changes),
        np.concatenate([each.time_s for each in links]),
    )
    lowest = np.concatenate([each.capacity_mbit_s for each in links]).min(axis=1)
    usable = (lowest > 0.0) & (lowest >= np.repeat(below_mbit_s, n_states))
    planned = np.concatenate([each.causes for each in links]) & int(Cause.MAINTENANCE)
    of_state = np.where(usable, GOOD, np.where(planned, PLANNED, FAILED)).astype(np.int8)
    state = of_state[np.concatenate([each.state for each in links]) + np.repeat(first, n_changes)]
    another = link[1:] != link[:-1]
    last = np.append(another | (time_s[1:] != time_s[:-1]), True)
    link, time_s, state = link[last], time_s[last], state[last]
    new = np.ones(link.size, dtype=np.bool_)
    new[1:] = (link[1:] != link[:-1]) | (state[1:] != state[:-1])
    return link[new], time_s[new], state[new]


class LinkHistories:
    """Links of hops with these histories.

    Parameters
    ----------
    hops : sequence of HopHistory
    links : sequence of sequences of int
        Hops of each link.
    """

    def __init__(self, hops: Sequence[HopHistory], links: Sequence[Sequence[int]]) -> None:
        self._hops, self._links = hops, links
        self._rings: dict[RingSwitch, Openings] = {}

    def whole(self, link: int) -> HopHistory:
        """A link, all hops of it added."""
        parts = [self._hops[hop] for hop in self._links[link]]
        return parts[0] if len(parts) == 1 else side_by_side(parts)

    def _ring_states(self, link: int, degraded_below_mbit_s: float) -> tuple[Floats, NDArray[np.int8]]:
        """Changes of a link's state for a ring: failed when it carries nothing one way, or degraded."""
        _, time_s, state = link_states([self.whole(link)], np.zeros(1))
        if degraded_below_mbit_s == 0.0:
            return time_s, state
        _, all_s, enough = link_states([self.whole(link)], np.array([degraded_below_mbit_s]))
        every_s = np.union1d(time_s, all_s)
        state = state[np.searchsorted(time_s, every_s, side="right") - 1]
        degraded = enough[np.searchsorted(all_s, every_s, side="right") - 1] != GOOD
        return every_s, np.where(degraded & (state == GOOD), DEGRADED, state).astype(np.int8)

    def openings(self, ring: RingSwitch, duration_s: float) -> Openings:
        """Where a ring is open in time, found once for all of its services."""
        if ring not in self._rings:
            parts = [self._ring_states(link, ring.degraded_below_mbit_s) for link in ring.links]
            time_s, place, state = _in_order(parts)
            self._rings[ring] = Openings(
                *ring_openings(
                    time_s,
                    place,
                    state,
                    np.array([part[1][0] for part in parts]),
                    ring.protection,
                    ring.hold_off_s,
                    ring.guard_s,
                    ring.wait_to_restore_s,
                    duration_s,
                )
            )
        return self._rings[ring]

    def room(self, link: int, enough_mbit_s: float) -> tuple[int, Floats, Floats, Bools]:
        """A link, times, its capacity both ways up to what is enough, and whether work takes of that."""
        time_s, capacity, causes, of_time = self.capacity(link)
        enough_mbit_s = max(enough_mbit_s, 1.0)  # of those that committed to nothing
        kept = np.minimum(capacity, enough_mbit_s)
        planned = (causes & int(Cause.MAINTENANCE) != 0) & (kept.min(axis=1) < enough_mbit_s)
        rows = np.column_stack([kept, planned])[of_time]
        new = np.append(True, (rows[1:] != rows[:-1]).any(axis=1))
        return link, time_s[new], rows[new, :2], rows[new, 2] > 0.0

    def capacity(self, link: int) -> tuple[Floats, Floats, Ints, Ints]:
        """Times of a link; capacity (n, 2) and causes of its states; state at each time."""
        whole = self.whole(link)
        last = np.append(whole.time_s[1:] != whole.time_s[:-1], True)
        return whole.time_s[last], whole.capacity_mbit_s, whole.causes, whole.state[last].astype(np.int64)


def _in_order(parts: Sequence[tuple[Floats, NDArray[np.int8]]]) -> tuple[Floats, Ints, NDArray[np.int8]]:
    """Changes of some links after time 0 in order of time: when, which of them, its new state."""
    time_s = np.concatenate([part[0][1:] for part in parts])
    order = np.argsort(time_s, kind="stable")
    link = np.repeat(np.arange(len(parts)), [part[0].size - 1 for part in parts])
    return time_s[order], link[order], np.concatenate([part[1][1:] for part in parts])[order]
