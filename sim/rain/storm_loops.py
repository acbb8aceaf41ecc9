"""Numba loop that draws the storms, showers and wide shapes of systems of rain, each from its own key.

What a system holds depends on its key and on the rain laws of the places it crosses, not on the region asked
for: shapes that cannot reach the region are left out one by one, and the others stay as they are.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.streams import keyed_uniform, keyed_word

SCORES = np.linspace(-6.0, 6.0, 481)
"""Normal scores at which the loop takes the quantiles of ln M."""

CELL_REACH = 3.5
"""Outer radii beyond which a shape rains on nothing."""

LONGEST_LIVES = 4.0
"""Mean lives after which a cell counts as gone when it is judged whether it can reach the region."""

SPEEDS = 1025
"""Even shares of one, 0 to 1, at which the loop takes the quantiles of a system's speed."""

_STORM, _WIDE, _SIZE = 10, 100_000, 200_000
_WEAK_SCORE = -2.3
_EARTH_KM = 6371.0
_TURN_PER_S = 2.0 * np.pi / 86400.0


@kernel
def systems_near(key, counts, tile, slots, drift, speeds, sizes, plane, region, model):  # type: ignore[no-untyped-def]
    """Systems born in a tile whose passage may come near a region.

    Parameters
    ----------
    key : uint64
        Of the tile and year: each system draws from a key of its own.
    counts : int64, shape (12,)
        Systems of each month.
    tile : float64, shape (5,)
        South, west, north, east [rad]; distance of the tile from the region [km].
    slots : float64, shape (2, 12)
        Begin and length [s] of the time within which the systems of a month begin.
    drift : float64, shape (12, 3)
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
    keys : uint64, shape (n,)
    """
    reach, half_s, lasting = model[0], model[1], model[2]
    rows, keys, n, number = np.empty((64, 10)), np.empty(64, np.uint64), 0, 0
    square = np.sin(tile[0]), np.sin(tile[2]), np.sin(plane[0]), np.cos(plane[0])
    for month in range(12):
        mean, towards, spread = drift[month, 0], drift[month, 1], drift[month, 2]
        slowest = max(tile[4] - reach, 0.0) / half_s / mean
        # Most systems are too slow to come near whatever their heading.
        least = (np.searchsorted(speeds, slowest) - 1.0) / (SPEEDS - 1)
        for _ in range(counts[month]):
            own = keyed_word(key, number)
            number += 1
            share = keyed_uniform(own, 4)
            if share < least:
                continue
            at = share * (SPEEDS - 1)
            low = int(at)
            speed = mean * (speeds[low] + (at - low) * (speeds[low + 1] - speeds[low]))
            x, y, north = _place(tile, plane, square, keyed_uniform(own, 2), keyed_uniform(own, 3))
            turn, score = _normals(own, 5)
            heading = towards + spread * turn + north
            vx, vy = speed * np.sin(heading), speed * np.cos(heading)
            x, y = x - half_s * vx, y - half_s * vy
            if _wide_of(x, y, vx, vy, _band(vx, vy, region, reach)) or not _meets(
                x, y, vx, vy, lasting, region, reach
            ):
                continue
            if n == len(rows):
                rows, keys = np.concatenate((rows, rows)), np.concatenate((keys, keys))
            start = slots[0, month] + keyed_uniform(own, 7) * slots[1, month]
            size = _quantile(sizes, _normals(own, _SIZE)[0])
            bearing = heading + 0.5 * np.pi
            _put(rows, n, (start, x, y, vx, vy, size, score, keyed_uniform(own, 8), bearing, float(month)))
            keys[n] = own
            n += 1
    return rows[:n].copy(), keys[:n].copy()


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
    stretch = _EARTH_KM * angle / max(np.sin(angle), 1e-12)
    return stretch * across, stretch * ahead, -centre_sine * turn_sine


@written_out
def _band(vx, vy, region, reach):  # type: ignore[no-untyped-def]
    """Middle of a region, and how far beside it, times the speed, a track may pass within reach of it."""
    middle_x, middle_y = 0.5 * (region[0] + region[2]), 0.5 * (region[1] + region[3])
    half_x, half_y = 0.5 * (region[2] - region[0]), 0.5 * (region[3] - region[1])
    speed = np.sqrt(vx * vx + vy * vy) + 1e-12
    return middle_x, middle_y, reach * speed + half_x * abs(vy) + half_y * abs(vx)


