"""Months and worst months of rain: P.837 month by month, P.841 at several depths."""

import numpy as np
import pytest
from rain_checks import share_of_months_above

from hopyears.models.air.rain_attenuation import coefficients
from hopyears.models.air.rain_law import monthly_exceedance
from hopyears.models.air.seasonality import worst_month_ratio
from hopyears.models.basics.calendar import MONTH_SECONDS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.climate import climate_of
from hopyears.sim.rain.anchoring import RainHop, raw_attenuation_laws
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_kernel import HopLine, rain_knots
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams

FRACTIONS = np.array([1e-3, 3e-4, 1e-4, 3e-5, 1e-5])
PLACES = {"Baltic coast": (60.25, 24.75), "Po valley": (45.5, 9.2), "monsoon": (13.1, 80.3)}


def months_above(law, line, levels_db, *, n_blocks, seed, n_years=10):
    """Fraction of each month above each level, shape (n_levels, n_blocks * n_years, 12)."""
    region = Region.around([line.x0_km, line.x1_km], [0.0])
    blocks = []
    for block in range(n_blocks):
        field = draw_storms(Streams(seed, block), law, region, n_years=n_years)
        knots = rain_knots(field, line, lowest_threshold_db=0.9 * float(min(levels_db)))
        blocks.append([share_of_months_above(knots, level_db, n_years) for level_db in levels_db])
    return np.concatenate(blocks, axis=1)


def check_months(found, wanted, *, bias):
    """Mean of each month over years against a law: within ``bias``, or 4 standard errors."""
    error = found.std(axis=1, ddof=1) / np.sqrt(found.shape[1])
    gap = np.abs(found.mean(axis=1) - wanted)
    assert np.all(gap < bias * wanted + 4.0 * error), f"{found.mean(axis=1) / wanted}"


@pytest.mark.slow
@pytest.mark.parametrize("place", PLACES)
def test_every_month_has_its_own_law(place):
    """Point rain of 100 years by month against ITU-R P.837-7 (Annex 1, monthly P0 and r)."""
    law = climate_of(*PLACES[place]).rain_law
    levels_mm_h = np.array([2.0, 5.0, 15.0, 30.0])
    point = HopLine(-0.01, 0.0, 0.01, 0.0, k=50.0, alpha=1.0)  # 20 m: attenuation in dB is the rate
    found = months_above(law, point, levels_mm_h, n_blocks=10, seed=41)
    wanted = np.array([monthly_exceedance(law, level) for level in levels_mm_h])
    check_months(found, wanted, bias=0.07)
    with pytest.raises(AssertionError):
        check_months(found, np.roll(wanted, 3, axis=1), bias=0.07)


@pytest.mark.slow
@pytest.mark.parametrize("place", PLACES)
def test_the_worst_month_at_several_depths(place):
    """Mean over 100 years of each year's worst month at each threshold, over the year, beside ITU-R P.841.

    Within 25 % of the world-wide Q = 2.85 p^-0.13 from 0.1 to 0.01 % of the year, within 60 % at 0.001 %.
    There fades of the field are fewer and longer than P.530, 2.4.5 counts them, so a month holds more of a
    year: Q is 1.3 to 1.5 times that of P.841. (Regions of P.841 itself, from memory, have 0.8 to 1.7 times.)
    """
    law = climate_of(*PLACES[place]).rain_law
    k, alpha = (float(value) for value in coefficients(18.0, polarisation_tilt_deg=90.0))
    levels_db = raw_attenuation_laws([RainHop(law, 10.0, k, alpha)])[0].quantile(FRACTIONS)
    found = months_above(law, HopLine(0.0, 0.0, 10.0, 0.0, k, alpha), levels_db, n_blocks=10, seed=43)
    year = found @ MONTH_SECONDS / SECONDS_PER_YEAR
    worst, mean = found.max(axis=2), year.mean(axis=1)
    ratio = worst.mean(axis=1) / mean
    # Of a ratio of means, over years.
    scatter = (worst - ratio[:, None] * year).std(axis=1, ddof=1) / mean / np.sqrt(found.shape[1])
    against = ratio / worst_month_ratio(mean)
    error = scatter / worst_month_ratio(mean)
    allowed = np.array([0.25, 0.25, 0.25, 0.45, 0.6])
    assert np.all(np.abs(against - 1.0) < allowed + 4.0 * error)
    # The second worst month of each year is none: the checker sees it.
    second = np.sort(found, axis=2)[:, :, -2].mean(axis=1) / mean
    assert np.any(np.abs(second / worst_month_ratio(mean) - 1.0) > allowed + 4.0 * error)
    assert np.all(np.diff(ratio) > 0.0)
