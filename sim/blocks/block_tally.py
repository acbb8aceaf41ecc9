"""Counts what happened in one block: the tables that a run stores for it."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.blocks.block import BlockHistory
from hopyears.sim.blocks.outage_share import outage_share
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.tallies import Run, Tally, tally_block
from hopyears.sim.counting.tally_rows import Ways, three_ways
from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.equipment.failure_tally import Counts, crew_names, failure_tally
from hopyears.sim.hops.hop_history import HopHistory, side_by_side

PHASE_COLUMNS = tuple(f"{phase.replace(' ', '_')}_s" for phase in PHASES)


def run_of(prepared: Prepared, identity: str, block_years: int) -> Run:
    """What the tallies of a run have in common; bundles are counted after the hops, as hops of their own."""
    return Run(
        identity,
        block_years,
        tuple(demand.id for demand in prepared.demands),
        (*(design.hop.id for design in prepared.designs), *prepared.bundles),
    )


def service_losses(history: BlockHistory) -> list[Ways]:
    """Lost seconds of each service in one block."""
    return [three_ways(service, history.duration_s) for service in history.services]


def block_tally(
    prepared: Prepared, run: Run, block: int, history: BlockHistory, lost: Sequence[Ways]
) -> Tally:
    """Tally of services and hops of one block; ``lost`` is what ``service_losses`` gives of it."""
    bundles = [side_by_side([history.hops[hop] for hop in hops]) for hops in prepared.bundles.values()]
    return tally_block(
        run,
        block,
        services=prepared.demands,
        histories=history.services,
        hops=[*history.hops, *bundles],
        channels_at_level=[
            *(
                channels_at_level(hop, len(design.steps))
                for hop, design in zip(history.hops, prepared.designs, strict=True)
            ),
            *[None] * len(bundles),
        ],
        lost=lost,
    )


def channels_at_level(hop: HopHistory, n_steps: int) -> Ints:
    """Channels at each level in each state and direction, shape (n_states, 2, n_steps + 1)."""
    levels = hop.levels.reshape(len(hop.levels), 2, -1)
    counts: Ints = (levels[..., None] == np.arange(n_steps + 1)).sum(axis=2)
    return counts


def failure_tables(prepared: Prepared, history: BlockHistory, lost: Sequence[Ways]) -> dict[str, pa.Table]:
    """Failures of one block by kind of part, by site and by crew; times in seconds.

    ``outage_s`` are seconds of service outage with a job of the row among the causes, all services added.
    """
    plant = prepared.built.plant
    share = outage_share(prepared, history, lost)
    tally = failure_tally(history.log, plant)
    sites = [site.id for site in plant.sites]
    return {
        "failures_kind": _table("kind", plant.kind_names, tally.kinds, share.kind_s),
        "failures_site": _table("site", sites, tally.sites, share.site_s),
        "failures_crew": _table("crew", crew_names(plant), tally.crews, share.crew_s),
    }


def _table(name: str, rows: Sequence[str], counts: Counts, outage_s: Floats) -> pa.Table:
    columns: dict[str, pa.Array] = {name: pa.array(list(rows), pa.string())}
    values = counts.columns | {"outage_s": outage_s}
    values |= {phase: counts.phases_s[:, i].copy() for i, phase in enumerate(PHASE_COLUMNS)}
    columns |= {key: pa.array(np.asarray(value, dtype=np.float64)) for key, value in values.items()}
    return pa.table(columns)
