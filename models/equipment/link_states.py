"""What a hop's equipment leaves of each channel: losses on transmit and receive in every equipment state.

A state says which parts are up and which radio transmits on each channel. From it follow, for every
receive line, whether it can be used, how many decibels it has lost against the nominal state, and what is
to blame. A failed radio thus takes its diversity line with it, and the standby of an unequal coupler
has less margin, without a rule for either.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.frozen import frozen
from hopyears.models.equipment.hardware import Mounting, Part
from hopyears.models.judging.cause import Cause
from hopyears.models.radio.combining import CombiningLosses, combining_loss_db
from hopyears.models.radio.scheme import Line, Scheme, lines_of, radios_of

_T = TypeVar("_T", bound=np.generic)

NOBODY = -1
"""In place of a radio's order: no radio transmits on the channel."""

Transmitting = tuple[tuple[int, ...], tuple[int, ...]]
"""For each end, the order (0 main, 1 standby, ``NOBODY``) of the radio that transmits on each channel."""

RadioCauses = tuple[Sequence[int], Sequence[int]]
"""For each end, per radio, causes from outside the hop that hold it down (0: none), for instance power."""


@dataclass(frozen=True)
class LinkStructure:
    """Everything about a hop's equipment that no state changes; made once per hop by ``link_structure``."""

    scheme: Scheme
    parts: tuple[Part, ...]
    radio_loss_db: tuple[float, ...]

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """Receive lines, as ``scheme.lines_of``."""
        return lines_of(self.scheme)

    @property
    def all_up(self) -> int:
        """Bitmask of the state with every part up."""
        return (1 << len(self.parts)) - 1

    @property
    def nominal_transmitting(self) -> Transmitting:
        """Every channel's main radio transmits."""
        main = (0,) * self.scheme.n_channels
        return (main, main)

    @cached_property
    def radios_on(self) -> tuple[dict[int, int], ...]:
        """For each channel, radio index by order, of those that transmit."""
        table: tuple[dict[int, int], ...] = tuple({} for _ in range(self.scheme.n_channels))
        for radio in radios_of(self.scheme):
            if radio.transmits:
                table[radio.channel][radio.order] = radio.index
        return table

    @cached_property
    def receivers_of(self) -> tuple[tuple[int, ...], ...]:
        """For each line, the radios that hear it, least loss first."""
        radios = radios_of(self.scheme)
        return tuple(
            tuple(
                sorted(
                    (r.index for r in radios if (r.channel, r.antenna) == (line.channel, line.antenna)),
                    key=lambda index: (self.radio_loss_db[index], index),
                )
            )
            for line in self.lines
        )

    @cached_property
    def needs(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """For each end and radio, bitmask of the parts that it needs."""
        masks = [[0] * len(self.radio_loss_db) for _ in (0, 1)]
        for bit, part in enumerate(self.parts):
            for radio in part.radios:
                masks[part.end][radio] |= 1 << bit
        return (tuple(masks[0]), tuple(masks[1]))

    @cached_property
    def nominal_transmit_loss_db(self) -> tuple[float, ...]:
        """Loss of each channel's main radio on transmit [dB]."""
        return tuple(self.radio_loss_db[on[0]] for on in self.radios_on)

    @cached_property
    def nominal_receive_loss_db(self) -> tuple[float, ...]:
        """Loss of each line's best receiver [dB]."""
        return tuple(self.radio_loss_db[receivers[0]] for receivers in self.receivers_of)


def link_structure(scheme: Scheme, parts: Sequence[Part], losses: CombiningLosses) -> LinkStructure:
    """Structure of a hop from its scheme, its parts (``hardware.parts_of_hop``) and its losses."""
    split = any(part.kind == "waveguide" for part in parts)
    mounting = Mounting.WAVEGUIDE if split else Mounting.DIRECT
    return LinkStructure(scheme, tuple(parts), combining_loss_db(scheme, mounting, losses))


@dataclass(frozen=True, eq=False)
class LinkState:
    """What one equipment state leaves; arrays are read-only. Direction 0 is from end 0 to end 1.

    Parameters
    ----------
    transmitter_up : array of bool, shape (2, n_channels)
        By direction: the radio chosen to transmit can.
    receiver_up : array of bool, shape (n_lines,)
        At least one receiver hears the line.
    line_up : array of bool, shape (n_lines,)
        Transmitter and receiver are up.
    extra_loss_db : array, shape (n_lines,)
        Both losses less those of the nominal state [dB]; infinite where the line is down.
    line_causes : array of int, shape (n_lines,)
        ``Cause`` flags of what makes the line worse than nominal; 0 where it is not.
    causes : array of int, shape (2, n_channels)
        The same by direction and channel: those of any of its lines.
    working : int
        Channels that carry the hop's capacity: the best so many count.
    stuck : tuple of two int
        Of these, by direction, how many are missed by traffic that a failed switch keeps on a dead channel.
    """

    transmitter_up: Bools
    receiver_up: Bools
    line_up: Bools
    extra_loss_db: Floats
    line_causes: Ints
    causes: Ints
    working: int
    stuck: tuple[int, int] = (0, 0)


def link_state(
    structure: LinkStructure,
    parts_up: int,
    transmitting: Transmitting | None = None,
    radio_causes: RadioCauses | None = None,
    stuck: tuple[int, int] = (0, 0),
) -> LinkState:
    """Losses, usable lines and causes in one equipment state.

    Parameters
    ----------
    structure : LinkStructure
    parts_up : int
        Bit ``i`` is set where ``structure.parts[i]`` is up.
    transmitting : pair of tuples of int, optional
        Which radio transmits; default every main radio.
    radio_causes : pair of sequences of int, optional
        Causes from outside the hop that hold radios down; default none.
    stuck : pair of int, optional
        Streams that a failed channel switch keeps on a dead channel, each way; default none.

    Notes
    -----
    Two receivers on one line switch without loss to the better. Where none transmits, the causes are those of
    all radios of the channel that are down, and ``Cause.SWITCHING`` if one of them could; a standby that goes
    on transmitting with more loss after the main radio is mended is ``Cause.SWITCHING`` too.
    """
    down = _radios_down(structure, parts_up, radio_causes)
    senders = [
        [
            _transmitter(structure, channel, order, down[end])
            for channel, order in enumerate((transmitting or structure.nominal_transmitting)[end])
        ]
        for end in (0, 1)
    ]
    receivers = [
        _receiver(structure, index, down[1 - line.direction]) for index, line in enumerate(structure.lines)
    ]
    switching = [int(Cause.SWITCHING) if streams else 0 for streams in stuck]
    causes = [[each] * structure.scheme.n_channels for each in switching]
    extra_db, line_causes = [], []
    for line, (hears, loss_db, blame) in zip(structure.lines, receivers, strict=True):
        sends, sent_db, sender_blame = senders[line.direction][line.channel]
        nominal_db = (
            structure.nominal_transmit_loss_db[line.channel] + structure.nominal_receive_loss_db[line.index]
        )
        extra_db.append(sent_db + loss_db - nominal_db if sends and hears else np.inf)
        line_causes.append(blame | sender_blame)
        causes[line.direction][line.channel] |= blame | sender_blame
    return LinkState(
        transmitter_up=_frozen([[s[0] for s in end] for end in senders], np.bool_),
        receiver_up=_frozen([r[0] for r in receivers], np.bool_),
        line_up=_frozen([loss != np.inf for loss in extra_db], np.bool_),
        extra_loss_db=_frozen(extra_db, np.float64),
        line_causes=_frozen(line_causes, np.int64),
        causes=_frozen(causes, np.int64),
        working=structure.scheme.working,
        stuck=stuck,
    )


def _radios_down(
    structure: LinkStructure, parts_up: int, radio_causes: RadioCauses | None
) -> tuple[list[int], list[int]]:
    """For each end and radio, the causes that hold it down; 0 where it is up."""
    missing = structure.all_up & ~parts_up
    down = []
    for end in (0, 1):
        causes = list(radio_causes[end]) if radio_causes else [0] * len(structure.radio_loss_db)
        if missing:
            for radio, need in enumerate(structure.needs[end]):
                causes[radio] |= _blame(structure.parts, need & missing)
        down.append(causes)
    return (down[0], down[1])


def _blame(parts: tuple[Part, ...], missing: int) -> int:
    causes = 0
    while missing:
        lowest = missing & -missing
        causes |= int(parts[lowest.bit_length() - 1].cause)
        missing ^= lowest
    return causes


def _transmitter(
    structure: LinkStructure, channel: int, order: int, down: list[int]
) -> tuple[bool, float, int]:
    on = structure.radios_on[channel]
    nominal_db = structure.nominal_transmit_loss_db[channel]
    radio = on.get(order)
    if radio is not None and not down[radio]:
        loss_db = structure.radio_loss_db[radio]
        if loss_db <= nominal_db:
            return True, loss_db, 0
        return True, loss_db, down[on[0]] or int(Cause.SWITCHING)
    blame = 0
    for other in on.values():
        blame |= down[other]
    if any(not down[other] for other in on.values()):
        blame |= int(Cause.SWITCHING)
    return False, nominal_db, blame


def _receiver(structure: LinkStructure, line: int, down: list[int]) -> tuple[bool, float, int]:
    nominal_db = structure.nominal_receive_loss_db[line]
    blame = 0
    for radio in structure.receivers_of[line]:
        if not down[radio]:
            loss_db = structure.radio_loss_db[radio]
            return True, loss_db, blame if loss_db > nominal_db else 0
        blame |= down[radio]
    return False, nominal_db, blame


def _frozen(values: Sequence[object], dtype: type[_T]) -> NDArray[_T]:
    return frozen(np.array(values, dtype=dtype))
