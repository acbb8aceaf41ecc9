"""Numba loop that draws the storms, showers and wide shapes of systems of rain, each from its own key.

What a system holds depends on its key and on the rain laws of the places it crosses, not on the region asked
for: shapes that cannot reach the region are left out one by one, most of them by what ``storm_sieve`` knows
of them at once, and the others stay as they are.
"""

import numpy as np

from hopyears.models.basics.kernel import bare_kernel, kernel, written_out
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.sim.rain.storm_sieve import (
    BLUR,
    gather,
    lives_of,
    may_fall,
    may_meet,
    member_rooms,
    plane_of,
    words_of,
)
from hopyears.sim.streams import normals, stirred, stirred_uniform

SCORES = np.linspace(-6.0, 6.0, 481)
"""Normal scores at which the loop takes the quantiles of ln M."""

CELL_REACH = 3.5
"""Outer radii beyond which a shape rains on nothing."""

LONGEST_LIVES = 4.0
"""Mean lives after which a cell counts as gone when it is judged whether it can reach the region."""

_STORM, _WIDE = 10, 100_000
_TURN_PER_S = 2.0 * np.pi / 86400.0


@written_out
def band_of(vx, vy, region, reach):  # type: ignore[no-untyped-def]
    """Middle of a region, and how far beside it, times the speed, a track may pass within reach of it."""
    middle_x, middle_y = 0.5 * (region[0] + region[2]), 0.5 * (region[1] + region[3])
    half_x, half_y = 0.5 * (region[2] - region[0]), 0.5 * (region[3] - region[1])
    speed = np.sqrt(vx * vx + vy * vy) + 1e-12
    return middle_x, middle_y, reach * speed + half_x * abs(vy) + half_y * abs(vx)


@written_out
def wide_of(x, y, vx, vy, band):  # type: ignore[no-untyped-def]
    """Whether the line of a track passes a region beyond reach."""
    return abs((x - band[0]) * vy - (y - band[1]) * vx) > band[2]


