"""Cuts a hop's time into segments of constant equipment state from what failed in the block."""

from collections.abc import Iterator

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

    def of(self, state: _State) -> LinkState:
        """The link state for parts up, transmitting radios, outside causes and streams stuck each way."""
        if state not in self._known:
            self._known[state] = link_state(self.structure, *state)
        return self._known[state]


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
    changes = sorted(_changes(dependence, log), key=lambda change: change[0])
    if not changes:
        return nominal_segments(states)
    tracker = _Tracker(dependence, states)
    start_s, rows = [0.0], [tracker.current()]
    for time_s, kind, index, value in changes:
        tracker.apply(kind, index, value)
        if time_s <= start_s[-1]:
            rows[-1] = tracker.current()
        else:
            start_s.append(time_s)
            rows.append(tracker.current())
    return _interned(states, start_s, rows)


def same_segments(one: EquipmentSegments, other: EquipmentSegments) -> bool:
    """Whether equipment fares the same; states of one hop are made once, so equal ones are identical."""

    def states(segments: EquipmentSegments) -> list[int]:
        return [id(segments.states[row]) for row in segments.state]

    return np.array_equal(one.start_s, other.start_s) and states(one) == states(other)


def _interned(states: LinkStates, start_s: list[float], rows: list[_State]) -> EquipmentSegments:
    order: dict[_State, int] = {}
    index = np.array([order.setdefault(row, len(order)) for row in rows], dtype=np.int64)
    keep = np.append(True, index[1:] != index[:-1])
    return EquipmentSegments(np.array(start_s)[keep], index[keep], [states.of(row) for row in order])


def _nominal(states: LinkStates) -> _State:
    structure = states.structure
    quiet = (0,) * len(structure.radio_loss_db)
    return (structure.all_up, structure.nominal_transmitting, (quiet, quiet), (0, 0))


_Change = tuple[float, str, int, int]


def _changes(dependence: HopDependence, log: FailureLog) -> Iterator[_Change]:
    """(time [s], what, which, value) of everything that touches the hop, in no order."""
    yield from _part_changes("own", dependence.own, log)
    outside = tuple(part.part for part in dependence.outside)
    failing = tuple(-1 if part.mending else part.part for part in dependence.outside)
    yield from _part_changes("outside", failing, log)  # no part has the number -1
    yield from _mending(dependence, log)
    yield from _struck("own-struck", dependence.own, log)
    yield from _struck("outside-struck", outside, log)
    for end, site in enumerate(dependence.sites):
        for cause, intervals in (
            (Cause.POWER, log.sites.power_down),
            (Cause.MAINTENANCE, log.sites.maintenance),
        ):
            for start_s, end_s in zip(*(side.tolist() for side in intervals.of(site)), strict=True):
                yield start_s, f"site-{end}", int(cause), 1
                if end_s < log.duration_s:
                    yield end_s, f"site-{end}", int(cause), 0
    for end, groups in enumerate(dependence.groups):
        for channel, group in enumerate(groups):
            if group >= 0:
                for time_s, chain in zip(*log.transmitters.of(group), strict=True):
                    yield float(time_s), f"transmitter-{end}", channel, int(chain)
    if log.stuck is not None:
        for direction, switch in enumerate(dependence.switches):
            for time_s, streams in zip(*log.stuck.of(switch), strict=True):
                yield float(time_s), "stuck", direction, int(streams)


def _part_changes(what: str, parts: tuple[int, ...], log: FailureLog) -> Iterator[_Change]:
    known = log.changes_by_part
    for place, part in enumerate(parts):
        for time_s, state in known.get(part, ()):
            yield time_s, what, place, state


def _mending(dependence: HopDependence, log: FailureLog) -> Iterator[_Change]:
    """When parts are mended whose mending stops others."""
    failures = log.failures
    for place, outside in enumerate(dependence.outside):
        if outside.mending:
            for row in failures.rows_of(outside.part):
                if failures.arrived_s[row] < log.duration_s:
                    yield max(float(failures.arrived_s[row]), 0.0), "outside", place, DOWN
                    if failures.mended_s[row] < log.duration_s:
                        yield float(failures.mended_s[row]), "outside", place, UP


def _struck(what: str, parts: tuple[int, ...], log: FailureLog) -> Iterator[_Change]:
    """When parts are down because lightning hit them."""
    known = log.struck_by_part
    place_of = {part: place for place, part in enumerate(parts) if part in known}
    for part, place in place_of.items():
        for start_s, end_s in known[part]:
            yield start_s, what, place, 1
            if end_s < log.duration_s:
                yield end_s, what, place, 0


class _Tracker:
    """Running equipment state of one hop."""

    def __init__(self, dependence: HopDependence, states: LinkStates) -> None:
        self.dependence = dependence
        self.structure = states.structure
        self.parts_up = states.structure.all_up
        self.n_radios = len(states.structure.radio_loss_db)
        self.transmitting = [list(orders) for orders in states.structure.nominal_transmitting]
        self.outside_down: set[int] = set()
        self.struck: dict[str, set[int]] = {"own-struck": set(), "outside-struck": set()}
        self.site_causes = [0, 0]
        self.stuck = [0, 0]
        self.radio_causes: tuple[tuple[int, ...], tuple[int, ...]] | None = None

    def apply(self, what: str, which: int, value: int) -> None:
        """Take one change."""
        if what not in ("own", "transmitter-0", "transmitter-1"):
            self.radio_causes = None
        match what:
            case "own":
                bit = 1 << which
                self.parts_up = self.parts_up & ~bit if value == DOWN else self.parts_up | bit
            case "outside":
                (self.outside_down.add if value == DOWN else self.outside_down.discard)(which)
            case "own-struck" | "outside-struck":
                (self.struck[what].add if value else self.struck[what].discard)(which)
            case "site-0" | "site-1":
                end = int(what[-1])
                self.site_causes[end] = (self.site_causes[end] & ~which) | (which if value else 0)
            case "stuck":
                self.stuck[which] = value
            case _:
                self.transmitting[int(what[-1])][which] = value

    def current(self) -> _State:
        """The state as data."""
        first, second = self.transmitting
        stuck = (self.stuck[0], self.stuck[1])
        if self.radio_causes is None:
            self.radio_causes = self._radio_causes()
        return (self.parts_up, (tuple(first), tuple(second)), self.radio_causes, stuck)

    def _radio_causes(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        causes = [[cause] * self.n_radios for cause in self.site_causes]
        down_groups = {self.dependence.outside[i].group for i in self.outside_down}
        for group in down_groups:
            members = [i for i, part in enumerate(self.dependence.outside) if part.group == group]
            if not self.outside_down.issuperset(members):
                continue
            part = self.dependence.outside[members[0]]
            by_lightning = self.struck["outside-struck"].intersection(members)
            cause = part.cause | (int(Cause.LIGHTNING) if by_lightning else 0)
            for radio in part.radios:
                causes[part.end][radio] |= cause
        for struck in self.struck["own-struck"]:
            own = self.structure.parts[struck]
            for radio in own.radios:
                causes[own.end][radio] |= int(Cause.LIGHTNING)
        return (tuple(causes[0]), tuple(causes[1]))
