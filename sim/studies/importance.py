"""How much each hop, site, kind of part and cause matters: what services would gain had it never gone wrong.

Each counterfactual is judged on the very draws of the block as it was, so that the gain is a paired
difference, far sharper than the figures themselves. Gains do not add up: where two things fail at once,
sparing one saves nothing; where one protects the other, sparing either saves all.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.counting.differences import PairedStratum, paired_strata_interval
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.candidates import Candidates
from hopyears.sim.rare.forced import by_hand
from hopyears.sim.rare.service_figures import UNAVAILABLE, UNSEEN_WEATHER_S, ServiceFigures
from hopyears.sim.runs.block_pool import Workers, over_blocks
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.studies.counterfactual import parts_of, sharing_groups, targets_of
from hopyears.sim.studies.replicated import N_STRATA, ReplicatedStudy
from hopyears.sim.studies.targets import Target

ALL = "all services"
"""In place of a service: the sum over all services."""


def unseen_gains_s(simulator: BlockSimulator, targets: Sequence[Target], n_years: float) -> Floats:
    """Gain of one unit of each stratum of ``ReplicatedStudy`` that was not seen, shape (n_strata, n_targets,
    n_services) [s a year].

    An outage as long as the laws of repair of the target's parts allow, by weather at the least; of those
    put in by hand the longest that stops the service, times its weight.
    """
    single, prepared, plant = alone(simulator), simulator.prepared, simulator.prepared.built.plant
    hands = by_hand(prepared, single) if prepared.options.replications else ()
    every, outdoor = Candidates.of(prepared, single), np.zeros(len(plant.parts), dtype=np.bool_)
    outdoor[plant.outdoor_parts] = True
    found = np.zeros((N_STRATA, len(targets), len(prepared.demands)))
    for t, target in enumerate(targets):
        parts = parts_of(prepared, target)
        if not hands:
            found[0, t] = np.maximum(single.longest_outage_s(parts), UNSEEN_WEATHER_S) / n_years
        elif not target.is_of_plant:
            found[[0, 3], t] = UNSEEN_WEATHER_S / n_years
        struck = np.bincount(plant.part_site[parts & outdoor], minlength=len(plant.sites)) > 0
        for hand in hands:
            longest_s = np.maximum(single.longest_outage_s(parts & ~hand.held), UNSEEN_WEATHER_S)
            found[1, t, hand.services] = longest_s[hand.services] / n_years
            found[2, t, hand.services] = hand.longest_s(every, np.append(parts, struck))
    return found


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
    found = over_blocks(ReplicatedStudy, arguments, blocks, workers=workers, progress=progress)
    figures = ServiceFigures.read(prepared, run.folder)
    table = importance_table(
        [np.concatenate(units) for units in zip(*found, strict=True)],
        targets,
        {prepared.demands[s].id: figures.interval(s, UNAVAILABLE).best for s in judged},
        unseen_s=unseen_gains_s(BlockSimulator(prepared), targets, run.block_years)[:, :, judged],
    )
    return table if service is None else table[table["service"] == service].reset_index(drop=True)


def importance_table(
    strata_s: Sequence[Floats], targets: Sequence[Target], services: Mapping[str, float], *, unseen_s: Floats
) -> pd.DataFrame:
    """Gains with their intervals, one row for each service and target, the largest gain of a service first.

    Parameters
    ----------
    strata_s : sequence of float arrays, shape (n_units, 1 + n_targets, n_services, 2)
        As ``ReplicatedStudy`` gives them, of all blocks [s a year].
    targets : sequence of Target
    services : mapping of str to float
        Time down of each as the run has it [s a year].
    unseen_s : float array, shape (n_strata, n_targets, n_services)
        As ``unseen_gains_s`` gives it.

    Returns
    -------
    DataFrame
        Table ``importance`` of ``sim.wording.columns``; service is ``ALL`` for their sum.
    """
    strata = [_with_sum(units) / 60.0 for units in strata_s if len(units)]
    bounds = [_with_sum(unseen_s)[i] / 60.0 for i, units in enumerate(strata_s) if len(units)]
    as_it_was = [*services.values(), sum(services.values())]
    below = sum(units[:, 0, :, 1].mean(axis=0) for units in strata)
    rows = []
    for s, service in enumerate([*services, ALL]):
        base = as_it_was[s] / 60.0
        for t, target in enumerate(targets, start=1):
            gains = [(units[:, 0, s] - units[:, t, s]).T for units in strata]
            saved, lifted = (
                paired_strata_interval(
                    [
                        PairedStratum(gain[figure], float(bound[t - 1, s]), gains_only=not figure)
                        for gain, bound in zip(gains, bounds, strict=True)
                    ]
                )
                for figure in range(2)
            )
            row: dict[str, object] = {"service": service, "kind": target.kind, "target": target.name}
            row["unavailable_min_per_year"] = base
            put_interval(row, "saved_min_per_year", saved)
            row["share"] = saved.best / base if base else 0.0
            row["sure"] = saved.excludes_zero
            row["below_committed_min_per_year"] = max(float(below[s]), 0.0)
            put_interval(row, "below_saved_min_per_year", lifted)
            rows.append(row)
    frame = pd.DataFrame(rows)
    place = {service: i for i, service in enumerate([*services, ALL])}
    frame["_place"] = frame["service"].map(place)
    frame = frame.sort_values(["_place", "saved_min_per_year"], ascending=[True, False], kind="stable")
    return frame.drop(columns="_place").reset_index(drop=True)


def _with_sum(units: Floats) -> Floats:
    """The sum over services after them."""
    return np.concatenate([units, units.sum(axis=2, keepdims=True)], axis=2)
