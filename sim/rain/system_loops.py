"""Numba loop that draws where systems of rain are born and how they drift, each from its own key."""

import numpy as np

from hopyears.models.basics.kernel import bare_kernel, kernel, written_out
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.sim.rain.storm_loops import band_of, meets, put, quantile, wide_of
from hopyears.sim.rain.storm_sieve import BLUR, LANES, rough_normals, turned
from hopyears.sim.streams import normals, stirred, stirred_uniform, stirred_word

SPEEDS = 1025
"""Even shares of one, 0 to 1, at which the loop takes the quantiles of a system's speed."""

_SIZE = 200_000
_WIDEST_RAD, _FARTHEST = 0.6, 0.1
"""Width of a tile and one less the cosine of a distance up to which the series of ``_may_come`` are good."""


@kernel
def systems_near(tile_keys, counts, tiles, slots, drifts, speeds, sizes, plane, region, model):  # type: ignore[no-untyped-def]
    """Systems born in some tiles whose passage may come near a region, tile by tile.

    Parameters
    ----------
    tile_keys : uint64, shape (n_tiles,)
        Of each tile and the year: each system draws from a key of its own.
    counts : int64, shape (n_tiles, 12)
        Systems of each month.
    tiles : float64, shape (n_tiles, 4)
        South, west, north, east [rad].
    slots : float64, shape (2, 12)
        Begin and length [s] of the time within which the systems of a month begin.
    drifts : float64, shape (n_tiles, 12, 4)
        Mean speed [km/s], heading and its standard deviation [rad]; share of the law of speeds below which a
        system is too slow to come near whatever its heading.
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
    room, most, n, number = 0, 0, 0, 0
    for place in range(12 * len(tiles)):
        most = max(most, counts[place // 12, place % 12])
        room += counts[place // 12, place % 12]  # more than needed: what stays untouched takes no memory
    most = -(-most // LANES) * LANES
    words, paces, near = np.empty(most, np.uint64), np.empty(most), np.empty(most, np.bool_)
    rows, keys, of = np.empty((room, 10)), np.empty(room, np.uint64), np.empty(room, np.int64)
    for place in range(12 * len(tiles)):
        i, month = place // 12, place % 12
        tile, key, number = tiles[i], stirred(tile_keys[i]), number if month else 0
        square = np.sin(tile[0]), np.sin(tile[2]), np.sin(plane[0]), np.cos(plane[0])
        mean, towards, spread = drifts[i, month, 0], drifts[i, month, 1], drifts[i, month, 2]
        count = _fast(key, number, counts[i, month], drifts[i, month, 3], words, near)
        number += counts[i, month]
        for j in range(count):
            at = stirred_uniform(stirred(words[j]), 4) * (SPEEDS - 1)
            low = int(at)
            paces[j] = mean * (speeds[low] + (at - low) * (speeds[low + 1] - speeds[low]))
        _may_come(words, count, paces, tile, plane, square, (towards, spread), region, model, near)
        for j in range(count):
            if not near[j]:
                continue
            word, speed = words[j], paces[j]
            own = stirred(word)
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


@bare_kernel
def _fast(key, first, count, least, words, fast):  # type: ignore[no-untyped-def]
    """Keys of systems, from number ``first`` on, whose share of the law of speeds is ``least`` or more; how
    many. ``fast`` is room."""
    begin = np.uint64(first)
    for i in range(-(-count // LANES) * LANES):
        words[i] = stirred_word(key, begin + np.uint64(i))
        fast[i] = stirred_uniform(np.uint64(stirred(words[i])), 4) >= least
    n = 0
    for i in range(count):
        words[n] = words[i]
        n += fast[i]
    return n


@bare_kernel
def _may_come(words, count, paces, tile, plane, square, drift, region, model, near):  # type: ignore[no-untyped-def]
    """Whether each system of a tile, of a speed, may come near the region: fills ``near``.

    As ``systems_near`` decides it, by series; ``off`` bounds how far off a heading is [rad],
    ``blur`` the distances that follow [km]."""
    reach, half_s, lasting = model[0], model[1], model[2]
    low, high, centre_sine, centre_cosine = square
    width, middle = tile[3] - tile[1], 0.5 * (tile[1] + tile[3]) - plane[1]
    middle_sine, middle_cosine, wide = np.sin(middle), np.cos(middle), width > _WIDEST_RAD
    west, south, east, north = region[0], region[1], region[2], region[3]
    middle_x, half_x = 0.5 * (west + east), 0.5 * (east - west)
    middle_y, half_y = 0.5 * (south + north), 0.5 * (north - south)
    towards, off = drift[0], drift[1] * BLUR + 1e-4
    for i in range(-(-count // LANES) * LANES):
        own, speed = np.uint64(stirred(words[i])), paces[i]
        sine = low + stirred_uniform(own, 2) * (high - low)
        cosine, beside = np.sqrt(1.0 - sine * sine), width * (stirred_uniform(own, 3) - 0.5)
        beside2 = beside * beside
        beside_sine = beside * (1.0 - beside2 * (1.0 / 6.0 - beside2 / 120.0))
        beside_cosine = 1.0 - beside2 * (0.5 - beside2 * (1.0 / 24.0 - beside2 / 720.0))
        turn_sine = middle_sine * beside_cosine + middle_cosine * beside_sine
        turn_cosine = middle_cosine * beside_cosine - middle_sine * beside_sine
        away = 1.0 - centre_sine * sine - centre_cosine * cosine * turn_cosine
        # The angle over its sine.
        stretch = 1.0 + away * (1.0 / 3.0 + away * (2.0 / 15.0 + away * (2.0 / 35.0 + away * 8.0 / 315.0)))
        x = EARTH_RADIUS_KM * stretch * cosine * turn_sine
        y = EARTH_RADIUS_KM * stretch * (centre_cosine * sine - centre_sine * cosine * turn_cosine)
        heading = towards + drift[1] * rough_normals(own, 5)[0] - centre_sine * turn_sine
        turns = heading * (0.5 / np.pi)
        along, across = turned(turns - np.floor(turns))
        vx, vy = speed * across, speed * along
        x, y = x - half_s * vx, y - half_s * vy
        end_x, end_y, dx, dy = x + lasting * vx, y + lasting * vy, x - middle_x, y - middle_y
        blur = off * (lasting * speed + abs(dx) + abs(dy) + half_x + half_y) + 0.1
        meets = (max(x, end_x) > west - reach - blur) & (max(y, end_y) > south - reach - blur)
        meets &= (min(x, end_x) < east + reach + blur) & (min(y, end_y) < north + reach + blur)
        band = (reach + blur) * speed + half_x * abs(vy) + half_y * abs(vx)
        near[i] = wide | (away > _FARTHEST) | (meets & (abs(dx * vy - dy * vx) <= band))


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
