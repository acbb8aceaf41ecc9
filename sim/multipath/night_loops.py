"""Loops over the nights of a hop: how strong they are, and at which hour of which night a fade comes."""

from typing import Final

import numpy as np

from hopyears.models.basics.kernel import inlined, kernel
from hopyears.models.basics.units import SECONDS_PER_DAY
from hopyears.sim.multipath.night_pattern import HOURS_PER_NIGHT, NUMBERS_PER_UNIT
from hopyears.sim.multipath.still_air import MOST_NIGHTS, move_out_of_rain, rain_of, sort_stillest
from hopyears.sim.streams import stirred, stirred_word

SLOT_S: Final = 3600.0
"""Length of one slot of constant activity [s]."""


@kernel
def nights(number, key, tables, night_start_s, edges_s, law):  # type: ignore[no-untyped-def]
    """Draw the nights of one hop.

    Parameters
    ----------
    number : array, shape (n_nights,)
        Standard normal number of each night.
    key : uint64
        Of the hop's own draws.
    tables : tuple
        Least active number, severities from it on, hours of nights and their sums (``night_pattern``).
    night_start_s : float
        Time of day [s].
    edges_s : array, shape (n_months + 1,)
        Edges of the block's months [s].
    law : tuple
        Weight of each month, p0 of activity 1, damping, and the length of each month [s].

    Returns
    -------
    tuple of arrays
        ``severity``, ``pattern``, ``occurrence``, ``worst`` and ``cumulative`` of ``nights.HopActivity``.
    """
    n_nights, n_months, (month_weight, occurrence, damping, month_s) = len(number), len(edges_s) - 1, law
    severity, pattern = np.empty(n_nights), np.empty(n_nights, np.uint16)
    _severities(number, key, tables, severity, pattern)
    of_months, cumulative = np.zeros(n_months), np.zeros(n_nights + 1)
    _sum_up((severity, pattern, tables), night_start_s, edges_s, np.ones(n_months), of_months, cumulative)
    factor, worst = np.empty(n_months), np.zeros(n_months, np.bool_)
    for year in range(n_months // 12):
        most, first = -1.0, 12 * year
        for month in range(first, first + 12):
            own_mean = of_months[month] * SLOT_S / month_s[month - first]
            factor[month] = month_weight[month - first] * max(own_mean, 1e-9) ** -damping * occurrence
            if own_mean * factor[month] > most:
                most, strongest = own_mean * factor[month], month
        worst[strongest] = True
    _sum_up((severity, pattern, tables), night_start_s, edges_s, factor, of_months, cumulative)
    return severity, pattern, factor, worst, cumulative


@inlined
def _severities(number, key, tables, severity, pattern):  # type: ignore[no-untyped-def]
    """Severities by lines between those of the table; four nights have one word for their patterns."""
    least, severities, hours, _ = tables
    half_way, word, last = stirred(key), np.uint64(0), len(severities) - 1
    for night in range(len(number)):
        if night & 3 == 0:
            word = stirred_word(half_way, night >> 2)
        pattern[night] = word & np.uint64(len(hours) - 1)  # of a number of nights that is a power of two
        word >>= np.uint64(16)
        place = (number[night] - least) * NUMBERS_PER_UNIT
        i = int(min(max(place, 0.0), last - 1.0))
        step = severities[i + 1] - severities[i]
        severity[night] = severities[i] + min(place - i, 1.0) * step if place > 0.0 else 0.0


@inlined
def _sum_up(drawn, night_start_s, edges_s, factor, of_months, cumulative):  # type: ignore[no-untyped-def]
    """Activity times the factor of its month: of each month, and of all nights before each."""
    (severity, pattern, (_, _, hours, of_night)), month, total = drawn, 0, 0.0
    of_months[:] = 0.0
    for night in range(len(severity)):
        month = _month_at(hour_s(night, night_start_s, 0), edges_s, month)
        if _month_at(hour_s(night, night_start_s, HOURS_PER_NIGHT - 1), edges_s, month) == month:
            own = _of_block(month, edges_s)
            activity = factor[own] * severity[night] * of_night[pattern[night]]
            of_months[own] += activity
            total += activity
        else:
            for hour in range(HOURS_PER_NIGHT):
                own = _of_block(_month_at(hour_s(night, night_start_s, hour), edges_s, month), edges_s)
                activity = factor[own] * severity[night] * hours[pattern[night], hour]
                of_months[own] += activity
                total += activity
        cumulative[night + 1] = total


@inlined
def _month_at(time_s, edges_s, month):  # type: ignore[no-untyped-def]
    """Month of a time in this one or later; the number of months from the block's end on."""
    while month + 1 < len(edges_s) and time_s >= edges_s[month + 1]:
        month += 1
    return month


@inlined
def _of_block(month, edges_s):  # type: ignore[no-untyped-def]
    """What lies beyond the block's end belongs to its first month."""
    return month if month + 1 < len(edges_s) else 0


@inlined
def hour_s(night, night_start_s, hour):  # type: ignore[no-untyped-def]
    """Start of an hour of a night [s]."""
    return night * SECONDS_PER_DAY + night_start_s + hour * SLOT_S


@kernel
def placed(places, night_start_s, strength, months, air):  # type: ignore[no-untyped-def]
    """As ``HopActivity.placed``; what rain moves in a month at an hour is found when first met."""
    (cumulative, severity, pattern, hours), (edges_s, factor, worst), (stillness, wet) = strength, months, air
    time_s, in_worst = np.empty(len(places)), np.empty(len(places), np.bool_)
    rainy, n_nights = len(wet) > 0, len(severity)
    goes = np.empty((HOURS_PER_NIGHT, n_nights if rainy else 0), np.int32)
    known = np.zeros((HOURS_PER_NIGHT, len(edges_s)), np.bool_)
    level, room, begun = np.empty(MOST_NIGHTS), np.empty((3, MOST_NIGHTS), np.int64), (0, 0)
    night, month = 0, 0
    for i in range(len(places)):
        if places[i] < cumulative[night]:
            night, month = 0, 0
        night = _last_begun(cumulative, places[i], night)
        while night == n_nights or severity[night] <= 0.0:  # a place at the very end
            night -= 1
        month = _month_at(hour_s(night, night_start_s, 0), edges_s, month)
        own, rest, width, hour = month, places[i] - cumulative[night], 0.0, -1
        while rest >= width and hour + 1 < HOURS_PER_NIGHT:
            rest, hour = rest - width, hour + 1
            own = _month_at(hour_s(night, night_start_s, hour), edges_s, own)
            width = factor[_of_block(own, edges_s)] * severity[night] * hours[pattern[night], hour]
        in_worst[i] = worst[_of_block(own, edges_s)]
        if rainy and not known[hour, own]:
            first, last = _nights_of(own, hour, night_start_s, edges_s, n_nights)
            if begun != (first, last):
                begun = first, last
                sort_stillest(stillness[first:last], room[0])
            for k in range(first, last):
                level[k - first] = severity[k] * hours[pattern[k], hour]
            rain = rain_of(wet[hour], first, last)
            move_out_of_rain(level[: last - first], rain, room, goes[hour, first:last])
            for k in range(first, last):
                goes[hour, k] += first
            known[hour, own] = True
        when_s = hour_s(goes[hour, night] if rainy else night, night_start_s, hour)
        when_s -= edges_s[-1] if when_s >= edges_s[-1] else 0.0
        time_s[i] = when_s + SLOT_S * min(rest / width, 1.0)
    return time_s, in_worst


@inlined
def _last_begun(begins, place, at):  # type: ignore[no-untyped-def]
    """Last that begins at or before a place, from one that does on: sought in ever longer steps."""
    after, step = at + 1, 1
    while after < len(begins) and begins[after] <= place:
        at, after, step = after, after + step, 2 * step
    after = min(after, len(begins))
    while after - at > 1:
        middle = (at + after) // 2
        at, after = (middle, after) if begins[middle] <= place else (at, middle)
    return at


@inlined
def _nights_of(month, hour, night_start_s, edges_s, n_nights):  # type: ignore[no-untyped-def]
    """First night of a month, and that of the next, at an hour; as ``_month_at`` tells them apart."""
    first = _first_from(edges_s[month], hour, night_start_s, n_nights) if month > 0 else 0
    if month + 1 < len(edges_s):
        return first, _first_from(edges_s[month + 1], hour, night_start_s, n_nights)
    return first, n_nights


@inlined
def _first_from(edge_s, hour, night_start_s, n_nights):  # type: ignore[no-untyped-def]
    night = max(int((edge_s - night_start_s - hour * SLOT_S) / SECONDS_PER_DAY) - 1, 0)
    while night < n_nights and hour_s(night, night_start_s, hour) < edge_s:
        night += 1
    return min(night, n_nights)