@kernel
def shapes_near(  # type: ignore[no-untyped-def]
    systems, keys, ceilings, days, region, laws, quantiles, weather, model, size, most_of, rooms, counts
):
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

    most_of : tuple of float64 (12, 4), (12,), and two numbers
        What ``shape_rooms.most_of`` finds.
    rooms : tuple of float64 (a, 8), float64 (b, 7), int64 (b,), float64 (c, 10), int64 (c,)
        To be filled from ``counts`` on: cells, rows of ``RainField.cells``, storm by storm; of each storm
        start, end, place, speed and number of cells; its system; wide shapes, rows of ``RainField.wide``;
        the system of each.
    counts : int64, shape (5,)
        First of the systems to be drawn; cells, storms and wide shapes that there are; what is added to the
        numbers of systems. The first four are brought up to date.

    Returns
    -------
    bool
        Whether there was room for the shapes of all systems; if not, those of the system ``counts[0]`` and
        later ones are still to be drawn.
    """
    cells, storms, storm_system, wide, wide_system = rooms
    spread, duration, storm_spread, storm_duration = model[0], model[1], model[2], model[3]
    wide_reach = CELL_REACH * np.sqrt(model[10]) * size[4]
    longest_storm = storm_duration + LONGEST_LIVES * model[7]
    plane, tops = plane_of(weather), np.empty(laws.shape[1])
    most, widest, most_members, most_cells = most_of
    members, storm_members = member_rooms(most_members), member_rooms(most_cells)
    words, near, nodes, xs, ys = members
    by_number = np.empty((12, 4, len(tops)))
    for month in range(12):
        for node in range(len(tops)):
            for number in range(4):
                by_number[month, number, node] = laws[month, node, number]
    n, m, w = counts[1], counts[2], counts[3]
    for i in range(counts[0], len(systems)):
        counts[0], counts[1], counts[2], counts[3] = i, n, m, w
        start, x0, y0, vx, vy = systems[i, 0], systems[i, 1], systems[i, 2], systems[i, 3], systems[i, 4]
        extent, score, bearing, key = systems[i, 5], systems[i, 6], systems[i, 8], stirred(keys[i])
        month, held = int(systems[i, 9]), systems[i, 7] * ceilings[i, 0]
        if held >= most[month, 0]:
            continue
        law = by_number[month]
        reach = 3.0 * storm_spread + widest[month]
        swing, fullest = days[i, 0], days[i, 1]
        band, wide_band = band_of(vx, vy, region, reach), band_of(vx, vy, region, wide_reach)
        track, spreads = (x0, y0, vx, vy), (spread, duration)
        count = min(_poisson(stirred_uniform(key, 0), ceilings[i, 1] * extent * (1.0 + swing)), len(words))
        if count:
            words_of(key, _STORM, count, words)
            for j in range(count):
                xs[j] = longest_storm
            may_meet(words, count, track, region, band, spreads, reach, xs, ys, near)
            count = gather(near, count, words, xs, ys)
        for j in range(count):
            own = words[j]
            lot = stirred_uniform(own, 6) * ceilings[i, 1]
            if lot >= most[month, 1]:
                continue
            age = stirred_uniform(own, 0) * duration
            daily = 1.0 + swing * np.cos(_TURN_PER_S * (start + age - fullest))
            if stirred_uniform(own, 7) * (1.0 + swing) >= daily:
                continue
            dx, dy = normals(own, 1)
            sx, sy = x0 + vx * age + spread * dx, y0 + vy * age + spread * dy
            if wide_of(sx, sy, vx, vy, band) or not meets(sx, sy, vx, vy, longest_storm, region, reach):
                continue
            begun = n
            need = n + min(_poisson(stirred_uniform(own, 3), ceilings[i, 3]), len(storm_members[0]))
            if need > len(cells) or m == len(storms):
                return False
            own_score, _ = normals(own, 4)
            common = model[4] * score + model[5] * own_score
            for node in range(len(tops)):
                tops[node] = law[3, node] if (held < law[0, node]) & (lot < law[1, node]) else 0.0
            n, end = _cells(
                cells, n, need - n, own, storm_members, common, (start + age, sx, sy, vx, vy), ceilings[i, 3],
                region, tops, quantiles[month], weather, plane, model, size, widest[month],
            )  # fmt: skip
            if n == begun:
                continue
            put(storms, m, (start + age, end, sx, sy, vx, vy, float(n - begun)))
            storm_system[m] = counts[4] + i
            m += 1
        count = min(_poisson(stirred_uniform(key, 1), ceilings[i, 2] * extent), len(words))
        if not count:
            continue
        words_of(key, _WIDE, count, words)
        lives_of(words, count, int(model[9]), model[8] / model[9], xs)
        may_meet(words, count, track, region, wide_band, spreads, wide_reach, xs, ys, near)
        count = gather(near, count, words, xs, ys)
        if not count:
            continue
        for node in range(len(tops)):
            tops[node] = law[2, node] if held < law[0, node] else 0.0
        may_fall(words, count, xs, ys, BLUR * spread, plane, ceilings[i, 2], tops, nodes, near)
        for j in range(count):
            if not near[j]:
                continue
            own = words[j]
            life, age = _life(own, 7, model[8], model[9]), stirred_uniform(own, 0) * duration
            dx, dy = normals(own, 1)
            x, y = x0 + vx * age + spread * dx, y0 + vy * age + spread * dy
            if wide_of(x, y, vx, vy, wide_band) or not meets(x, y, vx, vy, life, region, wide_reach):
                continue
            node = nodes[j]
            if node < 0:
                node = node_at(x + 0.5 * life * vx, y + 0.5 * life * vy, weather, stirred_uniform(own, 6))
                if stirred_uniform(own, 3) * ceilings[i, 2] >= tops[node]:
                    continue
            own_score, _ = normals(own, 4)
            value = model[4] * score + np.sqrt(1.0 - model[4] * model[4]) * own_score
            if w == len(wide):
                return False
            peak = quantile(quantiles[month, node, 1], value)
            put(wide, w, (start + age, life, x, y, vx, vy, peak, size[4], model[10], bearing))
            wide_system[w] = counts[4] + i
            w += 1
    counts[0], counts[1], counts[2], counts[3] = len(systems), n, m, w
    return True


@bare_kernel
def _cells(  # type: ignore[no-untyped-def]
    cells, n, count, storm, members, common, track, ceiling, region, tops, quantiles, weather, plane,
    model, size, widest,
):  # fmt: skip
    """Add a storm's cells that may reach the region; their number and when the last ends."""
    begins, sx, sy, vx, vy = track
    outer, end, band = model[11], 0.0, band_of(vx, vy, region, widest)
    words, near, nodes, xs, ys = members
    words_of(storm, _STORM, count, words)
    lives_of(words, count, int(model[9]), model[7] / model[9], xs)
    spreads = (model[2], model[3])
    may_meet(words, count, (sx, sy, vx, vy), region, band, spreads, widest, xs, ys, near)
    count = gather(near, count, words, xs, ys)
    may_fall(words, count, xs, ys, BLUR * model[2], plane, ceiling, tops, nodes, near)
    for c in range(count):
        if not near[c]:
            continue
        own = words[c]
        life, offset = _life(own, 7, model[7], model[9]), stirred_uniform(own, 0) * model[3]
        dx, dy = normals(own, 1)
        x, y = sx + vx * offset + model[2] * dx, sy + vy * offset + model[2] * dy
        if wide_of(x, y, vx, vy, band) or not meets(x, y, vx, vy, life, region, widest):
            continue
        node = nodes[c]
        if node < 0:
            node = node_at(x + 0.5 * life * vx, y + 0.5 * life * vy, weather, stirred_uniform(own, 6))
            if stirred_uniform(own, 3) * ceiling >= tops[node]:
                continue
        own_score, _ = normals(own, 4)
        log_peak = quantile(quantiles[node, 0], common + model[6] * own_score)
        rho = min(max(size[0] * np.exp(-size[1] * log_peak), size[2]), size[3])
        reach = CELL_REACH * outer * rho
        if not meets(x, y, vx, vy, life, region, reach):
            continue
        put(cells, n, (begins + offset, life, x, y, vx, vy, log_peak, rho))
        end = max(end, begins + offset + life)
        n += 1
    return n, end