@written_out
def _wide_of(x, y, vx, vy, band):  # type: ignore[no-untyped-def]
    """Whether the line of a track passes a region beyond reach."""
    return abs((x - band[0]) * vy - (y - band[1]) * vx) > band[2]


@kernel
def shapes_near(systems, keys, ceilings, days, region, laws, quantiles, weather, model, size):  # type: ignore[no-untyped-def]
    """Shapes of systems that may rain on a region.

    Parameters
    ----------
    systems : float64, shape (n_systems, 10)
        Start [s], place x, y at the start [km], speed x, y [km/s], size over the mean, score, share of the
        ceiling below which a place has the system, bearing of the long axes [rad], month.
    keys : uint64, shape (n_systems,)
    ceilings : float64, shape (n_systems, 4)
        Most that any place in reach has: births of systems per km^2 and second, means of storms and of wide
        shapes in a system and of cells in a storm.
    days : float64, shape (n_systems, 2)
        Daily cycle with which storms begin: amplitude over the mean, 0 to 1, and time of day of most [s].
    region : float64, shape (4,)
        West, south, east, north [km].
    laws : float64, shape (12, n_nodes, 4)
        The same four numbers at the nodes of the map.
    quantiles : float64, shape (12, n_nodes, 2, n_scores)
        ln M at ``SCORES`` of showers and of wide shapes.
    weather : float64, shape (7,)
        Latitude and longitude of the plane's centre [rad]; first latitude and longitude of the nodes, their
        distance [rad]; number of rows and columns of nodes.
    model : float64, shape (12,)
        Spread [km] and duration [s] of systems; of storms; roots of the shares of peaks common to a system,
        to a storm, a cell's own; mean life of cells and wide shapes [s]; shape of lives; ratio of wide
        shapes; outer radius of the profile.
    size : float64, shape (5,)
        Size law of cells and its limits [km]; largest radius of wide shapes [km].

    Returns
    -------
    cells : float64, shape (n, 8); storms : float64, shape (m, 7); storm_system : int64, shape (m,)
        Rows of ``RainField.cells`` storm by storm; of each storm start, end, place, speed and number of
        cells; its system.
    wide : float64, shape (l, 10); wide_system : int64, shape (l,)
    """
    cells, n = np.empty((4096, 8)), 0
    storms, storm_system, m = np.empty((1024, 7)), np.empty(1024, np.int64), 0
    wide, wide_system, w = np.empty((1024, 10)), np.empty(1024, np.int64), 0
    spread, duration, storm_spread, storm_duration = model[0], model[1], model[2], model[3]
    wide_reach = CELL_REACH * np.sqrt(model[10]) * size[4]
    longest_storm = storm_duration + LONGEST_LIVES * model[7]
    most, widest = _most_of(laws, quantiles, size, CELL_REACH * model[11])
    for i in range(len(systems)):
        start, x0, y0, vx, vy, extent, score = systems[i, :7]
        bearing, key = systems[i, 8], keys[i]
        month = int(systems[i, 9])
        if systems[i, 7] * ceilings[i, 0] >= most[month, 0]:
            continue
        reach = 3.0 * storm_spread + widest[month]
        swing, fullest = days[i]
        band, wide_band = _band(vx, vy, region, reach), _band(vx, vy, region, wide_reach)
        for j in range(_poisson(keyed_uniform(key, 0), ceilings[i, 1] * extent * (1.0 + swing))):
            own = keyed_word(key, _STORM + j)
            lot = keyed_uniform(own, 6)
            if lot * ceilings[i, 1] >= most[month, 1]:
                continue
            age = keyed_uniform(own, 0) * duration
            daily = 1.0 + swing * np.cos(_TURN_PER_S * (start + age - fullest))
            if keyed_uniform(own, 7) * (1.0 + swing) >= daily:
                continue
            dx, dy = _normals(own, 1)
            sx, sy = x0 + vx * age + spread * dx, y0 + vy * age + spread * dy
            if _wide_of(sx, sy, vx, vy, band) or not _meets(sx, sy, vx, vy, longest_storm, region, reach):
                continue
            begun = n
            need = n + _poisson(keyed_uniform(own, 3), ceilings[i, 3])
            if need > len(cells):
                cells = np.concatenate((cells, np.empty((need, 8))))
            own_score, _ = _normals(own, 4)
            common = model[4] * score + model[5] * own_score
            n, end = _cells(
                cells, n, need - n, own, common, (start + age, sx, sy, vx, vy), systems[i, 7], ceilings[i],
                region, laws[month], quantiles[month], weather, model, size, lot,
                most[month, 3], widest[month],
            )  # fmt: skip
            if n == begun:
                continue
            if m == len(storms):
                storms = np.concatenate((storms, np.empty((m, 7))))
                storm_system = np.concatenate((storm_system, np.empty(m, np.int64)))
            _put(storms, m, (start + age, end, sx, sy, vx, vy, float(n - begun)))
            storm_system[m] = i
            m += 1
        for j in range(_poisson(keyed_uniform(key, 1), ceilings[i, 2] * extent)):
            own = keyed_word(key, _WIDE + j)
            accepted = keyed_uniform(own, 3) * ceilings[i, 2]
            if accepted >= most[month, 2]:
                continue
            age = keyed_uniform(own, 0) * duration
            dx, dy = _normals(own, 1)
            x, y = x0 + vx * age + spread * dx, y0 + vy * age + spread * dy
            if _wide_of(x, y, vx, vy, wide_band):
                continue
            life = _life(own, 7, model[8], model[9])
            if not _meets(x, y, vx, vy, life, region, wide_reach):
                continue
            node = _node(x + 0.5 * life * vx, y + 0.5 * life * vy, weather, keyed_uniform(own, 6))
            law = laws[month, node]
            if systems[i, 7] * ceilings[i, 0] >= law[0] or accepted >= law[2]:
                continue
            own_score, _ = _normals(own, 4)
            value = model[4] * score + np.sqrt(1.0 - model[4] * model[4]) * own_score
            if w == len(wide):
                wide = np.concatenate((wide, np.empty((w, 10))))
                wide_system = np.concatenate((wide_system, np.empty(w, np.int64)))
            peak = _quantile(quantiles[month, node, 1], value)
            _put(wide, w, (start + age, life, x, y, vx, vy, peak, size[4], model[10], bearing))
            wide_system[w] = i
            w += 1
    return (
        cells[:n].copy(),
        storms[:m].copy(),
        storm_system[:m].copy(),
        wide[:w].copy(),
        wide_system[:w].copy(),
    )


