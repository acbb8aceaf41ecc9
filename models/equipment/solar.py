"""Site that lives on sun and battery: daily harvest, and when it is dark."""

from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.kernel import kernel
from hopyears.models.basics.units import SECONDS_PER_DAY

SUNRISE_S = 6.0 * 3600.0
"""The harvest of a day comes evenly between 6 and 18 h solar time (our own simplification)."""


@dataclass(frozen=True)
class Solar:
    """Solar supply, its energy counted in hours of the site's own load (made from the entry ``power``).

    Parameters
    ----------
    harvest_h : tuple of 12 floats
        Mean daily harvest of each calendar month [hours of load per day], at least 0.
    ln_sd : float
        Standard deviation of the natural logarithm of a day's harvest, at least 0.
    day_correlation : float
        Correlation of that logarithm from one day to the next, 0 to below 1.
    reconnect_share : float
        Charge at which an empty site is switched on again, over a full battery, above 0, at most 1.
    """

    harvest_h: tuple[float, ...]
    ln_sd: float
    day_correlation: float
    reconnect_share: float

    def __post_init__(self) -> None:
        if len(self.harvest_h) != 12 or min(self.harvest_h) < 0.0:
            raise ValueError(f"harvest_h is {self.harvest_h}; must be 12 numbers of at least 0")
        if not 0.0 <= self.day_correlation < 1.0:
            raise ValueError(f"day_correlation is {self.day_correlation}; must be 0 to below 1")
        if not self.ln_sd >= 0.0:
            raise ValueError(f"ln_sd is {self.ln_sd}; must be at least 0")


def daily_harvest_h(mean_h: Floats, normal: Floats, *, ln_sd: float, day_correlation: float) -> Floats:
    """Harvest of each day [hours of load], shape (n_days,).

    Parameters
    ----------
    mean_h : float array, shape (n_days,)
        Mean of each day's month [h], at least 0.
    normal : float array, shape (n_days,)
        Independent standard normal values.
    ln_sd, day_correlation : float
        As in ``Solar``.

    Notes
    -----
    Lognormal with the stated mean, its logarithm a first-order Gauss-Markov sequence (our own choice).
    """
    weather = _gauss_markov(normal, day_correlation)
    return np.asarray(mean_h * np.exp(ln_sd * weather - 0.5 * ln_sd**2))


def solar_down(
    harvest_h: Floats, *, battery_s: float, reconnect_share: float, first_midnight_s: float
) -> Intervals:
    """When a solar site is dark: one row of intervals [s].

    Parameters
    ----------
    harvest_h : float array, shape (n_days,)
        Harvest of each day [hours of load].
    battery_s : float
        Autonomy of a full battery [s], above 0. Full at the first midnight.
    reconnect_share : float
        Charge at which the load is switched on again, over a full battery, above 0, at most 1.
    first_midnight_s : float
        Solar midnight at which the first day begins [s].

    Notes
    -----
    The load draws one second of charge a second while it is on. It goes off when the battery is empty
    and on again when ``reconnect_share`` is reached.
    """
    reconnect_s = reconnect_share * battery_s
    if not reconnect_s > 0.0:
        raise ValueError(f"charge to switch on again is {reconnect_s} s; must be above 0")
    start, end = _dark(harvest_h, battery_s, reconnect_s)
    offset = np.array([0, len(start)], dtype=np.int64)
    return Intervals(offset, start + first_midnight_s, end + first_midnight_s)


@kernel
def _gauss_markov(normal: Floats, day_correlation: float) -> Floats:
    out = np.empty(len(normal))
    fresh = np.sqrt(1.0 - day_correlation * day_correlation)
    for day in range(len(normal)):
        out[day] = normal[day] if day == 0 else day_correlation * out[day - 1] + fresh * normal[day]
    return out


@kernel
def _dark(harvest_h: Floats, battery_s: float, reconnect_s: float) -> tuple[Floats, Floats]:
    start, end = [np.inf for _ in range(0)], [np.inf for _ in range(0)]  # empty, but numba knows of what
    charge, lit = battery_s, True
    noon_s = 0.5 * SECONDS_PER_DAY
    for day in range(len(harvest_h)):
        gain = harvest_h[day] * 3600.0 / noon_s
        for part in range(3):
            at = day * SECONDS_PER_DAY + (
                0.0 if part == 0 else SUNRISE_S if part == 1 else SUNRISE_S + noon_s
            )
            until = at + (noon_s if part == 1 else SUNRISE_S)
            sun = gain if part == 1 else 0.0
            while at < until:
                rate = sun - 1.0 if lit else sun
                step = until - at
                if lit and rate < 0.0 and charge <= -rate * step:
                    at += charge / -rate
                    charge, lit = 0.0, False
                    start.append(at)
                elif not lit and rate > 0.0 and reconnect_s - charge < rate * step:
                    at += (reconnect_s - charge) / rate
                    charge, lit = reconnect_s, True
                    end.append(at)
                else:
                    charge = min(battery_s, charge + rate * step)
                    at = until
    if not lit:
        end.append(len(harvest_h) * SECONDS_PER_DAY)
    return np.array(start), np.array(end)
