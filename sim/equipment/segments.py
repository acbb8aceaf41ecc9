"""Cuts the time of hops into segments of constant equipment state from what failed in blocks."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.equipment.link_states import LinkState, Transmitting, link_state
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.changes import GROUP, MENDING, PART, POWER, STRUCK, SWITCH, WORK, changes_of
from hopyears.sim.equipment.dependence import HopDependence
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.segment_loops import cut_by_changes
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

    @property
    def nominal(self) -> LinkState:
        """The link state with nothing wrong."""
        structure, nothing = self.structure, (0,) * len(self.structure.radio_loss_db)
        return self.of((structure.all_up, structure.nominal_transmitting, (nothing, nothing), (0, 0)))


def nominal_segments(states: LinkStates) -> EquipmentSegments:
    """A block in which nothing fails."""
    return EquipmentSegments(np.zeros(1), np.zeros(1, dtype=np.int64), [states.nominal])


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


_OWN, _OUTSIDE, _OWN_STRUCK, _OUTSIDE_STRUCK, _SITE, _TRANSMITTER, _STUCK = 0, 1, 2, 3, 4, 6, 8
"""What changes on a hop; of sites and transmitters the number of the end is added."""


@dataclass(frozen=True)
class Cut:
    """Segments of every hop in several blocks.

    Attributes
    ----------
    first : int array, shape (n_blocks * n_hops + 1,)
        Segments of hop h in block b are those from ``first[b * n_hops + h]`` on, to the next.
    start_s : float array, shape (n,)
    number : int array, shape (n,)
        Number of the state in ``Cutter.states``.
    """

    first: Ints
    start_s: Floats
    number: Ints


class Cutter:
    """Cuts the time of hops into segments: knows which of them each part, site, group and switch touches.

    Whatever can change on a hop has a number among all hops, 0 as its usual value, and a word by value; all
    that is unusual on a hop is known by their exclusive-or, so that each such state is made once.

    Parameters
    ----------
    hops : sequence of HopDependence
    states : sequence of LinkStates
        Of the same hops.

    Attributes
    ----------
    states : list of (int, LinkState)
        Hop and link state of all that have been met.
    """

    def __init__(self, hops: Sequence[HopDependence], states: Sequence[LinkStates]) -> None:
        self._hops, self._link_states = hops, states
        self._slots: list[tuple[int, int]] = []
        self._first_slot = [0]
        self.states: list[tuple[int, LinkState]] = []
        self._number_of: dict[tuple[int, LinkState], int] = {}
        self._by_word: dict[int, int] = {}
        touched = [defaultdict[int, list[int]](list) for _ in range(7)]
        for each in hops:
            self._add_hop(each, touched)
            self._first_slot.append(len(self._slots))
        self._hop_of = np.repeat(np.arange(len(hops)), np.diff(self._first_slot))
        self._touched = [_Touched.of(slots) for slots in touched]

    def _add_hop(self, hop: HopDependence, touched: list[defaultdict[int, list[int]]]) -> None:
        """Number all that can change on a hop."""

        def add(by: int, thing: int, what: int, which: int) -> None:
            touched[by][thing].append(len(self._slots))
            self._slots.append((what, which))

        for place, part in enumerate(hop.own):
            add(PART, part, _OWN, place)
        for place, outside in enumerate(hop.outside):
            add(MENDING if outside.mending else PART, outside.part, _OUTSIDE, place)
        for part, place in {part: place for place, part in enumerate(hop.own)}.items():
            add(STRUCK, part, _OWN_STRUCK, place)
        for part, place in {outside.part: place for place, outside in enumerate(hop.outside)}.items():
            add(STRUCK, part, _OUTSIDE_STRUCK, place)
        for end, (site, groups) in enumerate(zip(hop.sites, hop.groups, strict=True)):
            add(POWER, site, _SITE + end, int(Cause.POWER))
            add(WORK, site, _SITE + end, int(Cause.MAINTENANCE))
            for channel, group in enumerate(groups):
                if group >= 0:
                    add(GROUP, group, _TRANSMITTER + end, channel)
        for direction, switch in enumerate(hop.switches):
            add(SWITCH, switch, _STUCK, direction)

    def segments(self, log: FailureLog) -> tuple[EquipmentSegments, ...]:
        """Segments of every hop over a block."""
        cut, found = self.cut([log]), []
        for begin, end in zip(cut.first[:-1].tolist(), cut.first[1:].tolist(), strict=True):
            order: dict[int, int] = {}
            state = [order.setdefault(number, len(order)) for number in cut.number[begin:end].tolist()]
            states = [self.states[number][1] for number in order]
            found.append(EquipmentSegments(cut.start_s[begin:end], np.array(state), states))
        return tuple(found)

    def cut(self, logs: Sequence[FailureLog]) -> Cut:
        """Segments of every hop over each of several blocks."""
        n_hops = len(self._hops)
        key, time_s, slot, value = self._changes(logs)
        order = np.lexsort((time_s, key))
        key, start_s, word, first, unusual = cut_by_changes(
            *(column[order] for column in (key, time_s, slot, value)),
            np.array(self._first_slot),
            len(logs) * n_hops,
        )
        words, row, number_of = np.unique(word, return_index=True, return_inverse=True)
        numbers = np.empty(len(words), dtype=np.int64)
        for place, (each, at) in enumerate(zip(words.tolist(), row.tolist(), strict=True)):
            if each not in self._by_word:
                self._by_word[each] = self._number(
                    int(key[at]) % n_hops, unusual[first[at] : first[at + 1]].tolist()
                )
            numbers[place] = self._by_word[each]
        number = numbers[number_of]
        new = np.append(True, (key[1:] != key[:-1]) | (number[1:] != number[:-1]))
        begins = np.searchsorted(key[new], np.arange(len(logs) * n_hops + 1))
        return Cut(begins, start_s[new], number[new])

    def _number(self, hop: int, unusual: list[list[int]]) -> int:
        """Number of the state of a hop of which some numbered things have unusual values."""
        link = self._link_states[hop].of(self._state(hop, unusual))
        number = self._number_of.setdefault((hop, link), len(self.states))
        if number == len(self.states):
            self.states.append((hop, link))
        return number

    def _state(self, hop: int, unusual: list[list[int]]) -> _State:
        structure = self._link_states[hop].structure
        parts_up, stuck, site_causes = structure.all_up, [0, 0], [0, 0]
        transmitting = [list(orders) for orders in structure.nominal_transmitting]
        down: dict[int, set[int]] = {what: set() for what in (_OUTSIDE, _OWN_STRUCK, _OUTSIDE_STRUCK)}
        for slot, value in unusual:
            what, which = self._slots[slot]
            if what == _OWN:
                parts_up &= ~(1 << which)
            elif what == _STUCK:
                stuck[which] = value
            elif what >= _TRANSMITTER:
                transmitting[what - _TRANSMITTER][which] = value
            elif what >= _SITE:
                site_causes[what - _SITE] |= which
            else:
                down[what].add(which)
        causes = self._radio_causes(hop, site_causes, down)
        orders = (tuple(transmitting[0]), tuple(transmitting[1]))
        return (parts_up, orders, causes, (stuck[0], stuck[1]))

    def _radio_causes(
        self, hop: int, site_causes: list[int], down: dict[int, set[int]]
    ) -> tuple[tuple[int, ...], tuple[int, ...]]:
        structure, outside = self._link_states[hop].structure, self._hops[hop].outside
        causes = [[by_site] * len(structure.radio_loss_db) for by_site in site_causes]
        for group in {outside[i].group for i in down[_OUTSIDE]}:
            members = [i for i, part in enumerate(outside) if part.group == group]
            if not down[_OUTSIDE].issuperset(members):
                continue
            part = outside[members[0]]
            by_lightning = down[_OUTSIDE_STRUCK].intersection(members)
            cause = part.cause | (int(Cause.LIGHTNING) if by_lightning else 0)
            for radio in part.radios:
                causes[part.end][radio] |= cause
        for struck in down[_OWN_STRUCK]:
            own = structure.parts[struck]
            for radio in own.radios:
                causes[own.end][radio] |= int(Cause.LIGHTNING)
        return (tuple(causes[0]), tuple(causes[1]))

    def _changes(self, logs: Sequence[FailureLog]) -> tuple[Ints, Floats, Ints, Ints]:
        """Everything that touches a hop: block and hop, time [s], which of its slots, the slot's new value.

        Those of one slot are in order of time.
        """
        found = []
        for touched, changes in zip(self._touched, changes_of(logs), strict=True):
            row, slot = touched.rows(changes.thing)
            key = changes.log[row] * len(self._hops) + self._hop_of[slot]
            found.append((key, changes.time_s[row], slot, changes.value[row]))
        key, time_s, slot, value = (np.concatenate(column) for column in zip(*found, strict=True))
        return key, np.maximum(time_s, 0.0), slot, value


@dataclass(frozen=True)
class _Touched:
    """Slots that each of some things touches: thing t those from ``first[t]`` on, to the next."""

    first: Ints
    slot: Ints

    @classmethod
    def of(cls, slots: dict[int, list[int]]) -> "_Touched":
        """Of the slots by thing."""
        things = range(max(slots, default=-1) + 1)
        counts = [len(slots.get(thing, ())) for thing in things]
        flat = [slot for thing in things for slot in slots.get(thing, ())]
        return cls(np.cumsum([0, *counts]), np.array(flat, dtype=np.int64))

    def rows(self, thing: Ints) -> tuple[Ints, Ints]:
        """Slots that some things touch: row of the thing, slot."""
        last = len(self.first) - 1
        begin, end = (self.first[np.minimum(each, last)] for each in (thing, thing + 1))
        row = np.repeat(np.arange(len(thing)), end - begin)
        before = np.cumsum(end - begin) - end
        return row, self.slot[np.arange(len(row)) - before[row]]
