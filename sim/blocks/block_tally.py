"""Counts what happened in one block: the tables that a run stores for it."""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from hopyears.sim.blocks.block import BlockHistory
from hopyears.sim.blocks.outage_share import outage_share
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.tallies import Run, Tally, tally_block
from hopyears.sim.counting.tally_rows import Ways, three_ways
from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.equipment.failure_tally import FailureTally
from hopyears.sim.hops.hop_history import HopHistory

PHASE_COLUMNS = tuple(f"{phase.replace(' ', '_')}_s" for phase in PHASES)


def run_of(prepared: Prepared, identity: str, block_years: int) -> Run:
    """What the tallies of a run have in common."""
    return Run(
        identity,
        block_years,
        tuple(demand.id for demand in prepared.demands),
        tuple(design.hop.id for design in prepared.designs),
    )


def service_losses(history: BlockHistory) -> list[Ways]:
    """Lost seconds of each service in one block."""
    return [three_ways(service, history.duration_s) for service in history.services]


def block_tally(
    prepared: Prepared, run: Run, block: int, history: BlockHistory, lost: Sequence[Ways]
) -> Tally:
    """Tally of services and hops of one block; ``lost`` is what ``service_losses`` gives of it."""
    return tally_block(
        run,
        block,
        services=prepared.demands,
        histories=history.services,
        hops=history.hops,
        channels_at_level=[
            channels_at_level(hop, len(design.steps))
            for hop, design in zip(history.hops, prepared.designs, strict=True)
        ],
        lost=lost,
    )


def channels_at_level(hop: HopHistory, n_steps: int) -> NDArray[np.int64]:
    """Channels at each level in each state and direction, shape (n_states, 2, n_steps + 1)."""
    levels = hop.levels.reshape(len(hop.levels), 2, -1)
    counts: NDArray[np.int64] = (levels[..., None] == np.arange(n_steps + 1)).sum(axis=2)
    return counts


def failure_tables(prepared: Prepared, history: BlockHistory, lost: Sequence[Ways]) -> dict[str, pa.Table]:
    """Failures of one block by kind of part, by site and by crew; times in seconds.

    ``outage_s`` are seconds of service outage with a job of the row among the causes, all services added.
    """
    plant = prepared.built.plant
    share = outage_share(prepared, history, lost)
    tally = FailureTally.zero(plant) if history.log is None else FailureTally.of(history.log, plant)
    return {
        "failures_kind": _table(
            {"kind": tally.kinds},
            {
                "failures": tally.kind_failures,
                "latent": tally.kind_latent,
                "struck": tally.kind_struck,
                "outage_s": share.kind_s,
            },
            tally.kind_phases_s,
        ),
        "failures_site": _table(
            {"site": tally.sites},
            {
                "failures": tally.site_failures,
                "dark": tally.site_dark,
                "dark_s": tally.site_dark_s,
                "mains_lost": tally.site_mains_lost,
                "mains_lost_s": tally.site_mains_lost_s,
                "maintenance_s": tally.site_maintenance_s,
                "outage_s": share.site_s,
            },
            tally.site_phases_s,
        ),
        "failures_crew": _table(
            {"crew": tally.crews},
            {
                "visits": tally.crew_visits,
                "planned": tally.crew_planned,
                "planned_s": tally.crew_planned_s,
                "outage_s": share.crew_s,
            },
            tally.crew_phases_s,
        ),
    }


def _table(
    names: Mapping[str, tuple[str, ...]],
    values: Mapping[str, NDArray[np.generic]],
    phases_s: NDArray[np.float64],
) -> pa.Table:
    columns: dict[str, pa.Array] = {key: pa.array(list(column), pa.string()) for key, column in names.items()}
    columns |= {key: pa.array(np.asarray(column, dtype=np.float64)) for key, column in values.items()}
    columns |= {name: pa.array(phases_s[:, i].copy()) for i, name in enumerate(PHASE_COLUMNS)}
    return pa.table(columns)
