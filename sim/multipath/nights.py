"""Draws the nights of a block for all hops: hours with fading, and how strong.

Neighbouring hops share the severity of a night in part (Gaussian copula over distance); hours, and the fades
themselves, are each hop's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.sim.multipath.night_law import (
    HOURS_PER_NIGHT,
    PATTERNS,
    NightLaw,
    hour_weight_of_day,
    severity_table,
)
from hopyears.sim.streams import Streams

CORRELATION_LENGTH_KM: Final = 75.0
"""Night severity of hops d apart correlates as exp(-d/75 km): 0.5 to 0.7 at 25 to 50 km (common practice)."""

SLOT_S: Final = 3600.0
"""Length of one slot of constant activity [s]."""

_FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class NightRegion:
    """The hops whose nights are drawn together.

    Parameters
    ----------
    place_ids : tuple of str
        Name of each hop's place; hops of the same place and position have the same nights.
    factor : array, shape (n_hops, n_hops)
        Lower-triangular factor of the correlation between hops: a hop added at the end moves no other.
    """

    place_ids: tuple[str, ...]
    factor: _FloatArray


@dataclass(frozen=True)
class HopActivity:
    """Hours of a block in which a hop may fade.

    Parameters
    ----------
    start_s : array, shape (n_slots,)
        Start of each hour [s from the start of the block], increasing.
    occurrence : array, shape (n_slots,)
        p0 in that hour (fraction of time below x is 1 - exp(-p0 x)).
    worst_month : bool array, shape (n_slots,)
        Whether the hour lies in the worst month of its year.
    """

    start_s: _FloatArray
    occurrence: _FloatArray
    worst_month: NDArray[np.bool_]


def night_region(place_ids: Sequence[str], x_km: ArrayLike, y_km: ArrayLike) -> NightRegion:
    """Region of hops by the middle of each, in the order of the network.

    Parameters
    ----------
    place_ids : sequence of str, length n_hops
        Hop names, or one shared name for hops side by side between the same two sites.
    x_km, y_km : array, shape (n_hops,)
        Middle of each hop on the local plane [km].
    """
    place = np.asarray(x_km, dtype=np.float64) + 1j * np.asarray(y_km, dtype=np.float64)
    correlation = np.exp(-np.abs(place[:, None] - place[None, :]) / CORRELATION_LENGTH_KM)
    factor = np.linalg.cholesky(correlation + 1e-9 * np.eye(len(place)))
    return NightRegion(tuple(place_ids), factor)


def draw_activity(
    streams: Streams, region: NightRegion, laws: Sequence[NightLaw], n_years: int
) -> list[HopActivity]:
    """Hours with fading of every hop over a block.

    Parameters
    ----------
    streams : Streams
        Uses ("nights", place) and ("night hours", place).
    region : NightRegion
    laws : sequence of NightLaw, one per hop
    n_years : int
        Length of the block.
    """
    n_nights = int(n_years * SECONDS_PER_YEAR // SECONDS_PER_DAY)
    own = [streams.generator("nights", place).standard_normal(n_nights) for place in region.place_ids]
    latent = region.factor @ np.array(own) if own else np.empty((0, n_nights))
    return [
        _hop_activity(streams.generator("night hours", place), law, ndtr(row), n_years)
        for place, law, row in zip(region.place_ids, laws, latent, strict=True)
    ]


def _hop_activity(random: np.random.Generator, law: NightLaw, rank: _FloatArray, n_years: int) -> HopActivity:
    pattern = PATTERNS[law.terrain]
    severities, hours = severity_table(pattern.night_sd), severity_table(pattern.hour_sd)
    above = (rank - (1.0 - pattern.active_share)) / pattern.active_share
    nights = np.nonzero(above > 0.0)[0]
    severity = severities[np.minimum((above[nights] * len(severities)).astype(np.int64), len(severities) - 1)]
    hourly = hours[random.integers(0, len(hours), (len(nights), HOURS_PER_NIGHT))]
    level = (severity[:, None] / pattern.active_share * hourly * hour_weight_of_day()).ravel()
    start = nights[:, None] * SECONDS_PER_DAY + law.night_start_s + np.arange(HOURS_PER_NIGHT) * SLOT_S
    start = np.mod(start.ravel(), n_years * SECONDS_PER_YEAR)
    order = np.argsort(start, kind="stable")
    return _weighted(law, start[order], level[order], n_years)


def _weighted(law: NightLaw, start_s: _FloatArray, level: _FloatArray, n_years: int) -> HopActivity:
    """Give each month its weight, damp its own strength, and mark the worst month of each year."""
    cell = np.searchsorted(month_edges_s(n_years)[1:-1], start_s, side="right")
    own_mean = np.bincount(cell, level, 12 * n_years) * SLOT_S / np.tile(MONTH_SECONDS, n_years)
    factor = np.tile(law.month_weight, n_years) * law.scale
    factor = factor * np.power(np.maximum(own_mean, 1e-9), -law.damping)
    worst = np.zeros((n_years, 12), dtype=bool)
    worst[np.arange(n_years), (own_mean * factor).reshape(n_years, 12).argmax(axis=1)] = True
    return HopActivity(start_s, (law.occurrence_drawn * factor)[cell] * level, worst.ravel()[cell])
