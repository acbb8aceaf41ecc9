"""Numba loop that draws where systems of rain are born and how they drift, each from its own key."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.sim.rain.storm_loops import band_of, meets, normals, put, quantile, wide_of
from hopyears.sim.streams import stirred, stirred_uniform, stirred_word

SPEEDS = 1025
"""Even shares of one, 0 to 1, at which the loop takes the quantiles of a system's speed."""

_SIZE = 200_000


@kernel
def systems_near(tile_keys, counts, tiles, slots, drifts, speeds, sizes, plane, region, model):  # type: ignore[no-untyped-def]
    """Systems born in some tiles whose passage may come near a region, tile by tile.

    Parameters
    ----------
    tile_keys : uint64, shape (n_tiles,)
        Of each tile and the year: each system draws from a key of its own.
    counts : int64, shape (n_tiles, 12)
        Systems of each month.
    tiles : float64, shape (n_tiles, 5)
        South, west, north, east [rad]; distance of the tile from the region [km].
    slots : float64, shape (2, 12)
        Begin and length [s] of the time within which the systems of a month begin.
    drifts : float64, shape (n_tiles, 12, 3)
        Mean speed [km/s], heading and its standard deviation [rad].
    speeds : float64, shape (SPEEDS,)
        Quantiles of the speed over its mean at even shares of one.
    sizes : float64, shape (n_scores,)
        Quantiles of a system's size over its mean at ``SCORES``.
    plane : float64, shape (2,)
        Latitude and longitude of the plane's centre [rad].
    region : float64, shape (4,)
        West, south, east, north [km].
    model : float64, shape (3,)
        How far from its centre a system rains [km]; half the time of its passage, and all of it [s].

    Returns
    -------
    rows : float64, shape (n, 10)
        As ``shapes_near`` takes them; the last is the month.
    keys : uint64, shape (n,); tile : int64, shape (n,)
    """
    reach, half_s, lasting = model[0], model[1], model[2]
    room, n, number = 0, 0, 0
    for place in range(12 * len(tiles)):
        room += counts[place // 12, place % 12]  # more than needed: what stays untouched takes no memory
    rows, keys, of = np.empty((room, 10)), np.empty(room, np.uint64), np.empty(room, np.int64)
    for place in range(12 * len(tiles)):
        i, month = place // 12, place % 12
        tile, key, number = tiles[i], stirred(tile_keys[i]), number if month else 0
        square = np.sin(tile[0]), np.sin(tile[2]), np.sin(plane[0]), np.cos(plane[0])
        mean, towards, spread = drifts[i, month, 0], drifts[i, month, 1], drifts[i, month, 2]
        slowest = max(tile[4] - reach, 0.0) / half_s / mean
        # Most systems are too slow to come near whatever their heading.
        least = (np.searchsorted(speeds, slowest) - 1.0) / (SPEEDS - 1)
        for _ in range(counts[i, month]):
            word = stirred_word(key, number)
            own = stirred(word)
            number += 1
            share = stirred_uniform(own, 4)
            if share < least:
                continue
            at = share * (SPEEDS - 1)
            low = int(at)
            speed = mean * (speeds[low] + (at - low) * (speeds[low + 1] - speeds[low]))
            x, y, north = _place(tile, plane, square, stirred_uniform(own, 2), stirred_uniform(own, 3))
            turn, score = normals(own, 5)
            heading = towards + spread * turn + north
            vx, vy = speed * np.sin(heading), speed * np.cos(heading)
            x, y = x - half_s * vx, y - half_s * vy
            if wide_of(x, y, vx, vy, band_of(vx, vy, region, reach)) or not meets(
                x, y, vx, vy, lasting, region, reach
            ):
                continue
            start = slots[0, month] + stirred_uniform(own, 7) * slots[1, month]
            size = quantile(sizes, normals(own, _SIZE)[0])
            bearing = heading + 0.5 * np.pi
            put(rows, n, (start, x, y, vx, vy, size, score, stirred_uniform(own, 8), bearing, float(month)))
            keys[n], of[n] = word, i
            n += 1
    return rows[:n], keys[:n], of[:n]


@written_out
def _place(tile, plane, square, up, along):  # type: ignore[no-untyped-def]
    """As ``weather.places_km``, one place; ``square``: sines of the tile's edges, sine and cosine of the
    plane's latitude."""
    low, high, centre_sine, centre_cosine = square
    sine = low + up * (high - low)
    cosine = np.sqrt(1.0 - sine * sine)
    turn = tile[1] + along * (tile[3] - tile[1]) - plane[1]
    turn_sine, turn_cosine = np.sin(turn), np.cos(turn)
    across = cosine * turn_sine
    ahead = centre_cosine * sine - centre_sine * cosine * turn_cosine
    towards = min(max(centre_sine * sine + centre_cosine * cosine * turn_cosine, -1.0), 1.0)
    angle = np.arccos(towards)
    stretch = EARTH_RADIUS_KM * angle / max(np.sin(angle), 1e-12)
    return stretch * across, stretch * ahead, -centre_sine * turn_sine
