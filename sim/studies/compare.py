"""Plans against a network on common random numbers: differences, block by block, with intervals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from hopyears.sim.blocks.prepared import Prepared, prepare
from hopyears.sim.counting.differences import PairedStratum, paired_strata_interval
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.inputs.network_file import InputError, NetworkSource
from hopyears.sim.rare.service_figures import SEVERELY_ERRORED, UNAVAILABLE, ServiceFigures
from hopyears.sim.runs.simulate import RunRequest, simulate
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
    ``difference_ses_per_year``; ``sure`` where the interval of the difference leaves out zero. Where nothing
    differed the limits are the bounds on what was not seen.
    """
    sides = [ServiceFigures.read(base, base_folder), ServiceFigures.read(plan, plan_folder)]
    ids = [[demand.id for demand in prepared.demands] for prepared in (base, plan)]
    rows = []
    for service in (each for each in ids[0] if each in ids[1]):
        numbers = [names.index(service) for names in ids]
        row: dict[str, object] = {"service": service}
        for name, figures, number in zip(("base", "plan"), sides, numbers, strict=True):
            minutes = figures.interval(number, UNAVAILABLE).scaled(1.0 / 60.0)
            put_interval(row, f"{name}_min_per_year", minutes)
        difference = _difference(sides, numbers, UNAVAILABLE).scaled(1.0 / 60.0)
        put_interval(row, "difference_min_per_year", difference)
        put_interval(row, "difference_ses_per_year", _difference(sides, numbers, SEVERELY_ERRORED))
        row["sure"] = difference.excludes_zero
        rows.append(row)
    return pd.DataFrame(rows)


def _difference(sides: Sequence[ServiceFigures], numbers: Sequence[int], figure: int) -> Interval:
    """Plan less base of a figure of a service a year, from the pairs of blocks, histories and draws."""
    before, after = (side.terms(number, figure) for side, number in zip(sides, numbers, strict=True))
    strata = [
        PairedStratum(plan - base, max(most_plan, most_base))
        for (base, most_base), (plan, most_plan) in zip(before, after, strict=True)
    ]
    return paired_strata_interval(strata)