@kernel
def _most_of(laws, quantiles, size, reach_in_radii):  # type: ignore[no-untyped-def]
    """By month, the most that any node has of each of the four numbers, and how far cells rain [km], but for
    the weakest one in a hundred."""
    weak = int((_WEAK_SCORE - SCORES[0]) / (SCORES[1] - SCORES[0]))
    most, widest = np.zeros((12, 4)), np.zeros(12)
    for month in range(12):
        for node in range(laws.shape[1]):
            for number in range(4):
                most[month, number] = max(most[month, number], laws[month, node, number])
            rho = size[0] * np.exp(-size[1] * quantiles[month, node, 0, weak])
            widest[month] = max(widest[month], reach_in_radii * min(max(rho, size[2]), size[3]))
    return most, widest


@kernel
def _cells(  # type: ignore[no-untyped-def]
    cells, n, count, storm, common, track, held, ceiling, region, laws, quantiles, weather, model, size, lot,
    most, widest,
):  # fmt: skip
    """Add a storm's cells that may reach the region; their number and when the last ends."""
    begins, sx, sy, vx, vy = track
    outer, end, band = model[11], 0.0, _band(vx, vy, region, widest)
    for c in range(count):
        own = keyed_word(storm, _STORM + c)
        accepted = keyed_uniform(own, 3) * ceiling[3]
        if accepted >= most:
            continue
        offset = keyed_uniform(own, 0) * model[3]
        dx, dy = _normals(own, 1)
        x, y = sx + vx * offset + model[2] * dx, sy + vy * offset + model[2] * dy
        if _wide_of(x, y, vx, vy, band):
            continue
        life = _life(own, 7, model[7], model[9])
        if not _meets(x, y, vx, vy, life, region, widest):
            continue
        node = _node(x + 0.5 * life * vx, y + 0.5 * life * vy, weather, keyed_uniform(own, 6))
        law = laws[node]
        if held * ceiling[0] >= law[0] or lot * ceiling[1] >= law[1] or accepted >= law[3]:
            continue
        own_score, _ = _normals(own, 4)
        log_peak = _quantile(quantiles[node, 0], common + model[6] * own_score)
        rho = min(max(size[0] * np.exp(-size[1] * log_peak), size[2]), size[3])
        reach = CELL_REACH * outer * rho
        if not _meets(x, y, vx, vy, life, region, reach):
            continue
        _put(cells, n, (begins + offset, life, x, y, vx, vy, log_peak, rho))
        end = max(end, begins + offset + life)
        n += 1
    return n, end


