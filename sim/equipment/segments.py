"""Cuts a hop's time into segments of constant equipment state from what failed in the block."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from operator import itemgetter

import numpy as np

from hopyears.models.equipment.link_states import LinkState, Transmitting, link_state
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.dependence import HopDependence
from hopyears.sim.equipment.failure_log import DOWN, UP, FailureLog
from hopyears.sim.hops.hop import EquipmentSegments
from hopyears.sim.hops.hop_design import HopDesign

_State = tuple[int, Transmitting, tuple[tuple[int, ...], tuple[int, ...]], tuple[int, int]]


class LinkStates:
    """Link states of one hop, remembered because the same equipment states come back."""

    def __init__(self, design: HopDesign) -> None:
        self.structure = design.structure
        self._known: dict[_State, LinkState] = {}
        self._by_sites: dict[tuple[int, int], tuple[tuple[int, ...], tuple[int, ...]]] = {}

    def of(self, state: _State) -> LinkState:
        """The link state for parts up, transmitting radios, outside causes and streams stuck each way."""
        if state not in self._known:
            self._known[state] = link_state(self.structure, *state)
        return self._known[state]

    def by_sites(self, causes: tuple[int, int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Causes of the radios of both ends where they have none but those of their sites."""
        if causes not in self._by_sites:
            n_radios = len(self.structure.radio_loss_db)
            self._by_sites[causes] = ((causes[0],) * n_radios, (causes[1],) * n_radios)
        return self._by_sites[causes]


def nominal_segments(states: LinkStates) -> EquipmentSegments:
    """A block in which nothing fails."""
    return EquipmentSegments(np.zeros(1), np.zeros(1, dtype=np.int64), [states.of(_nominal(states))])


def equipment_segments(dependence: HopDependence, states: LinkStates, log: FailureLog) -> EquipmentSegments:
    """Segments of one hop over a block.

    Parameters
    ----------
    dependence : HopDependence
        What the hop depends on.
    states : LinkStates
        Of the hop.
    log : FailureLog
        Of the block.
    """
    return Cutter([dependence], [states]).segments(log)[0]


def same_segments(one: EquipmentSegments, other: EquipmentSegments) -> bool:
    """Whether equipment fares the same; states of one hop are made once, so equal ones are identical."""

    def states(segments: EquipmentSegments) -> list[int]:
        return [id(segments.states[row]) for row in segments.state]

    return np.array_equal(one.start_s, other.start_s) and states(one) == states(other)


def _nominal(states: LinkStates) -> _State:
    structure = states.structure
    return (structure.all_up, structure.nominal_transmitting, states.by_sites((0, 0)), (0, 0))


_Change = tuple[float, int, int, int]
"""Time [s], what changes, which of these, its new value."""

_OWN, _OUTSIDE, _OWN_STRUCK, _OUTSIDE_STRUCK, _SITE, _TRANSMITTER, _STUCK = 0, 1, 2, 3, 4, 6, 8
"""What changes; of sites and transmitters the number of the end is added."""


class Cutter:
    """Cuts the time of hops into segments: knows which of them each part, site, group and switch touches.

    Parameters
    ----------
    hops : sequence of HopDependence
    states : sequence of LinkStates
        Of the same hops.
    """

    def __init__(self, hops: Sequence[HopDependence], states: Sequence[LinkStates]) -> None:
        self._hops, self._states = hops, states
        self._of_part, self._of_struck, self._of_mending, self._of_site, self._of_group, self._of_switch = (
            defaultdict[int, list[tuple[int, int, int]]](list) for _ in range(6)
        )
        for hop, each in enumerate(hops):
            for place, part in enumerate(each.own):
                self._of_part[part].append((hop, _OWN, place))
            for place, outside in enumerate(each.outside):
                known = self._of_mending if outside.mending else self._of_part
                known[outside.part].append((hop, _OUTSIDE, place))
            for part, place in {part: place for place, part in enumerate(each.own)}.items():
                self._of_struck[part].append((hop, _OWN_STRUCK, place))
            for part, place in {outside.part: place for place, outside in enumerate(each.outside)}.items():
                self._of_struck[part].append((hop, _OUTSIDE_STRUCK, place))
            for end, (site, groups) in enumerate(zip(each.sites, each.groups, strict=True)):
                self._of_site[site].append((hop, _SITE + end, 0))
                for channel, group in enumerate(groups):
                    self._of_group[group].append((hop, _TRANSMITTER + end, channel))
            for direction, switch in enumerate(each.switches):
                self._of_switch[switch].append((hop, _STUCK, direction))

    def segments(self, log: FailureLog) -> tuple[EquipmentSegments, ...]:
        """Segments of every hop over a block."""
        cut = zip(self._hops, self._states, self._changes(log), strict=True)
        return tuple(_segments(*each) for each in cut)

    def _changes(self, log: FailureLog) -> list[list[_Change]]:
        """Everything that touches each hop, in no order but for that of the changes of one thing."""
        found: list[list[_Change]] = [[] for _ in self._hops]
        end_s = log.duration_s
        for part, changes in log.changes_by_part.items():
            for hop, what, place in self._of_part.get(part, ()):
                found[hop] += [(time_s, what, place, state) for time_s, state in changes]
        for part, touched in self._of_mending.items():
            spans = _while_mended(log, part)
            for hop, what, place in touched:
                found[hop] += _on_off(spans, what, place, (UP, DOWN), end_s)
        for part, spans in log.struck_by_part.items():
            for hop, what, place in self._of_struck.get(part, ()):
                found[hop] += _on_off(spans, what, place, (0, 1), end_s)
        for cause, intervals in (
            (Cause.POWER, log.sites.power_down),
            (Cause.MAINTENANCE, log.sites.maintenance),
        ):
            rows = zip(
                intervals.row.tolist(), intervals.start_s.tolist(), intervals.end_s.tolist(), strict=True
            )
            for site, start_s, until_s in rows:
                for hop, what, _ in self._of_site.get(site, ()):
                    found[hop] += _on_off([(start_s, until_s)], what, int(cause), (0, 1), end_s)
        for known, turns in ((self._of_group, log.transmitters), (self._of_switch, log.stuck)):
            if turns is not None:
                owner = np.repeat(np.arange(len(turns.offset) - 1), np.diff(turns.offset)).tolist()
                for each, time_s, value in zip(
                    owner, turns.time_s.tolist(), turns.chain.tolist(), strict=True
                ):
                    for hop, what, place in known.get(each, ()):
                        found[hop].append((time_s, what, place, value))
        return found


