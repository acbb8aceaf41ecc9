"""What each service loses to storms one at a time: a block's own, and heavier ones that are weighted.

Every storm rains on the network alone, with all equipment in order and no multipath. What it takes from a
service is then a matter of that storm only, so that storms drawn under another law, each with its own
weight, have the same mean sum as the block's own.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block import BlockHistory, BlockSimulator, hop_line
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, seconds_between, three_ways
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.hops.hop import hop_history
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.rain.rain_kernel import rain_knots
from hopyears.sim.rain.rain_laws import longest_system_s
from hopyears.sim.rain.storms import draw_heavier_storms
from hopyears.sim.services.service import sweep_services
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.streams import Streams

STORMS = Columns(("entity", "drawn"), ("unavailable_s",))
"""Unavailable time of a service summed over single storms; ``drawn`` is ``OWN`` or ``HEAVIER``."""

OWN, HEAVIER = 0, 1
"""The storms of the block, and heavier ones, each second times the weight of its storm."""

HEAVIER_SHARE = 1.0
"""Heavier storms drawn beside a block, over its own mean number."""

_CALM_S = 3600.0
"""Calm after the last cell, beside the services' own wait to restore."""


def storm_rows(simulator: BlockSimulator, seed: int, block: int, history: BlockHistory) -> KeyedTable:
    """Rows of ``STORMS`` of one block; none unless the run draws heavier storms."""
    prepared = simulator.prepared
    if not prepared.options.heavier_storms or history.field is None:
        return KeyedTable.empty(STORMS)
    heavier, weight = draw_heavier_storms(
        Streams(seed, block),
        prepared.weather,
        prepared.region,
        n_years=history.field.n_years,
        share=HEAVIER_SHARE,
        storms=prepared.storms,
    )
    own_s = storm_losses_s(simulator, history.field).sum(axis=0)
    heavier_s = weight @ storm_losses_s(simulator, heavier)
    keys = [(entity, drawn) for drawn in (OWN, HEAVIER) for entity in range(own_s.size)]
    return KeyedTable.collect(STORMS, np.array(keys), np.concatenate([own_s, heavier_s]))


def _reverting(demand: ServiceDemand) -> ServiceDemand:
    """A service whose demand has no hours, and which goes back at once."""
    rings = tuple(replace(ring, wait_to_restore_s=0.0) for ring in demand.rings)
    return replace(demand, clock=None, wait_to_restore_s=0.0, rings=rings)


def storm_losses_s(simulator: BlockSimulator, field: RainField) -> NDArray[np.float64]:
    """Unavailable seconds of every service in every system of a field, had it rained from that one alone.

    Returns
    -------
    float array, shape (n_systems, n_services)
    """
    prepared = simulator.prepared
    waits = [demand.wait_to_restore_s for demand in prepared.demands]
    rest_s = _CALM_S + max((wait_s for wait_s in waits if wait_s < np.inf), default=0.0)
    slot_s = longest_system_s(field.population, prepared.storms) + rest_s
    row = field.in_sequence(slot_s)
    duration_s = row.n_years * SECONDS_PER_YEAR
    hops = []
    for design, thresholds, states in zip(
        prepared.designs, simulator.thresholds, simulator.states, strict=True
    ):
        equipment = nominal_segments(states)
        lowest_db = thresholds.lowest_rain_db(equipment.states)
        rain = rain_knots(row, hop_line(design), lowest_threshold_db=lowest_db)
        hops.append(hop_history(thresholds, equipment, rain, None, duration_s))
    edges_s = slot_s * np.arange(field.n_systems + 1, dtype=np.float64)
    losses_s = np.zeros((field.n_systems, len(prepared.demands)))
    # A storm by itself begins on the working route, also for a service that does not revert, and has no hour.
    demands = [
        replace(demand, clock=None) if wait_s < np.inf else _reverting(demand)
        for demand, wait_s in zip(prepared.demands, waits, strict=True)
    ]
    links = simulator.links(hops, None)
    for entity, service in enumerate(sweep_services(links, demands, duration_s, links=prepared.links)):
        lost = three_ways(service, duration_s)[BOTH]
        losses_s[:, entity] = seconds_between(edges_s, lost.unavailable_start_s, lost.unavailable_end_s)
    return losses_s
