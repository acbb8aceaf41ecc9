"""Time beyond each margin and in the worst month of each year, counted from a rain that can be followed."""

import numpy as np
import pytest
from small_networks import triangle

from hopyears.models.basics.calendar import MONTH_SECONDS, MONTH_STARTS_S
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import Modulation, Radio
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.fading_tally import FADING, PLAIN, RAIN, fading_rows
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rain.anchoring import IDENTITY
from hopyears.sim.rain.rain_kernel import RainKnots

SLOPE_S = 1e-3
HOPS = triangle().hops


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


def test_a_guard_that_keeps_a_modulation_from_use_changes_no_fading():
    """The higher modulation has 0.5 dB on every hop: with a guard of 1 dB nobody ever uses it."""
    options = ModelOptions(failures=False)

    def simulator(guard_db, above_db):
        radio = Radio(
            id="r",
            transmit_power_dbm=20.0,
            modulations=(Modulation(states=4), Modulation(states=16)),
            step_guard_db=guard_db,
            step_hysteresis_db=0.0,
        )
        hops = (
            hop.model_copy(update={"transmit_power_dbm": 20.0 - above})
            for hop, above in zip(HOPS, above_db, strict=True)
        )
        return BlockSimulator(prepare(triangle(radios=(radio,), hops=tuple(hops)), options))

    strong = simulator(0.0, (0.0, 0.0, 0.0)).prepared.designs
    above_db = [design.levels.margin_db[0][1] - 0.5 for design in strong]
    free, guarded = (simulator(guard_db, above_db) for guard_db in (0.0, 1.0))
    assert [[each.nominal.ceiling[0] for each in one.thresholds] for one in (free, guarded)] == [
        [2] * 3,
        [1] * 3,
    ]
    counted, same = (one.simulate(5, 0, 1).fading for one in (free, guarded))
    assert counted.keys.tolist() == same.keys.tolist()
    assert counted.values.tolist() == same.values.tolist()
    rain_s = same.spread("seconds", (3, 2), kind=RAIN)
    assert (rain_s[:, 1] > 10.0 * rain_s[:, 0]).all()
