"""Time beyond each margin and in the worst month of each year, counted from a rain that can be followed."""

import numpy as np
import pytest
from small_networks import triangle

from models.calendar import MONTH_SECONDS, MONTH_STARTS_S
from models.units import SECONDS_PER_YEAR
from sim.blocks.prepared import ModelOptions, prepare
from sim.counting.fading_tally import FADING, PLAIN, RAIN, fading_rows
from sim.hops.hop_thresholds import HopThresholds
from sim.rain.anchoring import IDENTITY
from sim.rain.rain_kernel import RainKnots

SLOPE_S = 1e-3


@pytest.fixture(scope="module")
def hop():
    design = prepare(triangle(), ModelOptions(rain=False, multipath=False, failures=False)).designs[1]
    return HopThresholds(design, IDENTITY, None, PLAIN)


def showers(*spells):
    """Rain of one attenuation for a while: (year, month, length s, dB) each, with edges almost steep."""
    times, levels, first = [], [], [0]
    for year, month, length_s, attenuation_db in spells:
        start_s = year * SECONDS_PER_YEAR + MONTH_STARTS_S[month] + 86_400.0
        times += [start_s - SLOPE_S, start_s, start_s + length_s, start_s + length_s + SLOPE_S]
        levels += [0.0, attenuation_db, attenuation_db, 0.0]
        first.append(first[-1] + 4)
    return RainKnots(np.array(times), np.array(levels), np.array(first, dtype=np.int64))


def test_the_worst_month_is_that_of_each_year_at_each_depth(hop):
    """ITU-R P.581-2: for a threshold, the month in which it is exceeded longest; P.841: mean over years."""
    lowest, highest = hop.nominal_rain_margin_db()[[0, -1]]
    shallow_db, deep_db = 0.5 * (lowest + highest), lowest + 3.0
    rain = showers(
        (0, 5, 900.0, shallow_db),  # June: longest at the shallow depth
        (0, 8, 500.0, deep_db),  # September: longest at the deep one
        (0, 8, 300.0, shallow_db),
        (0, 9, 200.0, deep_db),
        (1, 1, 400.0, deep_db),  # February alone
    )
    table = fading_rows(0, hop, rain, None, n_years=2)
    shape = (len(hop.design.steps),)
    worst, seconds, events, long = (
        table.spread(name, shape, entity=0, kind=RAIN)
        for name in ("worst_month_s", "seconds", "events", "long_events")
    )
    mean_s = SECONDS_PER_YEAR / 12.0
    june, september, february = (mean_s / MONTH_SECONDS[month] for month in (5, 8, 1))
    assert seconds[[0, -1]] == pytest.approx([1100.0, 2300.0], abs=0.1)
    assert worst[0] == pytest.approx(500.0 * september + 400.0 * february, abs=0.1)
    assert worst[-1] == pytest.approx(900.0 * june + 400.0 * february, abs=0.1)
    assert (events[0], events[-1]) == (3, 5)
    assert (long[0], long[-1]) == (3, 5)
    assert FADING.values == ("seconds", "worst_month_s", "events", "long_events")


def test_fades_shorter_than_ten_seconds_are_counted_apart(hop):
    deep_db = hop.nominal_rain_margin_db()[0] + 3.0
    rain = showers((0, 3, 9.5, deep_db), (0, 4, 10.5, deep_db))
    table = fading_rows(0, hop, rain, None, n_years=1)
    shape = (len(hop.design.steps),)
    assert table.spread("events", shape, entity=0, kind=RAIN)[0] == 2
    assert table.spread("long_events", shape, entity=0, kind=RAIN)[0] == 1
