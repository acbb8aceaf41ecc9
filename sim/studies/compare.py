"""Plans against a network on common random numbers: differences, block by block, with intervals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from hopyears.sim.blocks.prepared import Prepared, prepare
from hopyears.sim.counting.statistics import Interval, mean_interval, paired_difference
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.inputs.network_file import InputError, NetworkSource
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.runs.summary import UNSEEN_OUTAGE_S, per_block, read_tallies
from hopyears.sim.storage.run_folder import RunFolder

BASE = "base"
"""Name of the folder of the network as it is."""


@dataclass(frozen=True)
class ComparedPlan:
    """One plan with the name that it goes by."""

    name: str
    source: NetworkSource


def compare(
    base: NetworkSource,
    plans: Sequence[ComparedPlan],
    request: RunRequest,
    out: Path,
    *,
    resume: bool = False,
    progress: Callable[[str, int, int], None] = lambda name, done, of_all: None,
) -> pd.DataFrame:
    """Simulate the base and every plan with the same seed, and take differences block by block.

    A draw belongs to a named thing and does not move when the plan changes, so that weather, nights and
    the failures of untouched parts are the same in all: differences are far sharper than the figures.

    Parameters
    ----------
    base, plans
        The network and the plans laid over it.
    request : RunRequest
    out : Path
        Folder with a run folder for the base and for each plan.
    resume : bool
        Keep finished blocks of a stopped comparison.
    progress : callable
        Called with (name, years done, years in all).

    Returns
    -------
    DataFrame
        See ``differences``.

    Raises
    ------
    InputError
        If plan names are not unique, or a folder is in use.
    """
    names = [BASE, *(plan.name for plan in plans)]
    if len(set(names)) != len(names):
        raise InputError(f"plans: names are {', '.join(names[1:])}; must be all different, and none {BASE}")
    members = [ComparedPlan(BASE, base), *plans]
    for member in members:
        simulate(
            member.source,
            request,
            out / member.name,
            resume=resume,
            progress=lambda done, of_all, name=member.name: progress(name, done, of_all),  # type: ignore[misc]
        )
    prepared = [prepare(member.source.network, request.options) for member in members]
    folders = [RunFolder(out / member.name) for member in members]
    frames = [
        differences(prepared[0], folders[0], prepared[i], folders[i]).assign(plan=members[i].name)
        for i in range(1, len(members))
    ]
    table = pd.concat(frames, ignore_index=True)
    return table[["plan", *(column for column in table.columns if column != "plan")]]


def differences(
    base: Prepared, base_folder: RunFolder, plan: Prepared, plan_folder: RunFolder
) -> pd.DataFrame:
    """Plan less base for every service that both have, one row a service.

    Columns: service; ``base_min_per_year`` and ``plan_min_per_year`` (unavailable time both ways) and
    ``difference_min_per_year`` each with ``_low`` and ``_high``; the same for severely errored seconds,
    ``difference_ses_per_year``; ``sure`` where the interval of the difference leaves out zero.
    """
    shared = [demand.id for demand in base.demands if demand.id in {other.id for other in plan.demands}]
    sides = []
    for prepared, folder in ((base, base_folder), (plan, plan_folder)):
        tallies = read_tallies(prepared, folder)
        ids = [demand.id for demand in prepared.demands]
        at = [ids.index(service) for service in shared]
        years = tallies[0].years
        sides.append(
            [
                per_block(tallies, "service_total", value, len(ids), direction=BOTH)[:, at] / scale / years
                for value, scale in (("unavailable_s", 60.0), ("severely_errored_s", 1.0))
            ]
        )
    rows = []
    bound = UNSEEN_OUTAGE_S / 60.0 / years
    for i, service in enumerate(shared):
        row: dict[str, object] = {"service": service}
        (base_minutes, base_ses), (plan_minutes, plan_ses) = (
            [values[:, i] for values in side] for side in sides
        )
        difference = paired_difference(plan_minutes, base_minutes)
        _put(row, "base_min_per_year", mean_interval(base_minutes, largest_unseen=bound))
        _put(row, "plan_min_per_year", mean_interval(plan_minutes, largest_unseen=bound))
        _put(row, "difference_min_per_year", difference)
        _put(row, "difference_ses_per_year", paired_difference(plan_ses, base_ses))
        row["sure"] = difference.excludes_zero
        rows.append(row)
    return pd.DataFrame(rows)


def _put(row: dict[str, object], name: str, interval: Interval) -> None:
    row[name], row[f"{name}_low"], row[f"{name}_high"] = interval.best, interval.low, interval.high
