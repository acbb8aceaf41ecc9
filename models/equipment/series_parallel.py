"""Textbook unavailability of a hop's equipment: parts in series and in parallel, all independent."""

from collections.abc import Mapping, Sequence
from itertools import product
from math import prod

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.equipment.hardware import Mounting, Part, parts_of_hop
from hopyears.models.radio.scheme import Scheme, radios_of


def series_unavailability(unavailabilities: ArrayLike) -> float:
    """Unavailability of parts that must all be up, without loss of small values. Shape (n,), each 0 to 1."""
    return float(-np.expm1(np.sum(_log1m(unavailabilities))))


def parallel_unavailability(unavailabilities: ArrayLike) -> float:
    """Unavailability of parts of which one must be up: the product. Shape (n,), each 0 to 1 (IEC 61078)."""
    return float(np.prod(np.asarray(unavailabilities, dtype=np.float64)))


def equipment_unavailability(
    scheme: Scheme,
    unavailability_of: Mapping[str, float],
    *,
    mounting: Mounting = Mounting.DIRECT,
    other_end: Mapping[str, float] | None = None,
    parts: Sequence[Part] | None = None,
) -> float:
    """Textbook equipment unavailability of a hop: fewer than ``working`` channels have both ends up.

    Parameters
    ----------
    scheme : Scheme
    unavailability_of : mapping of str to float
        Unavailability, 0 to 1, of each kind of part of the hop; an item of the bill of
        materials, where it is a key too, goes before its kind.
    mounting : Mounting
    other_end : mapping of str to float, optional
        The same for end 1 where repair takes another time there; default as at end 0.
    parts : sequence of Part, optional
        Of the hop, where radios share cards; default ``parts_of_hop``.

    Raises
    ------
    ValueError
        If a part's kind is missing, or a value is not 0 to 1.

    Notes
    -----
    Exact for parts that fail and are mended independently with perfect switches: an end of a channel
    is up while one of its transmitting radios and all that radio needs are up. Parts that serve several
    channels are taken up or down in all combinations; given these, channels are independent. Sites' common
    parts are not counted.
    """
    parts = parts_of_hop("hop", scheme, mounting) if parts is None else parts
    here, there = (
        _channels_up_at_end(scheme, [part for part in parts if part.end == end], chances)
        for end, chances in enumerate((unavailability_of, other_end or unavailability_of))
    )
    sets = np.arange(here.size)
    unavailability = 0.0
    for channels in np.nonzero(here)[0]:
        short = np.bitwise_count(sets & channels) < scheme.working
        unavailability += float(here[channels]) * float(there[short].sum())
    return unavailability


def _channels_up_at_end(
    scheme: Scheme, parts: Sequence[Part], unavailability_of: Mapping[str, float]
) -> Floats:
    """Chance of each set of channels (a bitmask) being up at one end, shape (2^n_channels,)."""
    chances = {part.id: _lookup(part, unavailability_of) for part in parts}
    shared = [part for part in parts if len(part.channels) > 1]
    within = [part for part in parts if len(part.channels) == 1]
    total = np.zeros(1 << scheme.n_channels)
    for downs in product((False, True), repeat=len(shared)):
        weight = prod(
            chances[p.id] if down else 1.0 - chances[p.id] for p, down in zip(shared, downs, strict=True)
        )
        lost = {r for part, down in zip(shared, downs, strict=True) if down for r in part.radios}
        sets = np.ones(1)
        for channel in range(scheme.n_channels):
            own = [part for part in within if part.channels == (channel,)]
            u = _channel_end_unavailability(scheme, channel, own, chances, lost)
            sets = np.concatenate([sets * u, sets * (1.0 - u)])
        total += weight * sets
    return total


def _channel_end_unavailability(
    scheme: Scheme, channel: int, own: Sequence[Part], chances: Mapping[str, float], lost: set[int]
) -> float:
    """Chance that no transmitting radio of a channel is up at one end, ``lost`` radios being down."""
    radios = [r for r in radios_of(scheme) if r.channel == channel and r.transmits and r.index not in lost]
    branches = [
        series_unavailability([chances[part.id] for part in own if part.radios == (radio.index,)])
        for radio in radios
    ]
    common = [chances[part.id] for part in own if len(part.radios) > 1]
    return series_unavailability([*common, parallel_unavailability(branches)])


def _lookup(part: Part, unavailability_of: Mapping[str, float]) -> float:
    for key in (part.item, part.kind):
        if key in unavailability_of:
            value = unavailability_of[key]
            if not 0.0 <= value <= 1.0:
                raise ValueError(f"unavailability of {key} is {value}; must be 0 to 1")
            return value
    raise ValueError(f'unavailability_of is without "{part.kind}"; must have every kind of part of the hop')


def _log1m(unavailabilities: ArrayLike) -> Floats:
    with np.errstate(divide="ignore"):
        return np.log1p(-np.asarray(unavailabilities, dtype=np.float64))
