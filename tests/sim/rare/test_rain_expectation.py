"""The known mean of rain: snapshots of the field against years of the field, and what rests on them."""

from functools import cache

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.fading_tally import FADING, RAIN
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, TOTAL
from hopyears.sim.rare.rain_expectation import N_SETS, rain_chances
from hopyears.sim.rare.weather_controls import SLOPE_BOUNDS, controlled_stratum, rain_control, rain_seconds
from hopyears.sim.runs.simulate import RunRequest, simulate

RAIN_ALONE = ModelOptions(multipath=False, failures=False)


@cache
def rainy_triangle():
    """The triangle at 38 GHz without standbys: rain is felt every year."""
    network = triangle()
    hops = tuple(hop.model_copy(update={"frequency_ghz": 38.0, "scheme": "1+0"}) for hop in network.hops)
    return network.model_copy(update={"hops": hops})


def mean_error(values):
    """Standard error of the mean of independent values."""
    return values.std(ddof=1) / np.sqrt(values.size)


@pytest.mark.slow
def test_rain_of_the_field_has_the_mean_of_the_snapshots(tmp_path):
    """150 years of the field: within 4 standard errors of the mean that the rain control rests on."""
    network = rainy_triangle()
    prepared = prepare(network, RAIN_ALONE)
    asked = [(0, 0), (1, 0), (1, 3), (2, 1)]
    chances = rain_chances(prepared, asked)
    request = RunRequest(years=150, seed=4, block_years=5, options=RAIN_ALONE, workers=2)
    folder = simulate(source_of(network), request, tmp_path / "r")
    shape = (len(network.hops), len(prepared.designs[0].steps))
    tables = [folder.read_table(block, "hop_fading") for block in folder.finished_blocks()]
    seconds = np.array(
        [KeyedTable.from_arrow(FADING, table).spread("seconds", shape, kind=RAIN) for table in tables]
    )
    for (hop, step), chance in zip(asked, chances, strict=True):
        share = seconds[:, hop, step] / (5 * SECONDS_PER_YEAR)
        error = np.hypot(mean_error(share), chance.std(ddof=1) / np.sqrt(N_SETS))
        assert share.mean() == pytest.approx(chance.mean(), abs=4 * error)
        assert error < 0.15 * share.mean()


@pytest.mark.slow
def test_putting_rain_right_moves_no_mean_but_a_wrong_one_shows(tmp_path):
    """Ten groups of blocks, paired with the same as they are: a known mean wrong by two fifths is seen."""
    network, prepared = rainy_triangle(), prepare(rainy_triangle(), RAIN_ALONE)
    request = RunRequest(years=160, seed=12, block_years=1, options=RAIN_ALONE, workers=2)
    folder = simulate(source_of(network), request, tmp_path / "r")
    rain, blocks = rain_control(prepared), folder.finished_blocks()
    totals = [KeyedTable.from_arrow(TOTAL, folder.read_table(block, "service_total")) for block in blocks]
    lost = np.array([table.spread("unavailable_s", (2,), direction=BOTH) for table in totals])[:, 0]
    fading = [KeyedTable.from_arrow(FADING, folder.read_table(block, "hop_fading")) for block in blocks]
    rained = np.array([rain_seconds(table, rain.rows[0]) for table in fading])

    def put_right(mean_s):
        groups = [slice(first, first + 16) for first in range(0, 160, 16)]
        strata = [
            controlled_stratum(
                lost[group], rained[group, None], [mean_s], [float(rain.error_s[0])], SLOPE_BOUNDS
            )
            for group in groups
        ]
        return np.array([stratum.mean for stratum in strata]), np.array([lost[g].mean() for g in groups])

    best, plain = put_right(float(rain.mean_s[0]))
    assert abs((best - plain).mean()) < 4 * np.hypot(mean_error(best - plain), rain.error_s[0])
    assert best.std() < 0.2 * plain.std()
    for factor in (0.6, 1.4):
        moved = put_right(float(rain.mean_s[0]) * factor)[0] - plain
        assert abs(moved.mean()) > 4 * np.hypot(mean_error(moved), rain.error_s[0])
