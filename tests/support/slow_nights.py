"""Nights hour by hour, the slow and obvious way: what ``HopActivity`` finds only where a fade falls."""

from dataclasses import dataclass

import numpy as np

from hopyears.sim.multipath.nights import draw_activity


@dataclass(frozen=True)
class Hours:
    """Hours in which a hop may fade: starts [s], p0 in each, and whether in the worst month of a year."""

    start_s: np.ndarray
    occurrence: np.ndarray
    worst_month: np.ndarray

    @property
    def total(self):
        """As ``HopActivity.total``."""
        return float(self.occurrence.sum())

    def placed(self, place):
        """As ``HopActivity.placed``."""
        before = np.concatenate([[0.0], np.cumsum(self.occurrence)])
        hour = np.minimum(np.searchsorted(before, place, side="right") - 1, len(self.start_s) - 1)
        within = (place - before[hour]) / self.occurrence[hour]
        return self.start_s[hour] + 3600.0 * within, self.worst_month[hour]


def hours_of(activity):
    """All hours of a hop's nights with any activity, night by night as they were before rain moved them."""
    edges_s = activity.edges_s
    n_nights, n_hours = len(activity.severity), activity.hours.shape[1]
    night, hour = np.arange(n_nights)[:, None], np.arange(n_hours)
    start_s = night * 86_400.0 + activity.night_start_s + hour * 3600.0
    month = np.searchsorted(edges_s, start_s, side="right") - 1
    level = activity.severity[:, None] * activity.hours[activity.pattern]
    goes = np.repeat(night, n_hours, axis=1)
    if len(activity.wet):
        rain = np.unpackbits(activity.wet, axis=1, count=n_nights, bitorder="little").T.astype(bool)
        for number in range(len(edges_s)):
            for h in range(n_hours):
                (run,) = np.nonzero(month[:, h] == number)
                moved = out_of_rain(level[run, h], activity.stillness[run], rain[run, h])
                goes[run, h] = run[moved]
    of_block = np.where(month == len(edges_s) - 1, 0, month)
    active, moved_s = level > 0.0, start_s[goes, hour]
    moved_s = np.where(moved_s >= edges_s[-1], moved_s - edges_s[-1], moved_s)
    occurrence = level * activity.occurrence[of_block]
    return Hours(moved_s[active], occurrence[active], activity.worst[of_block][active])


def out_of_rain(level, stillness, rain):
    """Where each night's activity goes: the strongest in rain and the weakest in the dry change places."""
    goes, nights = np.arange(len(level)), range(len(level))
    wet = sorted((i for i in nights if rain[i] and level[i] > 0.0), key=lambda i: -level[i])
    dry = sorted((i for i in nights if not rain[i]), key=lambda i: (level[i], -stillness[i]))
    for strong, weak in zip(wet, dry, strict=False):
        if level[strong] > level[weak]:
            goes[strong], goes[weak] = weak, strong
    return goes


def drawn_hours(*arguments):
    """Hours of every hop, in the order of time; arguments as of ``draw_activity``."""
    found = []
    for hours in map(hours_of, draw_activity(*arguments)):
        order = np.argsort(hours.start_s)
        found.append(Hours(hours.start_s[order], hours.occurrence[order], hours.worst_month[order]))
    return found
