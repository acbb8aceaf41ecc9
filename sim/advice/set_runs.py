"""Runs of sets of candidates on the same blocks, kept by what they hold, and what each block loses."""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.sim.advice.candidates import Candidate
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.rare.strata import n_draws
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.runs.together import has_run, simulate_together
from hopyears.sim.studies.plan_sides import FirstBlocks, Side

Set = frozenset[int]


@dataclass
class SetRuns:
    """Simulates sets of candidates as they are asked for.

    Attributes
    ----------
    source : NetworkSource
    candidates : sequence of Candidate
    request : RunRequest
        Its years are the most that any set gets.
    out : Path
        Folder of the runs.
    tell : callable
        Called with what is being simulated.
    """

    source: NetworkSource
    candidates: Sequence[Candidate]
    request: RunRequest
    out: Path
    tell: Callable[[str], None] = lambda text: None
    _sides: dict[tuple[Set, int], Side] = field(default_factory=dict)

    def with_set(self, chosen: Set) -> NetworkSource:
        """The network with a set bought; later candidates are laid over earlier ones."""
        source = self.source
        for number in sorted(chosen):
            source = read_plan(dict(self.candidates[number].plan), source)
        return source

    def legal(self, chosen: Set) -> bool:
        """Whether a set leads to a network, as its members do one by one."""
        try:
            self.with_set(chosen)
        except InputError:
            return False
        return True

    def ready(self, sets: Iterable[Set], n_blocks: int) -> None:
        """Simulate so many blocks of some sets, those that they have in common with the network but once."""
        request = self._first(n_blocks)
        lacking = [
            chosen
            for chosen in dict.fromkeys(sets)
            if not has_run(self.with_set(chosen), request, self._folder(chosen), tables=False)
        ]
        for chosen in lacking:
            self.tell(f"{n_blocks} blocks with {self.named(chosen)}")
        wanted = [frozenset[int](), *(chosen for chosen in lacking if chosen)]
        if lacking:
            simulate_together(
                [(self.with_set(chosen), self._folder(chosen)) for chosen in wanted], request, tables=False
            )

    def named(self, chosen: Set) -> str:
        """What a set holds."""
        return "; ".join(self.candidates[i].id for i in sorted(chosen)) or "nothing"

    def _first(self, n_blocks: int) -> RunRequest:
        return replace(self.request, years=n_blocks * self.request.block_years)

    def _folder(self, chosen: Set) -> Path:
        names = sorted(self.candidates[number].id for number in chosen)
        digest = hashlib.blake2b("\n".join(names).encode(), digest_size=6).hexdigest()
        return self.out / (f"set-{digest}" if chosen else "base")

    def side(self, chosen: Set, n_blocks: int) -> Side:
        """What the first so many blocks met with a set bought."""
        if (chosen, n_blocks) not in self._sides:
            self.ready([chosen], n_blocks)
            folder = self._folder(chosen)
            self._sides[chosen, n_blocks] = Side.read(
                folder.name,
                self.with_set(chosen),
                self.request.options,
                FirstBlocks(folder, n_blocks),
                pairs_only=True,
            )
        return self._sides[chosen, n_blocks]

    def values(self, chosen: Set, weights: dict[str, float], figure: str, n_blocks: int) -> Floats:
        """A figure summed over services in each of the first blocks, shape (n_blocks,).

        A block's mean over its own histories and forced failures stands for what failures take.
        """
        side = self.side(chosen, n_blocks)
        common = {name: weight for name, weight in weights.items() if name in side.services}
        units = [values for values, _ in side.summed(common, figure)]
        total = units[0].copy()
        asked = side.figures.prepared.options.replications
        for stratum, values in enumerate(units[1:]):
            if len(values):
                ends = np.cumsum([n_draws(asked, block)[stratum] for block in range(n_blocks)])
                total += [part.mean() for part in np.split(values, ends[:-1])]
        return total
