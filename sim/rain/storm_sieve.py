"""Numba loops that leave out, many at a time, members of systems and storms that cannot rain on a region.

Rough lives, places and nodes, each within a known distance of what ``storm_loops`` then draws of the same
words: what is left out here would be left out there, so it changes nothing but the time that it takes.
Loops over members have no branch, and what reads a table is a loop of its own, so that the compiler turns
the others into vector instructions.
"""

import numpy as np

from hopyears.models.basics.kernel import bare_kernel, inlined, written_out
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.sim.streams import stirred, stirred_uniform, stirred_word

LANES = 8
"""Members of one vector instruction: arrays are filled up to a multiple."""

BLUR = 0.001
"""Most that the place of two normal numbers is off, over their standard deviation."""

_BLUR_OF_LIFE = 1e-4
"""Most that a life is off, over that of the mean of one of its parts."""

_KM_PER_DEG = EARTH_RADIUS_KM * np.pi / 180.0
_FARTHEST_KM, _HIGHEST, _SLACK_DEG, _LEAST_SLACK_DEG = 400.0, 0.4, 0.01, 0.001
_MANTISSA = np.int64(2**52 - 1)


def _between_powers_of_two() -> tuple[float, ...]:
    """Polynomial q with which ln(1 + f) is f ln 2 + f (1 - f) q(f), for f from 0 to 1: exact at both."""
    f = 0.5 + 0.5 * np.cos(np.pi * (np.arange(64) + 0.5) / 64)
    rest = (np.log1p(f) - f * np.log(2.0)) / (f * (1.0 - f))
    return tuple(np.polynomial.Polynomial.fit(f, rest, 4, domain=[0, 1], window=[0, 1]).coef.tolist())


_Q0, _Q1, _Q2, _Q3, _Q4 = _between_powers_of_two()
_LN_2 = float(np.log(2.0))
_S1, _S3, _S5, _S7, _S9 = (float(np.pi**k / np.prod(np.arange(1.0, k + 1))) for k in (1, 3, 5, 7, 9))
_C2, _C4, _C6, _C8, _C10 = (float(np.pi**k / np.prod(np.arange(1.0, k + 1))) for k in (2, 4, 6, 8, 10))


