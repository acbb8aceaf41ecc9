"""Losses to single storms: each as if it rained from that one alone; heavier ones have the same mean."""

from dataclasses import replace

import numpy as np
import pytest
from small_networks import triangle

from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.rain.storms import draw_heavier_storms
from hopyears.sim.rare.storm_tally import HEAVIER, HEAVIER_SHARE, OWN, STORMS, storm_losses_s, storm_rows
from hopyears.sim.streams import Streams

OPTIONS = ModelOptions(failures=False, multipath=False, replications=1, heavier_storms=True)


@pytest.fixture(scope="module")
def simulator():
    return BlockSimulator(prepare(wet_triangle(), OPTIONS))


def wet_triangle():
    """All three hops at 38 GHz without standby, so that storms often take one and sometimes both routes."""
    network = triangle()
    hops = tuple(hop.model_copy(update={"frequency_ghz": 38.0, "scheme": "1+0"}) for hop in network.hops)
    return triangle(hops=hops)


def only(field, system):
    """A field of one of the systems, at its own time."""
    storms = np.flatnonzero(field.storm_system == system)
    rows = np.isin(field.cell_storm, storms)
    wide = field.wide[field.wide_system == system]
    columns = {
        name: getattr(field, name)[storms]
        for name in (
            "storm_start_s",
            "storm_end_s",
            "storm_x_km",
            "storm_y_km",
            "storm_vx_km_s",
            "storm_vy_km_s",
            "storm_reach_km",
        )
    }
    n_cells = np.diff(field.storm_first_cell)[storms]
    return replace(
        field,
        cells=field.cells[rows],
        storm_first_cell=np.concatenate([[0], np.cumsum(n_cells)]),
        storm_system=np.zeros(len(storms), dtype=np.int64),
        wide=wide,
        wide_system=np.zeros(len(wide), dtype=np.int64),
        **columns,
    )


def test_a_system_loses_what_it_would_alone(simulator, monkeypatch):
    """Against whole blocks in which it rains from that system only; at another time its texture is
    another, and the knots of its course lie elsewhere."""
    field = replace(simulator.draw(3, 2, 1).field, texture=None)
    losses_s = storm_losses_s(simulator, field)
    assert losses_s.shape == (field.n_systems, 2)
    assert np.count_nonzero(losses_s[:, 1]) >= 2
    for storm in np.argsort(losses_s.sum(axis=1))[-4:]:
        monkeypatch.setattr(simulator, "storms", lambda *_, storm=storm: only(field, storm))
        history = simulator.simulate(3, 2, 1)
        for service, lost_s in zip(history.services, losses_s[storm], strict=True):
            lost = three_ways(service, history.duration_s)[BOTH]
            assert lost.unavailable_s == pytest.approx(lost_s, abs=3.0)


def test_rows_are_the_sums_over_storms(simulator):
    history = simulator.simulate(3, 1, 1)
    rows = storm_rows(simulator, 3, 1, history)
    assert rows.columns == STORMS
    sums = rows.spread("unavailable_s", (2, 2))
    np.testing.assert_allclose(sums[:, OWN], storm_losses_s(simulator, history.field).sum(axis=0))
    heavier, weight = draw_heavier_storms(
        Streams(3, 1), simulator.prepared.weather, simulator.prepared.region, n_years=1, share=HEAVIER_SHARE
    )
    np.testing.assert_allclose(sums[:, HEAVIER], weight @ storm_losses_s(simulator, heavier))


@pytest.mark.parametrize("options", [replace(OPTIONS, rain=False), replace(OPTIONS, heavier_storms=False)])
def test_no_rows_without_rain_or_heavier_storms(options):
    simulator = BlockSimulator(prepare(triangle(), options))
    assert len(storm_rows(simulator, 1, 0, simulator.simulate(1, 0, 1)).keys) == 0


@pytest.mark.slow
def test_heavier_storms_lose_as_much_once_weighted(simulator):
    """Own less heavier has the mean zero, also where both routes must fall; unweighted they lose far more."""
    own, weighted, raw = [], [], []
    for block in range(120):
        field = simulator.draw(7, block, 1).field
        heavier, weight = draw_heavier_storms(
            Streams(7, block),
            simulator.prepared.weather,
            simulator.prepared.region,
            n_years=1,
            share=HEAVIER_SHARE,
        )
        lost = storm_losses_s(simulator, heavier)
        own.append(storm_losses_s(simulator, field).sum(axis=0))
        weighted.append(weight @ lost)
        raw.append(lost.sum(axis=0))
    own, weighted, raw = (np.array(each) for each in (own, weighted, raw))
    error = (own - weighted).std(axis=0, ddof=1) / np.sqrt(len(own))
    assert np.all(np.abs((own - weighted).mean(axis=0)) < 4.0 * error)
    assert np.all(error < 0.15 * own.mean(axis=0))
    assert np.all((raw - own).mean(axis=0) > 10.0 * error)
    # What they are for: their sums scatter less than those of the block's own storms.
    assert np.all(weighted.std(axis=0) < 0.8 * own.std(axis=0))
