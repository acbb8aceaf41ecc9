"""Whether committed rates fit: with everything up, and with any one hop or common part of a site down.

In clear air, at full demand and with all repairs put off: what the services are left with once switches have
done their work.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.rare.alone import SLOT_S, fail_each, on_equipment_alone
from hopyears.sim.services.service_data import LEAST_SHORTFALL_MBIT_S, ServiceHistory

ALL_UP = "all up"
"""Kind of the row in which nothing is down."""

HOP, PART = "hop", "part"

SETTLED_S = 120.0
"""After so long the switches have done their work (hold-off is a minute at most), and no repair has."""

COLUMNS = ("kind", "what", "below_committed", "down", "lacking_mbit_s", "services")


@dataclass(frozen=True)
class _Case:
    """One thing that is down, and when it can be looked at."""

    kind: str
    what: str
    time_s: float


def single_failures(simulator: BlockSimulator) -> pd.DataFrame:
    """One row for everything up, and for each hop or common part whose failure leaves a service short.

    Returns
    -------
    DataFrame
        ``kind`` (``ALL_UP``, ``HOP``, ``PART``), ``what``; ``below_committed``, services that get less than
        they committed to in either direction, ``down`` those of them that count as down; ``lacking_mbit_s``,
        what lacks of committed rates, the worse direction of each; ``services`` their ids. Nothing down
        comes first, then what lacks most.
    """
    rows = [*_of_hops(simulator), *_of_parts(simulator)]
    table = pd.DataFrame(rows, columns=[*COLUMNS])
    table = table[(table["kind"] == ALL_UP) | (table["below_committed"] > 0)]
    table["_first"] = table["kind"] != ALL_UP
    keys = ["_first", "lacking_mbit_s", "below_committed"]
    table = table.sort_values(keys, ascending=[True, False, False], kind="stable")
    return table.drop(columns="_first").reset_index(drop=True)


def _of_hops(simulator: BlockSimulator) -> list[dict[str, object]]:
    """Nothing down, then one hop after the other, a slot of time each."""
    designs = simulator.prepared.designs
    cases = [_Case(ALL_UP, "", SETTLED_S)]
    hops = []
    for number, design in enumerate(designs):
        start_s = SLOT_S * (1 + number)
        cases.append(_Case(HOP, design.hop.id, start_s + SETTLED_S))
        capacity = np.array([[design.clear_capacity_mbit_s] * 2, [0.0, 0.0]])
        state = np.array([0, 1, 0], dtype=np.int32)
        time_s = np.array([0.0, start_s, start_s + SLOT_S / 2.0])
        hops.append(HopHistory(time_s, state, capacity, np.zeros(2, dtype=np.int64)))
    duration_s = SLOT_S * (2 + len(designs))
    services = simulator.services(hops, None, duration_s, record_rates=True, full_demand=True)
    return [_row(simulator, services, case) for case in cases]


def _of_parts(simulator: BlockSimulator) -> list[dict[str, object]]:
    """One common part of a site after the other: those that no hop has for itself."""
    prepared, plant = simulator.prepared, simulator.prepared.built.plant
    own = {part for hop in prepared.built.hops for part in hop.own}
    common = [part for part in range(len(plant.parts)) if part not in own]
    if not common:
        return []
    log, began_s = fail_each(simulator, common)
    services = on_equipment_alone(simulator, log, record_rates=True, full_demand=True)
    return [
        _row(simulator, services, _Case(PART, plant.parts[part].id, time_s + SETTLED_S))
        for part, time_s in zip(common, began_s, strict=True)
    ]


def _row(simulator: BlockSimulator, services: Sequence[ServiceHistory], case: _Case) -> dict[str, object]:
    """What the services lack at one moment."""
    demands = simulator.prepared.demands
    lacking, down = np.zeros(len(demands)), 0
    for number, (demand, service) in enumerate(zip(demands, services, strict=True)):
        result = service.result[np.searchsorted(service.time_s, case.time_s, side="right") - 1]
        lacking[number] = max(0.0, *(demand.committed_ways_mbit_s - service.rate_mbit_s[result]).tolist())
        down += bool(service.down[result].any())
    short = np.flatnonzero(lacking > LEAST_SHORTFALL_MBIT_S)
    worst = short[np.argsort(-lacking[short], kind="stable")]
    return {
        "kind": case.kind,
        "what": case.what,
        "below_committed": short.size,
        "down": down,
        "lacking_mbit_s": float(lacking[short].sum()),
        "services": ", ".join(demands[number].id for number in worst),
    }
