"""How much each hop, site, kind of part and cause matters: what services would gain had it never gone wrong.

Each counterfactual is judged on the very draws of the block as it was, so that the gain is a paired
difference, far sharper than the figures themselves. Gains do not add up: where two things fail at once,
sparing one saves nothing; where one protects the other, sparing either saves all.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.differences import PairedStratum, paired_strata_interval
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.month_figures import YEAR_FIGURES, month_figures
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.service_figures import UNSEEN_WEATHER_S
from hopyears.sim.runs.block_pool import Workers, over_blocks
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.studies.counterfactual import BlockCase, Target, parts_of, sharing_groups, targets_of

ALL = "all services"
"""In place of a service: the sum over all services."""

_UNAVAILABLE, _BELOW = (YEAR_FIGURES.index(name) for name in ("unavailable_s", "below_committed_s"))

_Floats = NDArray[np.float64]


class ImportanceStudy:
    """What every service lost in a block, month by month, as it was and without each target.

    Parameters
    ----------
    prepared : Prepared
    seed, n_years : int
        Seed of the run and years of a block.
    targets : sequence of Target
    services : sequence of int
        Services to judge, as for ``BlockCase``.
    """

    def __init__(
        self,
        prepared: Prepared,
        seed: int,
        n_years: int,
        targets: Sequence[Target],
        services: Sequence[int],
    ) -> None:
        self._simulator = BlockSimulator(prepared)
        self._seed, self._n_years = seed, n_years
        self._targets, self._services = tuple(targets), tuple(services)

    def block(self, number: int) -> _Floats:
        """Figures both ways together as ``YEAR_FIGURES``, those of row 0 as it was.

        Shape (1 + n_targets, n_services, n_years, 12, n_figures).
        """
        draws = self._simulator.draw(self._seed, number, self._n_years)
        case = BlockCase(self._simulator, draws, self._services, by_month=True)
        before = case.services
        rows = [[self._months(service) for service in before]]
        for target in self._targets:
            after = case.services_without(target)
            rows.append(
                [
                    rows[0][i] if service is before[i] else self._months(service)
                    for i, service in enumerate(after)
                ]
            )
        return np.array(rows).reshape(len(rows), -1, self._n_years, 12, len(YEAR_FIGURES))

    def _months(self, service: ServiceHistory) -> _Floats:
        return month_figures(service, three_ways(service, service.duration_s)[BOTH], self._n_years)


def unseen_gains_s(simulator: BlockSimulator, targets: Sequence[Target]) -> _Floats:
    """Longest outage of each service that each target could reasonably make, (n_targets, n_services) [s].

    By the laws of repair of the parts that are the target's; that of an outage by weather at the least.
    """
    single, prepared = alone(simulator), simulator.prepared
    found = [single.longest_outage_s(parts_of(prepared, target)) for target in targets]
    return np.maximum(np.reshape(found, (len(targets), len(prepared.demands))), UNSEEN_WEATHER_S)


def unavailable_s(service: ServiceHistory) -> float:
    """Unavailable time of a service, both ways together, by the ten-second rule [s]."""
    return float(three_ways(service, service.duration_s)[2].unavailable_s)


def importance(
    run: OpenedRun,
    *,
    service: str | None = None,
    n_blocks: int | None = None,
    single_parts: bool = False,
    workers: Workers = 1,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> pd.DataFrame:
    """Gain of every service from every target that might never have gone wrong.

    Parameters
    ----------
    run : OpenedRun
    service : str, optional
        Judge this service only, which is much faster where it shares no scarce link with most others.
    n_blocks : int, optional
        The first so many blocks of the run, at least 1; all of them unless stated.
    single_parts : bool
        Judge every single part too, not only its kind.
    workers : int
        Processes.
    progress : callable
        Called with (blocks done, blocks in all).

    Returns
    -------
    DataFrame
        See ``importance_table``; of one service without their sum.

    Raises
    ------
    InputError
        If the run has no such service.
    """
    prepared = run.prepared
    blocks = run.folder.finished_blocks()[:n_blocks]
    judged = list(range(len(prepared.demands)))
    if service is not None:
        group = sharing_groups(prepared)
        judged = [s for s in judged if group[s] == group[run.service_index(service)]]
    targets = targets_of(prepared, None if service is None else judged, single_parts=single_parts)
    arguments = (prepared, run.seed, run.block_years, targets, judged)
    found = over_blocks(ImportanceStudy, arguments, blocks, workers=workers, progress=progress)
    seconds = np.array([months.sum(axis=(2, 3))[..., [_UNAVAILABLE, _BELOW]] for months in found])
    services = [prepared.demands[s].id for s in judged]
    unseen_s = unseen_gains_s(BlockSimulator(prepared), targets)[:, judged]
    table = importance_table(seconds, targets, services, n_years=run.block_years, unseen_s=unseen_s)
    return table if service is None else table[table["service"] == service].reset_index(drop=True)


def importance_table(
    seconds: _Floats,
    targets: Sequence[Target],
    services: Sequence[str],
    *,
    n_years: int,
    unseen_s: _Floats,
) -> pd.DataFrame:
    """Gains with their intervals, one row for each service and target, the largest gain of a service first.

    Parameters
    ----------
    seconds : float array, shape (n_blocks, 1 + n_targets, n_services, 2)
        Unavailable time, and time below committed though not down [s]; row 0 as it was.
    targets, services : sequences
        Names of the axes.
    n_years : int
        Years of a block.
    unseen_s : float array, shape (n_targets, n_services)
        As ``unseen_gains_s`` gives it.

    Returns
    -------
    DataFrame
        Columns service (``ALL`` for their sum), kind, target, ``unavailable_min_per_year`` as it was,
        ``saved_min_per_year`` with ``_low`` and ``_high``, ``share`` of the time as it was, ``sure`` where
        the interval leaves out zero; ``below_committed_min_per_year`` as it was, and of it
        ``below_saved_min_per_year`` likewise (below 0 where time down becomes time below committed).
    """
    every = np.concatenate([seconds, seconds.sum(axis=2, keepdims=True)], axis=2) / 60.0 / n_years
    minutes, below = every[..., 0], every[..., 1]
    bounds = np.concatenate([unseen_s, unseen_s.sum(axis=1, keepdims=True)], axis=1) / 60.0 / n_years
    rows = []
    for s, service in enumerate([*services, ALL]):
        base = float(minutes[:, 0, s].mean())
        for t, target in enumerate(targets, start=1):
            pairs = minutes[:, 0, s] - minutes[:, t, s]
            largest = float(bounds[t - 1, s])
            saved = paired_strata_interval([PairedStratum(pairs, largest, gains_only=True)])
            lifted = paired_strata_interval([PairedStratum(below[:, 0, s] - below[:, t, s], largest)])
            row: dict[str, object] = {
                "service": service,
                "kind": target.kind,
                "target": target.name,
                "unavailable_min_per_year": base,
                "saved_min_per_year": saved.best,
                "saved_min_per_year_low": saved.low,
                "saved_min_per_year_high": saved.high,
                "share": saved.best / base if base else 0.0,
                "sure": saved.excludes_zero,
                "below_committed_min_per_year": float(below[:, 0, s].mean()),
            }
            put_interval(row, "below_saved_min_per_year", lifted)
            rows.append(row)
    frame = pd.DataFrame(rows)
    place = {service: i for i, service in enumerate([*services, ALL])}
    frame["_place"] = frame["service"].map(place)
    frame = frame.sort_values(["_place", "saved_min_per_year"], ascending=[True, False], kind="stable")
    return frame.drop(columns="_place").reset_index(drop=True)


def write_importance(frame: pd.DataFrame, path: Path | str) -> None:
    """Write the table as CSV.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    from hopyears.sim.inputs.network_file import InputError

    try:
        frame.to_csv(Path(path), index=False)
    except OSError as error:
        raise InputError(f"{path}: file is not writable ({error.strerror}); must be") from None