def _on_off(
    spans: Iterable[tuple[float, float]], what: int, which: int, values: tuple[int, int], end_s: float
) -> Iterator[_Change]:
    """Changes to the second value as each span begins, and back as it ends within the block."""
    for start_s, until_s in spans:
        yield start_s, what, which, values[1]
        if until_s < end_s:
            yield until_s, what, which, values[0]


def _while_mended(log: FailureLog, part: int) -> list[tuple[float, float]]:
    """From when to when [s] a part is mended that stops others meanwhile."""
    failures = log.failures
    return [
        (max(float(failures.arrived_s[row]), 0.0), float(failures.mended_s[row]))
        for row in failures.rows_of(part)
        if failures.arrived_s[row] < log.duration_s
    ]


def _segments(dependence: HopDependence, states: LinkStates, changes: list[_Change]) -> EquipmentSegments:
    if not changes:
        return nominal_segments(states)
    tracker, order = _Tracker(dependence, states), dict[_State, int]()
    start_s, index = list[float](), list[int]()
    changes.sort(key=itemgetter(0))
    now_s = 0.0
    for time_s, what, which, value in [*changes, (np.inf, _STUCK, 0, 0)]:
        if time_s > now_s:
            number = order.setdefault(tracker.current(), len(order))
            if not index or number != index[-1]:
                start_s.append(now_s)
                index.append(number)
            now_s = time_s
        tracker.apply(what, which, value)
    return EquipmentSegments(np.array(start_s), np.array(index), [states.of(row) for row in order])


class _Tracker:
    """Running equipment state of one hop."""

    def __init__(self, dependence: HopDependence, states: LinkStates) -> None:
        self.dependence, self.states = dependence, states
        self.structure = states.structure
        self.parts_up = states.structure.all_up
        self.transmitting = [list(orders) for orders in states.structure.nominal_transmitting]
        self.orders: Transmitting | None = None
        self.outside_down: set[int] = set()
        self.struck: dict[int, set[int]] = {_OWN_STRUCK: set(), _OUTSIDE_STRUCK: set()}
        self.site_causes = [0, 0]
        self.stuck = [0, 0]
        self.radio_causes: tuple[tuple[int, ...], tuple[int, ...]] | None = None

    def apply(self, what: int, which: int, value: int) -> None:
        """Take one change."""
        if what == _OWN:
            bit = 1 << which
            self.parts_up = self.parts_up & ~bit if value == DOWN else self.parts_up | bit
        elif what == _STUCK:
            self.stuck[which] = value
        elif what >= _TRANSMITTER:
            self.transmitting[what - _TRANSMITTER][which] = value
            self.orders = None
        else:
            self.radio_causes = None
            if what >= _SITE:
                end = what - _SITE
                self.site_causes[end] = (self.site_causes[end] & ~which) | (which if value else 0)
            elif what == _OUTSIDE:
                (self.outside_down.add if value == DOWN else self.outside_down.discard)(which)
            else:
                (self.struck[what].add if value else self.struck[what].discard)(which)

    def current(self) -> _State:
        """The state as data."""
        if self.orders is None:
            self.orders = (tuple(self.transmitting[0]), tuple(self.transmitting[1]))
        if self.radio_causes is None:
            self.radio_causes = self._radio_causes()
        return (self.parts_up, self.orders, self.radio_causes, (self.stuck[0], self.stuck[1]))

    def _radio_causes(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        by_sites = self.states.by_sites((self.site_causes[0], self.site_causes[1]))
        if not (self.outside_down or self.struck[_OWN_STRUCK]):
            return by_sites
        causes = [list(by_sites[0]), list(by_sites[1])]
        down_groups = {self.dependence.outside[i].group for i in self.outside_down}
        for group in down_groups:
            members = [i for i, part in enumerate(self.dependence.outside) if part.group == group]
            if not self.outside_down.issuperset(members):
                continue
            part = self.dependence.outside[members[0]]
            by_lightning = self.struck[_OUTSIDE_STRUCK].intersection(members)
            cause = part.cause | (int(Cause.LIGHTNING) if by_lightning else 0)
            for radio in part.radios:
                causes[part.end][radio] |= cause
        for struck in self.struck[_OWN_STRUCK]:
            own = self.structure.parts[struck]
            for radio in own.radios:
                causes[own.end][radio] |= int(Cause.LIGHTNING)
        return (tuple(causes[0]), tuple(causes[1]))
