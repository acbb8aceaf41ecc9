"""Plans against a network on common random numbers: what they change, what they cost, which is best."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.runs.together import simulate_together
from hopyears.sim.storage.table_files import write_table
from hopyears.sim.studies.plan_sides import FirstBlocks, Side
from hopyears.sim.studies.plan_tables import Comparison, comparison

BASE = "base"
"""Name of the network as it is, and of the folder of its run."""


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
    base_run: Path | None = None,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> Comparison:
    """Simulate the base and every plan with the same seed, and take differences unit by unit.

    A draw belongs to a named thing and does not move when the plan changes, so that weather, nights and
    the failures of untouched parts are the same in all: differences are far sharper than the figures. What a
    folder holds of the same run is kept, so that one plan more costs one run more; what plans have in common
    is worked out once.

    Parameters
    ----------
    base, plans
        The network and the plans laid over it.
    request : RunRequest
    out : Path
        Folder with a run folder for the base and for each plan, and the frames as Parquet files.
    base_run : Path, optional
        Folder of a run of the base, in place of one within ``out``.
    progress : callable
        Called with (years done, years in all), of base and plans together.

    Raises
    ------
    InputError
        If plan names are not unique, or a folder holds another run or is in use.
    """
    names = [BASE, *(plan.name for plan in plans)]
    if len(set(names)) != len(names):
        raise InputError(f"plans: names are {', '.join(names[1:])}; must be all different, and none {BASE}")
    members = [ComparedPlan(BASE, base), *plans]
    folders = [base_run or out / BASE, *(out / plan.name for plan in plans)]
    simulate_together(
        [(member.source, folder) for member, folder in zip(members, folders, strict=True)],
        request,
        progress=progress,
    )
    sides = [
        Side.read(member.name, member.source, request.options, FirstBlocks(folder, request.n_blocks))
        for member, folder in zip(members, folders, strict=True)
    ]
    found = comparison(sides, request.seed)
    out.mkdir(parents=True, exist_ok=True)
    for name, frame in found._asdict().items():
        write_table(out / f"{name}.parquet", pa.Table.from_pandas(frame, preserve_index=False))
    return found
