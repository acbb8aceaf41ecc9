"""Figures of services from made-up blocks alone, as a run without replications has them."""

from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S, per_block
from hopyears.sim.counting.statistics import LEVEL, mean_interval
from hopyears.sim.counting.tally_rows import BOTH

VALUES = ("unavailable_s", "severely_errored_s", "outages")
UNSEEN = (UNSEEN_OUTAGE_S, 10.0, 1.0)


class FiguresOfBlocks:
    """In place of ``ServiceFigures`` where there is no run."""

    def __init__(self, blocks, n_services=2):
        self._blocks, self._n = blocks, n_services

    def interval(self, service, figure, *, way=BOTH, level=LEVEL):
        years = self._blocks[0].years
        values = per_block(self._blocks, "service_total", VALUES[figure], self._n, direction=way)[:, service]
        return mean_interval(values / years, level=level, largest_unseen=UNSEEN[figure] / years)

    def intervals(self, service, way=BOTH):
        return [self.interval(service, figure, way=way) for figure in range(len(VALUES))]
