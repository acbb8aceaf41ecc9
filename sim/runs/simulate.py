"""Simulates a network for many years and stores what came of it."""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, NamedTuple

from hopyears.models.basics.memory import holes_given_back
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, Prepared, prepare
from hopyears.sim.hops.design_doubts import network_doubts
from hopyears.sim.hops.hop_design import HopDesign, design_hops
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.rare.alone import alone
from hopyears.sim.runs.block_pool import Workers
from hopyears.sim.runs.first_use import compile_together
from hopyears.sim.runs.runner import BLOCK_YEARS, BlockCounter, BlockPlan, fill_folder
from hopyears.sim.runs.stopping import PrecisionGoal, reached, service_number
from hopyears.sim.runs.summary import summarise
from hopyears.sim.storage.run_folder import RunFolder, run_identity, versions

LONGEST_YEARS = 1_000_000
DEFAULT_REPLICATIONS = 48
"""Histories of failures beside each block (``sim.rare.strata.n_draws``)."""

DEFAULT_OPTIONS = ModelOptions(replications=DEFAULT_REPLICATIONS)
"""What a user gets who asks for nothing else."""

PLAIN = ModelOptions()


@dataclass(frozen=True)
class RunRequest:
    """How long, from which seed, and with which parts of the model.

    Attributes
    ----------
    years : int
        At least 1; rounded up to whole blocks.
    seed : int
        0 to 2^63 - 1.
    block_years : int
        Years of one independent block, 1 to 100.
    workers : int or str
        Processes, 1 to 256, or the address of a cluster's scheduler; they change nothing but the time taken.
    options : ModelOptions
    until : PrecisionGoal, optional
        Stop before all years are done when this is reached (``sim.runs.stopping``).
    """

    years: int
    seed: int
    block_years: int = BLOCK_YEARS
    workers: Workers = 1
    options: ModelOptions = PLAIN
    until: PrecisionGoal | None = None

    def __post_init__(self) -> None:
        for field, low, high in (
            ("years", 1, LONGEST_YEARS),
            ("seed", 0, 2**63 - 1),
            ("block_years", 1, 100),
            ("workers", 1, 256),
        ):
            found = getattr(self, field)
            if isinstance(found, str):
                continue  # the cluster says itself whether it is there
            if not low <= found <= high:
                raise InputError(f"--{field.replace('_', '-')} is {found}; must be {low} to {high}")

    @property
    def n_blocks(self) -> int:
        """Blocks that make up the years."""
        return -(-self.years // self.block_years)


def simulate(
    source: NetworkSource,
    request: RunRequest,
    out: Path | str,
    *,
    resume: bool = False,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
    warn: Callable[[str], None] = lambda warning: None,
) -> RunFolder:
    """Simulate and store; returns the folder of the run.

    Parameters
    ----------
    source : NetworkSource
    request : RunRequest
    out : path
        Folder of the run; new or empty unless ``resume``.
    resume : bool
        Keep the finished blocks of a stopped run of the same identity, or add years to one.
    progress : callable
        Called with (years done, years in all).
    warn : callable
        Called with each warning before anything is written.

    Raises
    ------
    InputError
        If no law describes a hop, the folder is in use, or by another run (nothing is overwritten), or
        ``request.until`` names no service.
    RunError
        If the run cannot go on, for instance on a full disk; finished blocks are kept.
    """
    if request.until is not None:
        service_number(source.network, request.until)
    with ExitStack() as held:
        run = begun(held, source, request, out, resume=resume, warn=warn)
        enough = None if request.until is None else reached(run.prepared, request.until)
        fill_folder(
            run.folder,
            request.n_blocks,
            BlockCounter,
            (run.prepared, run.plan, run.simulator),
            workers=request.workers,
            progress=lambda done, of_all: progress(done * request.block_years, of_all * request.block_years),
            enough=enough,
        )
        folder, prepared = run.folder, run.prepared
        del run  # the simulator is let go
        holes_given_back()
        folder.write_results(summarise(prepared, folder), rest_on(folder, request, enough))
    return folder


class Begun(NamedTuple):
    """A run whose folder is held and ready for blocks; the simulator knows what ``alone`` has met."""

    folder: RunFolder
    prepared: Prepared
    plan: BlockPlan
    simulator: BlockSimulator


def begun(
    held: ExitStack,
    source: NetworkSource,
    request: RunRequest,
    out: Path | str,
    *,
    resume: bool,
    warn: Callable[[str], None] = lambda warning: None,
) -> Begun:
    """Begin a run, or go on with it, as ``simulate`` does; its folder is locked until ``held`` ends."""
    compile_together()
    designs = design_hops(source.network)
    warnings = warnings_of(source, designs)
    for warning in warnings:
        warn(warning)
    folder, manifest = RunFolder(out), manifest_of(source, request, warnings)
    held.enter_context(folder.locked())
    folder.begin(manifest, source.network.model_dump(mode="json", by_alias=True), resume=resume)
    prepared = prepare(source.network, request.options, designs)
    simulator = BlockSimulator(prepared)
    alone(simulator)  # known to all workers, and to the summary
    plan = BlockPlan(manifest["identity"], request.seed, request.n_blocks, request.block_years)
    return Begun(folder, prepared, plan, simulator)


def manifest_of(source: NetworkSource, request: RunRequest, warnings: Sequence[str]) -> dict[str, Any]:
    """All that decides the numbers, its digest, and what a reader wants to know of the origin."""
    decisive: dict[str, Any] = {
        "network": source.digest(),
        "seed": request.seed,
        "block_years": request.block_years,
        "options": asdict(request.options),
        "versions": versions(),
    }
    return {
        "identity": run_identity(decisive),
        **decisive,
        "title": source.network.title,
        "network_file": source.name,
        "warnings": [*warnings],
    }


def warnings_of(source: NetworkSource, designs: Sequence[HopDesign]) -> list[str]:
    """What is legal in the network but deserves a second look: of its file, its designs and its sites.

    Raises
    ------
    InputError
        If no law describes a hop (``sim.hops.design_doubts``).
    """
    doubts = network_doubts(source.network, designs, source.name)
    return [*source.warnings, *(f"{source.name}: {doubt.sentence()}" for doubt in doubts)]


def rest_on(
    folder: RunFolder, request: RunRequest, enough: Callable[[RunFolder], bool] | None = None
) -> dict[str, Any]:
    """What tables made now rest on: the blocks that there are, and whether the run's goal was reached."""
    blocks = len(folder.finished_blocks())
    found: dict[str, Any] = {"blocks": blocks, "years": blocks * request.block_years}
    if request.until is not None and enough is not None:
        found["until"] = {**asdict(request.until), "reached": enough(folder)}
    return found
