"""Replications: more histories of failures beside a block's own, in the same storms, each with its weight."""

import numpy as np

from hopyears.sim.blocks.block import BlockHistory, BlockSimulator
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.hops.hop import hop_history
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.streams import Streams

TWINS = Columns(("entity", "twin"), ("unavailable_s", "weight"))
"""Unavailable time of a service had nothing but failures happened, times the weight of that history: twin 0
with the block's own failures, of weight 1, the others with failures drawn anew in the same storms."""


def twin_rows(simulator: BlockSimulator, seed: int, block: int, history: BlockHistory) -> KeyedTable:
    """Rows of ``TWINS`` of one block; none unless the run has a control."""
    options = simulator.prepared.options
    n_twins = options.control
    keys, values = [], []
    if n_twins and history.log is not None:
        for twin in range(n_twins + 1):
            log = history.log
            if twin:
                log = simulator.failures(
                    simulator.prepared.built.plant,
                    Streams(seed, block).beside(twin),
                    history.duration_s,
                    history.storms_near,
                    raised=options.raised,
                )
            for entity, service in enumerate(_on_equipment_alone(simulator, log, history.duration_s)):
                keys.append((entity, twin))
                lost_s = float(three_ways(service, history.duration_s)[BOTH].unavailable_s)
                values.append((log.weight * lost_s, log.weight))
    return KeyedTable.collect(
        TWINS,
        np.array(keys, dtype=np.int64).reshape(-1, 2),
        np.array(values, dtype=np.float64).reshape(-1, 2),
    )


def _on_equipment_alone(
    simulator: BlockSimulator, log: FailureLog, duration_s: float
) -> tuple[ServiceHistory, ...]:
    """Services of a network on which no rain falls and no beam bends, with these failures."""
    hops = [
        hop_history(thresholds, simulator.segments(index, log), None, None, duration_s)
        for index, thresholds in enumerate(simulator.thresholds)
    ]
    return simulator.services(hops, log, duration_s)