@inlined
def member_rooms(mean):  # type: ignore[no-untyped-def]
    """Room for the members of a system or storm of at most this mean number, none of which has more: their
    keys half-way, whether they may rain, nodes, lives or places east, places north."""
    n = -(-int(mean + 10.0 * np.sqrt(mean) + 40.0) // LANES) * LANES
    return np.empty(n, np.uint64), np.empty(n, np.bool_), np.empty(n, np.int64), np.empty(n), np.empty(n)


@bare_kernel
def words_of(key, first, count, words):  # type: ignore[no-untyped-def]
    """Keys of members of a system or storm half-way, from number ``first`` on."""
    begin = np.uint64(first)
    for i in range(-(-count // LANES) * LANES):
        words[i] = stirred(np.uint64(stirred_word(key, begin + np.uint64(i))))


@bare_kernel
def lives_of(words, count, parts, mean, lives):  # type: ignore[no-untyped-def]
    """Life [s] of each, or a little more: as ``_life``, a sum of ``parts`` exponentials of one mean."""
    filled = -(-count // LANES) * LANES
    for i in range(filled):
        lives[i] = stirred_uniform(words[i], 7)
    for part in range(1, parts):
        for i in range(filled):
            lives[i] *= stirred_uniform(words[i], 7 + part)
    for i in range(filled):
        lives[i] = mean * (_minus_log(lives[i]) + _BLUR_OF_LIFE)


@bare_kernel
def may_meet(words, count, track, region, band, spreads, reach, xs, ys, near):  # type: ignore[no-untyped-def]
    """Whether each member may be in reach of a region in its life: fills ``near``.

    ``track``: place and speed of the parent; ``spreads``: of the places about it [km], and the time [s] over
    which members begin; ``band`` as ``storm_loops`` has it.
    ``xs`` holds lives [s]; into ``xs`` and ``ys`` come the places in the middle of them, more or less.
    """
    x0, y0, vx, vy = track
    west, south, east, north = region[0], region[1], region[2], region[3]
    spread, lasting = spreads
    blur = BLUR * spread
    reach += blur
    across, wide = (x0 - band[0]) * vy - (y0 - band[1]) * vx, band[2] + blur * (abs(vx) + abs(vy))
    back_x, back_y, front_x, front_y = min(vx, 0.0), min(vy, 0.0), max(vx, 0.0), max(vy, 0.0)
    for i in range(-(-count // LANES) * LANES):
        age = lasting * stirred_uniform(words[i], 0)
        dx, dy = rough_normals(words[i], 1)
        dx, dy = spread * dx, spread * dy
        x, y, life = x0 + vx * age + dx, y0 + vy * age + dy, xs[i]
        meets = (x + front_x * life > west - reach) & (y + front_y * life > south - reach)
        meets &= (x + back_x * life < east + reach) & (y + back_y * life < north + reach)
        xs[i], ys[i] = x + 0.5 * vx * life, y + 0.5 * vy * life
        near[i] = meets & (abs(across + dx * vy - dy * vx) <= wide)


@bare_kernel
def gather(near, count, words, xs, ys):  # type: ignore[no-untyped-def]
    """Move those that are near to the front, in their order; how many."""
    n = 0
    for i in range(count):
        words[n], xs[n], ys[n] = words[i], xs[i], ys[i]
        n += near[i]
    return n


@bare_kernel
def may_fall(words, count, xs, ys, blur, plane, ceiling, tops, nodes, near):  # type: ignore[no-untyped-def]
    """Whether each member may fall by the law of its node: fills ``near``, and ``nodes`` where they are sure,
    -1 elsewhere.

    A node is drawn as by ``storm_loops.node_at``, by series about the plane's centre, where the place is
    known to ``blur`` [km]; what the series leave out grows with the fourth power of the distance, or faster.
    ``tops``: at each node, what ``ceiling`` times its own uniform number must stay below.
    """
    sine, cosine, first_row, first_column, per_rad, rows, columns = plane
    tangent, per_cosine, high, wide = sine / cosine, 1.0 / cosine, cosine < _HIGHEST, 1.0 / (cosine - 0.1)
    farthest2, several = (_FARTHEST_KM / EARTH_RADIUS_KM) ** 2, rows * columns > 1.0
    last_row, last_column, width = rows - 1.000001, columns - 1.000001, np.int64(columns)
    per_deg = per_rad * np.pi / 180.0
    least, growing = (blur / _KM_PER_DEG + _LEAST_SLACK_DEG) * per_deg, _SLACK_DEG * per_deg
    filled = -(-count // LANES) * LANES
    for i in range(filled):
        x, y = xs[i] * (1.0 / EARTH_RADIUS_KM), ys[i] * (1.0 / EARTH_RADIUS_KM)
        angle2 = x * x + y * y
        far = (angle2 > farthest2) | high
        ahead = (1.0 - angle2 * (1.0 / 6.0 - angle2 / 120.0)) * cosine
        turned = 1.0 - angle2 * (0.5 - angle2 / 24.0)
        height = sine * turned + y * ahead
        rise, east = (height - sine) * per_cosine, x * ahead / (turned - sine * height)
        row = first_row + per_rad * rise * (
            1.0 + rise * (0.5 * tangent + rise * (1.0 + 3.0 * tangent * tangent) / 6.0)
        )
        column = first_column + per_rad * east * (1.0 - east * east / 3.0)
        row, column = min(max(row, 0.0), last_row), min(max(column, 0.0), last_column)
        low, left = np.int64(row), np.int64(column)
        up, along = row - low, column - left
        share2 = angle2 / farthest2
        slack, lot = least + growing * share2 * share2, stirred_uniform(words[i], 6)
        above = lot < up
        share = up if above else 1.0 - up
        lot_along = (lot if above else lot - up) / share
        beside, off = abs(lot - up), abs(lot_along - along)
        slack_along = slack * (wide + 1.0 / share)
        unsure = far | (beside < slack) | (beside > 1.0 - slack)
        unsure |= (off < slack_along) | (off > 1.0 - slack_along)
        node = (low + np.int64(above)) * width + left + np.int64(lot_along < along)
        nodes[i] = -1 if unsure & several else (node if several else 0)
    for i in range(filled):
        xs[i] = stirred_uniform(words[i], 3) * ceiling
    for i in range(filled):
        near[i] = (nodes[i] < 0) | (xs[i] < tops[max(nodes[i], 0)])


@written_out
def plane_of(weather):  # type: ignore[no-untyped-def]
    """The plane and the nodes (``shapes_near``) as ``may_fall`` takes them: sine and cosine of the centre's
    latitude, its place in rows and columns, nodes in a radian, most rows and columns."""
    turn, sine, cosine = 2.0 * np.pi, np.sin(weather[0]), np.cos(weather[0])
    row = (weather[0] - weather[2]) / weather[4]
    column = ((weather[1] - weather[3] + np.pi) % turn - np.pi) / weather[4]
    return sine, cosine, row, column, 1.0 / weather[4], weather[5], weather[6]


@written_out
def _minus_log(number):  # type: ignore[no-untyped-def]
    """-ln of a number above 0, up to 1, within 1e-5, near 0 within 5e-5 of itself: from its power of two."""
    bits = np.float64(number).view(np.int64)
    power = np.float64(bits) * 2.0**-52 - 1023.0  # and the fraction
    f = np.float64(bits & _MANTISSA) * 2.0**-52
    q = _Q0 + f * (_Q1 + f * (_Q2 + f * (_Q3 + f * _Q4)))
    return max(-_LN_2 * power - f * (1.0 - f) * q, 0.0)


@written_out
def turned(turns):  # type: ignore[no-untyped-def]
    """Cosine and sine of an angle of 0 to 1 turns, within 2e-5."""
    h = turns - 0.5
    z = h * h
    sine = h * (_S1 - z * (_S3 - z * (_S5 - z * (_S7 - z * _S9))))
    cosine = 1.0 - z * (_C2 - z * (_C4 - z * (_C6 - z * (_C8 - z * _C10))))
    # Of half the angle less a half turn.
    return 2.0 * sine * sine - 1.0, -2.0 * sine * cosine


@written_out
def rough_normals(half_way, counter):  # type: ignore[no-untyped-def]
    """As ``storm_loops.normals``, within ``BLUR``."""
    radius = np.sqrt(2.0 * _minus_log(stirred_uniform(half_way, counter)))
    cosine, sine = turned(stirred_uniform(half_way, counter + 1))
    return radius * cosine, radius * sine