@written_out
def _life(key, counter, mean, shape):  # type: ignore[no-untyped-def]
    """Gamma variable of a whole shape: a sum of exponentials."""
    product = 1.0
    for part in range(int(shape)):
        product *= stirred_uniform(key, counter + part)
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
def quantile(values, score):  # type: ignore[no-untyped-def]
    """Quantile at a normal score, of those at ``SCORES``."""
    step = SCORES[1] - SCORES[0]
    place = min(max((score - SCORES[0]) / step, 0.0), len(SCORES) - 1.001)
    low = int(place)
    return values[low] + (place - low) * (values[low + 1] - values[low])


@written_out
def meets(x, y, vx, vy, time_s, region, reach):  # type: ignore[no-untyped-def]
    """Whether a track's bounding box comes within reach of the region."""
    end_x, end_y = x + vx * time_s, y + vy * time_s
    return (
        max(x, end_x) > region[0] - reach
        and max(y, end_y) > region[1] - reach
        and min(x, end_x) < region[2] + reach
        and min(y, end_y) < region[3] + reach
    )


@kernel
def node_at(x, y, weather, lot):  # type: ignore[no-untyped-def]
    """A node of the map, of the four about a place with their bilinear weights as chances."""
    rows, columns = int(weather[5]), int(weather[6])
    if rows == 1 and columns == 1:
        return 0
    distance = np.sqrt(x * x + y * y) + 1e-12
    angle = distance / EARTH_RADIUS_KM
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
def put(rows, n, values):  # type: ignore[no-untyped-def]
    """Fill a row, number by number: compiles in a quarter of the time that a row filled at once takes."""
    for column in range(rows.shape[1]):
        rows[n, column] = values[column]
