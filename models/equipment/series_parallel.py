"""Availability of repairable parts in closed form: series, parallel, k of n, pairs, shared crews.

Rates are constant: failures at 1/MTBF, repairs at 1/MTTR. Where crews are shared the formulas need
exponential repair times; the availability of a single part does not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.hardware import Mounting, Part, parts_of_hop
from hopyears.models.radio.scheme import Scheme, radios_of


def series_availability(availabilities: ArrayLike) -> float:
    """Availability of parts that must all be up: the product. Shape (n,), each 0 to 1 (IEC 61078)."""
    return float(np.prod(np.asarray(availabilities, dtype=np.float64)))


def series_unavailability(unavailabilities: ArrayLike) -> float:
    """Unavailability of parts that must all be up, without loss of small values. Shape (n,), each 0 to 1."""
    return float(-np.expm1(np.sum(_log1m(unavailabilities))))


def parallel_unavailability(unavailabilities: ArrayLike) -> float:
    """Unavailability of parts of which one must be up: the product. Shape (n,), each 0 to 1 (IEC 61078)."""
    return float(np.prod(np.asarray(unavailabilities, dtype=np.float64)))


def k_of_n_unavailability(needed: int, unavailabilities: Sequence[float]) -> float:
    """Chance that fewer than ``needed`` of independent parts are up.

    Parameters
    ----------
    needed : int
        0 to the number of parts.
    unavailabilities : sequence of float
        Of each part, 0 to 1; they may differ.

    Raises
    ------
    ValueError
        If ``needed`` is out of range.

    References
    ----------
    IEC 61078, m-out-of-n. Exact, by convolution over the number of parts down.
    """
    n = len(unavailabilities)
    if not 0 <= needed <= n:
        raise ValueError(f"needed is {needed}; must be 0 to {n}")
    down = np.zeros(n + 1)
    down[0] = 1.0
    for u in unavailabilities:
        down[1:] = down[1:] * (1.0 - u) + down[:-1] * u
        down[0] *= 1.0 - u
    return float(down[n - needed + 1 :].sum())


def spare_channel_unavailability(working: int, channel_unavailability: float) -> float:
    """Mean share of traffic lost by ``working`` channels with one spare channel for whichever is down.

    Textbook: the expected number of channels down beyond the first, over ``working``; all
    ``working + 1`` channels fail and are mended independently.
    """
    n, u = working + 1, channel_unavailability
    down = np.zeros(n + 1)
    down[0] = 1.0
    for _ in range(n):
        down[1:] = down[1:] * (1.0 - u) + down[:-1] * u
        down[0] *= 1.0 - u
    return float(np.dot(np.maximum(np.arange(n + 1) - 1, 0), down)) / working


def unit_unavailability(mtbf_h: float, mttr_h: float) -> float:
    """Unavailability of one repairable part, MTTR/(MTBF + MTTR), both [h] (IEC 61165)."""
    failure, repair = _rates(mtbf_h, mttr_h)
    return failure / (failure + repair)


def hot_pair_unavailability(mtbf_h: float, mttr_h: float, *, crews: int = 2) -> float:
    """Unavailability of two like parts, both running, of which one is enough; perfect switch.

    One crew: 2 l^2/(m^2 + 2 l m + 2 l^2); two crews: (l/(l + m))^2, with l = 1/MTBF, m = 1/MTTR.

    References
    ----------
    IEC 61165; verified there and in the tests by solving the Markov chain.
    """
    failure, repair = _rates(mtbf_h, mttr_h)
    if _crews(crews) == 2:
        return (failure / (failure + repair)) ** 2
    return 2 * failure**2 / (repair**2 + 2 * failure * repair + 2 * failure**2)


def cold_pair_unavailability(mtbf_h: float, mttr_h: float, *, crews: int = 2) -> float:
    """Unavailability of a part with a standby that cannot fail: l^2/(c m^2 + c l m + l^2), c crews."""
    failure, repair = _rates(mtbf_h, mttr_h)
    c = _crews(crews)
    return failure**2 / (c * repair**2 + c * failure * repair + failure**2)


def hot_pair_outages_per_year(mtbf_h: float, mttr_h: float, *, crews: int = 2) -> float:
    """Outages per year of a hot pair: unavailability times the rate of leaving it, crews/MTTR [1/year]."""
    _, repair = _rates(mtbf_h, mttr_h)
    return hot_pair_unavailability(mtbf_h, mttr_h, crews=crews) * crews * repair * HOURS_PER_YEAR


def hot_pair_mean_time_to_failure_h(mtbf_h: float, mttr_h: float) -> float:
    """Mean time from both up to both down [h]: (3 l + m)/(2 l^2)."""
    failure, repair = _rates(mtbf_h, mttr_h)
    return (3 * failure + repair) / (2 * failure**2)


def imperfect_switch_unavailability(
    mtbf_h: float, mttr_h: float, *, coverage: float, manual_switch_h: float, crews: int = 2
) -> float:
    """Unavailability of a hot pair whose switch works with a chance of ``coverage`` (0 to 1), else by hand.

    Notes
    -----
    States: both up; switch stuck (until ``manual_switch_h`` [h] have passed on average); one down; both
    down. Relative to both up: p1 = 2 l/m, pS = l (1 - coverage) manual_switch_h, p2 = p1 l/(crews m).
    """
    failure, repair = _rates(mtbf_h, mttr_h)
    one = 2 * failure / repair
    stuck = failure * (1.0 - coverage) * manual_switch_h
    both = one * failure / (_crews(crews) * repair)
    return (stuck + both) / (1.0 + stuck + one + both)


def latent_standby_unavailability(
    mtbf_h: float, mttr_h: float, *, mean_time_to_detect_h: float, crews: int = 2
) -> float:
    """Unavailability of a hot pair whose standby fails silently and is found at a mean rate of testing.

    Notes
    -----
    Relative to both up: silent pL = l/(n + l), n = 1/``mean_time_to_detect_h`` [1/h]; one known down
    p1 = 2 l/m; both down p2 = l (pL + p1)/(crews m).
    """
    failure, repair = _rates(mtbf_h, mttr_h)
    silent = failure / (1.0 / mean_time_to_detect_h + failure)
    one = 2 * failure / repair
    both = failure * (silent + one) / (_crews(crews) * repair)
    return both / (1.0 + silent + one + both)


@dataclass(frozen=True)
class MachineRepair:
    """Long-run figures of parts mended by a few shared crews.

    Parameters
    ----------
    mean_failed, mean_waiting : float
        Parts down, and parts down without a crew at work [parts].
    unavailability, all_up : float
        Of one part; chance that every part is up. 0 to 1.
    mean_wait_h, mean_down_h : float
        Wait for a crew, and wait and repair together, per failure [h].
    """

    mean_failed: float
    mean_waiting: float
    unavailability: float
    all_up: float
    mean_wait_h: float
    mean_down_h: float


def machine_repair(mtbf_h: float, mttr_h: float, *, n_units: int, crews: int) -> MachineRepair:
    """``n_units`` like parts that share ``crews`` crews, first come first served.

    References
    ----------
    M/M/c//N queue (machine repair), any queueing textbook: w_n = w_(n-1) (N - n + 1) l/(min(n, c) m).
    """
    failure, repair = _rates(mtbf_h, mttr_h)
    if n_units < 1 or crews < 1:
        raise ValueError(f"n_units and crews are {n_units} and {crews}; must be at least 1")
    n = np.arange(1, n_units + 1)
    weights = np.concatenate(
        [[1.0], np.cumprod((n_units - n + 1) * failure / (np.minimum(n, crews) * repair))]
    )
    chances = weights / weights.sum()
    down = np.arange(n_units + 1)
    failed = float(np.dot(down, chances))
    waiting = float(np.dot(np.maximum(down - crews, 0), chances))
    wait_h = waiting / (failure * (n_units - failed))
    return MachineRepair(
        mean_failed=failed,
        mean_waiting=waiting,
        unavailability=failed / n_units,
        all_up=float(chances[0]),
        mean_wait_h=wait_h,
        mean_down_h=wait_h + mttr_h,
    )


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
) -> NDArray[np.float64]:
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


def _log1m(unavailabilities: ArrayLike) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        return np.log1p(-np.asarray(unavailabilities, dtype=np.float64))


def _rates(mtbf_h: float, mttr_h: float) -> tuple[float, float]:
    if not (mtbf_h > 0.0 and mttr_h > 0.0):
        raise ValueError(f"mtbf_h and mttr_h are {mtbf_h} and {mttr_h}; must be above 0")
    return 1.0 / mtbf_h, 1.0 / mttr_h


def _crews(crews: int) -> int:
    if crews not in (1, 2):
        raise ValueError(f"crews is {crews}; must be 1 or 2 for a pair")
    return crews
