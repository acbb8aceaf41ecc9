"""Numba loops that leave out, many at a time, members of systems and storms that cannot reach a region.

Rough places and lives from tables, each within a known distance of what ``storm_loops`` then draws of the
same words: what is left out here would be left out there, so it changes nothing but the time that it takes.
Loops over members have no branch, so that the compiler turns them into vector instructions.
"""

import numpy as np

from hopyears.models.basics.kernel import bare_kernel, kernel, written_out
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.sim.streams import keyed_word

LANES = 8
"""Members of one vector instruction: arrays are filled up to a multiple."""

BLUR = 0.04
"""Most that the place of two normal numbers from the tables is off."""

NOWHERE = 1e9
"""Place of what may be anywhere [km]."""

_KM_PER_DEG = EARTH_RADIUS_KM * np.pi / 180.0
_FARTHEST_KM, _HIGHEST, _SLACK_DEG = 400.0, 0.4, 0.01
_BITS = 10
_SHIFT, _STEPS = np.uint64(64 - _BITS), 2**_BITS
_SELDOM = np.uint64(16)
"""Steps of the first uniform number at whose end the table of radii is too coarse: any place is possible."""

_MIDDLES = (np.arange(_STEPS) + 0.5) / _STEPS
_RADII = np.sqrt(-2.0 * np.log(_MIDDLES))
_COSINES, _SINES = np.cos(2.0 * np.pi * _MIDDLES), np.sin(2.0 * np.pi * _MIDDLES)
_LIVES = -np.log(np.maximum(np.arange(_STEPS), 1e-300) / _STEPS)


@bare_kernel
def words_of(key, first, count, words, lives):  # type: ignore[no-untyped-def]
    """Keys of members of a system or storm, from number ``first`` on; no life yet."""
    begin = np.uint64(first)
    for i in range(-(-count // LANES) * LANES):
        words[i] = keyed_word(key, begin + np.uint64(i))
        lives[i] = 0.0


@bare_kernel
def add_lives(words, count, counter, mean, lives):  # type: ignore[no-untyped-def]
    """Add to each life [s] an exponential of this mean, or a little more."""
    for i in range(-(-count // LANES) * LANES):
        lives[i] += mean * _LIVES[keyed_word(words[i], counter) >> _SHIFT]


@bare_kernel
def add_reaches(words, count, counter, common, own, scores, reaches, found):  # type: ignore[no-untyped-def]
    """Reach [km] of each, or a little more: what falls with the score, by steps from a first on."""
    first, per_step, last = scores
    for i in range(-(-count // LANES) * LANES):
        radius = keyed_word(words[i], counter) >> _SHIFT
        turn = keyed_word(words[i], counter + 1) >> _SHIFT
        score = common + own * (_RADII[radius] * _COSINES[turn] - BLUR)
        step = np.int64(min(max((score - first) * per_step, 0.0), last))
        found[i] = reaches[0 if radius < _SELDOM else step]


@bare_kernel
def may_meet(words, count, track, region, band, spreads, lives, reaches, near):  # type: ignore[no-untyped-def]
    """Whether each member may be in reach of a region in its life: fills ``near``.

    ``track``: place and speed of the parent; ``spreads``: of the places about it [km], and the time [s] over
    which members begin; ``band`` as ``storm_loops`` has it.
    In place of lives and reaches come the places where they begin, more or less (``BLUR``), or ``NOWHERE``.
    """
    x0, y0, vx, vy = track
    west, south, east, north = region[0], region[1], region[2], region[3]
    spread, lasting = spreads
    blur, per_word = BLUR * spread, lasting * 2.0**-53
    across, wide = (x0 - band[0]) * vy - (y0 - band[1]) * vx, band[2] + blur * (abs(vx) + abs(vy))
    back_x, back_y, front_x, front_y = min(vx, 0.0), min(vy, 0.0), max(vx, 0.0), max(vy, 0.0)
    for i in range(-(-count // LANES) * LANES):
        own = words[i]
        age = per_word * np.float64(np.int64(keyed_word(own, 0) >> np.uint64(11)))
        step, turn = keyed_word(own, 1) >> _SHIFT, keyed_word(own, 2) >> _SHIFT
        radius = spread * _RADII[step]
        dx, dy = radius * _COSINES[turn], radius * _SINES[turn]
        x, y, life, reach = x0 + vx * age + dx, y0 + vy * age + dy, lives[i], reaches[i] + blur
        meets = (x + front_x * life > west - reach) & (y + front_y * life > south - reach)
        meets &= (x + back_x * life < east + reach) & (y + back_y * life < north + reach)
        seldom = step < _SELDOM
        lives[i], reaches[i] = NOWHERE if seldom else x, y
        near[i] = seldom | (meets & (abs(across + dx * vy - dy * vx) <= wide))


@written_out
def plane_of(weather):  # type: ignore[no-untyped-def]
    """The plane and the nodes (``shapes_near``) as ``rough_node`` takes them: sine, cosine and tangent of the
    centre's latitude, its place in rows and columns, nodes in a radian, most rows and columns."""
    turn, sine, cosine = 2.0 * np.pi, np.sin(weather[0]), np.cos(weather[0])
    row = (weather[0] - weather[2]) / weather[4]
    column = ((weather[1] - weather[3] + np.pi) % turn - np.pi) / weather[4]
    return sine, cosine, row, column, 1.0 / weather[4], weather[5], weather[6]


@kernel
def rough_node(x, y, blur, plane, lot):  # type: ignore[no-untyped-def]
    """As ``storm_loops.node_at``, by series about the plane's centre; -1 if unsure, where the place is known
    to ``blur`` [km]."""
    sine, cosine, row, column, per_rad, rows, columns = plane
    x, y = x / EARTH_RADIUS_KM, y / EARTH_RADIUS_KM
    angle2 = x * x + y * y
    if angle2 > (_FARTHEST_KM / EARTH_RADIUS_KM) ** 2 or cosine < _HIGHEST:
        return -1 if rows > 1.0 else 0
    ahead, turned = (
        (1.0 - angle2 * (1.0 / 6.0 - angle2 / 120.0)) * cosine,
        1.0 - angle2 * (0.5 - angle2 / 24.0),
    )
    height = sine * turned + y * ahead
    rise, tangent, east = (height - sine) / cosine, sine / cosine, x * ahead / (turned - sine * height)
    row += per_rad * rise * (1.0 + rise * (0.5 * tangent + rise * (1.0 + 3.0 * tangent * tangent) / 6.0))
    column += per_rad * east * (1.0 - east * east / 3.0)
    row, column = min(max(row, 0.0), rows - 1.000001), min(max(column, 0.0), columns - 1.000001)
    low, left = int(row), int(column)
    up, along = row - low, column - left
    slack = (blur / _KM_PER_DEG + _SLACK_DEG) * per_rad * np.pi / 180.0
    wide, above = slack / (cosine - 0.1), lot < up
    share = up if above else 1.0 - up
    lot_along = lot / up if above else (lot - up) / share
    if _close(lot, up, slack) or _close(lot_along, along, wide + slack / share):
        return -1
    return int((low + above) * columns + left + (lot_along < along))


@written_out
def _close(one, other, slack):  # type: ignore[no-untyped-def]
    """Whether two shares of one lie within a slack, also across its ends."""
    apart = abs(one - other)
    return apart < slack or apart > 1.0 - slack