@written_out
def _normals(key, counter):  # type: ignore[no-untyped-def]
    """Two standard normal numbers (Box and Muller) from two words of a key."""
    radius = np.sqrt(-2.0 * np.log(keyed_uniform(key, counter)))
    angle = 2.0 * np.pi * keyed_uniform(key, counter + 1)
    return radius * np.cos(angle), radius * np.sin(angle)


@written_out
def _life(key, counter, mean, shape):  # type: ignore[no-untyped-def]
    """Gamma variable of a whole shape: a sum of exponentials."""
    product = 1.0
    for part in range(int(shape)):
        product *= keyed_uniform(key, counter + part)
    return -np.log(product) * mean / shape


@kernel
def _poisson(uniform, mean):  # type: ignore[no-untyped-def]
    """Poisson number of a mean up to some hundreds, by inversion."""
    chance = np.exp(-mean)
    total, count = chance, 0
    while uniform > total and count < 10_000 and chance > 0.0:
        count += 1
        chance *= mean / count
        total += chance
    return count


@written_out
def _quantile(values, score):  # type: ignore[no-untyped-def]
    step = SCORES[1] - SCORES[0]
    place = min(max((score - SCORES[0]) / step, 0.0), len(SCORES) - 1.001)
    low = int(place)
    return values[low] + (place - low) * (values[low + 1] - values[low])


@written_out
def _meets(x, y, vx, vy, time_s, region, reach):  # type: ignore[no-untyped-def]
    """Whether a track's bounding box comes within reach of the region."""
    end_x, end_y = x + vx * time_s, y + vy * time_s
    return (
        max(x, end_x) > region[0] - reach
        and max(y, end_y) > region[1] - reach
        and min(x, end_x) < region[2] + reach
        and min(y, end_y) < region[3] + reach
    )


@kernel
def _node(x, y, weather, lot):  # type: ignore[no-untyped-def]
    """A node of the map, of the four about a place with their bilinear weights as chances."""
    rows, columns = int(weather[5]), int(weather[6])
    if rows == 1 and columns == 1:
        return 0
    distance = np.sqrt(x * x + y * y) + 1e-12
    angle = distance / _EARTH_KM
    sine = np.sin(weather[0]) * np.cos(angle) + y / distance * np.sin(angle) * np.cos(weather[0])
    latitude = np.arcsin(min(max(sine, -1.0), 1.0))
    longitude = weather[1] + np.arctan2(
        x / distance * np.sin(angle) * np.cos(weather[0]), np.cos(angle) - np.sin(weather[0]) * sine
    )
    row = min(max((latitude - weather[2]) / weather[4], 0.0), rows - 1.000001)
    turn = 2.0 * np.pi
    column = min(max(((longitude - weather[3] + np.pi) % turn - np.pi) / weather[4], 0.0), columns - 1.000001)
    low, left = int(row), int(column)
    up = row - low
    above = lot < up
    lot = lot / up if above else (lot - up) / (1.0 - up)
    return (low + above) * columns + left + (lot < column - left)


@kernel
def _put(rows, n, values):  # type: ignore[no-untyped-def]
    """Fill a row, number by number: compiles in a quarter of the time that a row filled at once takes."""
    for column in range(rows.shape[1]):
        rows[n, column] = values[column]
