"""Lost seconds of services by cause, from blocks and replications together."""

import numpy as np

from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH, CAUSE
from hopyears.sim.rare.service_figures import SEVERELY_ERRORED, UNAVAILABLE, ServiceFigures
from hopyears.sim.rare.strata import CAUSES, OWN, OWN_RAIN, RAINS, draws_beside, rain_share
from hopyears.sim.storage.run_folder import RunFolder


def cause_seconds(total: Tally, folder: RunFolder, asked: int, figures: ServiceFigures) -> KeyedTable:
    """Lost seconds of services by exact set of causes in all years of a run, with their best figures as sums.

    What the blocks lost to their own failures alone, to their own multipath alone, and a part of what to
    their own rain, gives way to what replications lose on the average. Where that leaves a cause below 0, as
    chance may, it counts as 0.

    Parameters
    ----------
    total : Tally
        Of all blocks.
    folder : RunFolder
    asked : int
        Replications of the run.
    figures : ServiceFigures
        Of the run.

    Returns
    -------
    KeyedTable
        Of columns ``CAUSE``; without replications that of the blocks.
    """
    seen = total.tables["service_cause"]
    if not asked:
        return seen
    blocks = folder.finished_blocks()
    drawn = KeyedTable.joined(
        CAUSES,
        [KeyedTable.from_arrow(CAUSES, folder.read_table(b, "service_cause_replications")) for b in blocks],
    )
    n, sizes = len(blocks), draws_beside(asked, blocks)
    share = rain_share(sizes[RAINS], n)
    weight = {OWN: -1.0 / n, OWN_RAIN: -share / n} | {
        stratum: (share if stratum == RAINS else 1.0) / number for stratum, number in sizes.items()
    }
    scale = total.years * np.array([weight[stratum] for stratum in drawn.key("stratum").tolist()])
    more = KeyedTable.collect(CAUSE, drawn.keys[:, :3], drawn.values * scale[:, None])
    table = seen + more
    values = np.maximum(table.values, 0.0)
    entity = np.where(table.key("direction") == BOTH, table.key("entity"), -1)
    for service in np.unique(entity[entity >= 0]).tolist():
        rows = entity == service
        for column, figure in enumerate((UNAVAILABLE, SEVERELY_ERRORED)):
            found_s = float(values[rows, column].sum())
            if found_s > 0.0:
                values[rows, column] *= figures.interval(service, figure).best * total.years / found_s
    return KeyedTable.collect(CAUSE, table.keys, values)
