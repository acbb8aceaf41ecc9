"""Simulates several networks that differ in little on the same draws, each into a folder of its own.

What each folder holds is to the last byte what ``simulate`` would have made of its network.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from hopyears.sim.blocks.beside import BesideSimulator, FirstSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.rare.weather_controls import FEWEST_BLOCKS, know_rain
from hopyears.sim.runs.block_pool import block_pool
from hopyears.sim.runs.runner import BlockCounter, BlockPlan, BlockTables
from hopyears.sim.runs.simulate import Begun, RunRequest, begun, manifest_of, rest_on
from hopyears.sim.runs.summary import summarise
from hopyears.sim.storage.run_folder import MANIFEST, RunFolder

Member = tuple[NetworkSource, Path]
"""A network, and the folder of its run."""


class TogetherCounter:
    """Blocks of several runs; ``lacking`` tells which of them lack each block."""

    def __init__(
        self, runs: Sequence[tuple[Prepared, BlockPlan]], lacking: Mapping[int, Sequence[int]]
    ) -> None:
        first = FirstSimulator(runs[0][0])
        simulators = [first, *(BesideSimulator(prepared, first) for prepared, _ in runs[1:])]
        self._counters = [BlockCounter(*run, own) for run, own in zip(runs, simulators, strict=True)]
        self._lacking = lacking

    def block(self, number: int) -> dict[int, BlockTables]:
        """Tables of one block of the runs that lack it."""
        return {run: self._counters[run].block(number) for run in self._lacking[number]}


def simulate_together(
    members: Sequence[Member],
    request: RunRequest,
    *,
    tables: bool = True,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> None:
    """Simulate and store several networks; what their folders hold of the same runs is kept.

    Parameters
    ----------
    members : sequence of (NetworkSource, Path)
        The first is the one that the others have most in common with.
    request : RunRequest
        Of all; it goes to its last year.
    tables : bool
        Whether each gets its tables of results.
    progress : callable
        Called with (years done, years in all), of all members.

    Raises
    ------
    InputError, RunError
        As ``simulate``.
    """
    if all(has_run(source, request, out, tables=tables) for source, out in members):
        return
    with ExitStack() as held:
        runs = [begun(held, source, request, out, resume=True) for source, out in members]
        _fill(runs, request, progress)
        if tables:
            _summarise(
                [
                    run
                    for run, member in zip(runs, members, strict=True)
                    if not has_run(member[0], request, member[1])
                ],
                request,
            )


def _fill(runs: Sequence[Begun], request: RunRequest, progress: Callable[[int, int], None]) -> None:
    finished = [set(run.folder.finished_blocks()) for run in runs]
    lacking = {
        block: [i for i, done in enumerate(finished) if block not in done]
        for block in range(request.n_blocks)
    }
    blocks = [block for block, some in lacking.items() if some]
    in_all = request.n_blocks * len(runs)
    left = sum(map(len, lacking.values()))
    arguments = ([(run.prepared, run.plan) for run in runs], lacking)
    progress((in_all - left) * request.block_years, in_all * request.block_years)
    with block_pool(TogetherCounter, arguments, request.workers, len(blocks)) as studied:
        for block, found in studied(blocks):
            for i, tables in found.items():
                runs[i].folder.write_block(block, tables)
            left -= len(found)
            progress((in_all - left) * request.block_years, in_all * request.block_years)


def _summarise(runs: Sequence[Begun], request: RunRequest) -> None:
    if request.options.replications and request.n_blocks >= FEWEST_BLOCKS:
        know_rain([run.prepared for run in runs])
    for run in runs:
        run.folder.write_results(summarise(run.prepared, run.folder), rest_on(run.folder, request))


def has_run(source: NetworkSource, request: RunRequest, folder: Path, *, tables: bool = True) -> bool:
    """Whether a folder holds all blocks of this very run, its prices too, and its tables where asked for."""
    run = RunFolder(folder)
    if not (folder / MANIFEST).is_file():
        return False
    same = run.manifest()["identity"] == manifest_of(source, request, ())["identity"]
    whole = len(run.finished_blocks()) >= request.n_blocks and (not tables or (folder / "tables").is_dir())
    return same and whole and run.network() == source.network.model_dump(mode="json", by_alias=True)
