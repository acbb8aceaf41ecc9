"""Adaptive modulation against every fixed one, on the same weather, nights and failures.

Each block is drawn once. Every studied hop is then judged as it is, and with each of its modulations fixed,
and so is every bundle of them as one;
services are judged as they are, and with all hops fixed at the same number of states (a hop without that
modulation takes its next lower one). A network file whose radios are set fixed has the very thresholds of the
study, but draws only the fades that it feels: which line bears a fade that two lines share then differs, so
that the two agree in law, not to the second.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from hopyears.models.basics.arrays import Ints
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.hops.hop import hop_history
from hopyears.sim.hops.hop_history import HopHistory, side_by_side
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.inputs.input_errors import InputError, place_among
from hopyears.sim.modulation.findings import (
    ADAPTIVE,
    BlockFindings,
    Finding,
    Spent,
    busy_hours,
    channel_states,
    hop_finding,
    lowest_along,
    service_finding,
    undelivered,
)
from hopyears.sim.modulation.fixed import fixed_design, nearest_step
from hopyears.sim.multipath.fades import FadeEvents
from hopyears.sim.rain.rain_kernel import RainKnots
from hopyears.sim.runs.block_pool import over_blocks
from hopyears.sim.runs.runner import fill_folder
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.storage.run_folder import RunFolder

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa


class ModulationStudy:
    """Judges blocks with adaptive and with fixed modulation.

    Parameters
    ----------
    prepared : Prepared
    seed, n_years : int
        Seed and years of a block.
    hops : sequence of int
        Hops to study. Services are studied when these are all hops of the network.
    states : sequence of int
        Fixed modulations to judge; a hop leaves out those it does not have.
    """

    def __init__(
        self, prepared: Prepared, seed: int, n_years: int, hops: Sequence[int], states: Sequence[int]
    ) -> None:
        self._simulator = BlockSimulator(prepared)
        self._prepared, self._seed, self._n_years = prepared, seed, n_years
        self._hops, self._states = tuple(hops), tuple(states)
        self._fixed = {hop: self._fixed_thresholds(hop) for hop in self._hops}
        bundles = enumerate(prepared.bundles.values(), start=len(prepared.designs))
        self._bundles = [(number, own) for number, own in bundles if {*own} <= {*hops}]

    def block(self, number: int) -> BlockFindings:
        """Findings of one block."""
        draws = self._simulator.draw(self._seed, number, self._n_years)
        hops: dict[tuple[int, int], Finding] = {}
        weather: dict[tuple[int, int], Finding] = {}
        adaptive: dict[int, HopHistory] = {}
        unbroken: dict[int, HopHistory] = {}
        fixed: dict[tuple[int, int], HopHistory] = {}
        for hop in self._hops:
            rain, fades = self._weather(draws, hop)
            adaptive[hop] = self._timeline(draws, hop, self._simulator.thresholds[hop], rain, fades)
            hops[hop, ADAPTIVE] = hop_finding(adaptive[hop], draws.duration_s)
            unbroken[hop] = self._in_weather_alone(hop, rain, fades, draws.duration_s)
            weather[hop, ADAPTIVE] = hop_finding(unbroken[hop], draws.duration_s)
            for step, thresholds in self._fixed[hop].items():
                history = self._timeline(draws, hop, thresholds, rain, fades)
                fixed[hop, step] = history
                states = int(thresholds.design.steps.states[0])
                if states in self._states:
                    hops[hop, states] = hop_finding(history, draws.duration_s)
        for number, own in self._bundles:
            hops[number, ADAPTIVE] = _together([adaptive[hop] for hop in own], draws.duration_s)
            weather[number, ADAPTIVE] = _together([unbroken[hop] for hop in own], draws.duration_s)
            for states in self._states:
                steps = [(hop, nearest_step(self._prepared.designs[hop], states)) for hop in own]
                hops[number, states] = _together([fixed[step] for step in steps], draws.duration_s)
        hop_states, busy_states = self._channel_states(adaptive, draws.duration_s)
        if len(self._hops) < len(self._prepared.designs):
            return BlockFindings(hops, hop_states=hop_states, weather=weather, busy_states=busy_states)
        services, lacking = self._services(draws, [adaptive[hop] for hop in self._hops], fixed)
        routes = self._route_states(adaptive, draws.duration_s)
        return BlockFindings(hops, services, hop_states, routes, lacking, weather, busy_states)

    def _channel_states(
        self, hops: dict[int, HopHistory], duration_s: float
    ) -> tuple[dict[int, Spent], dict[int, Spent]]:
        """Time of channels at each modulation, of all hours and of busy ones."""
        always, busy = {}, {}
        crossing: dict[int, list[ServiceDemand]] = {}
        for number, demand in enumerate(self._prepared.demands):
            for hop in self._prepared.hops_crossed(number):
                crossing.setdefault(hop, []).append(demand)
        for hop, timeline in hops.items():
            always[hop] = channel_states(timeline, self._names(hop), duration_s)
            hours = busy_hours(crossing.get(hop, []), duration_s)
            if hours is not None:
                busy[hop] = channel_states(timeline, self._names(hop), duration_s, hours)
        return always, busy

    def _in_weather_alone(
        self, hop: int, rain: RainKnots | None, fades: FadeEvents | None, duration_s: float
    ) -> HopHistory:
        """The hop as it is, had its equipment always been in order."""
        equipment = nominal_segments(self._simulator.states[hop])
        return hop_history(self._simulator.thresholds[hop], equipment, rain, fades, duration_s)

    def _fixed_thresholds(self, hop: int) -> dict[int, HopThresholds]:
        """Thresholds of the hop at each fixed modulation that the study needs, by its step."""
        design, prepared = self._prepared.designs[hop], self._prepared
        steps = {nearest_step(design, states) for states in self._states}
        return {
            step: HopThresholds(fixed_design(design, step), prepared.anchors[hop], prepared.nights[hop])
            for step in sorted(steps)
        }

    def _weather(self, draws: BlockDraws, hop: int) -> tuple[RainKnots | None, FadeEvents | None]:
        """Rain and fades of a hop down to what the most sensitive of its modulations feels."""
        own, states = self._simulator.thresholds[hop], draws.segments[hop].states
        cases = [own, *self._fixed[hop].values()]
        lowest_db = min(case.lowest_rain_db(states) for case in cases)
        tops = [case.highest_power(states) for case in cases]
        flat, dispersive = max(top[0] for top in tops), max(top[1] for top in tops)
        fades = self._simulator.fades_reaching(draws, hop, flat, dispersive)
        return self._simulator.rain(draws, hop, lowest_db), fades

    def _timeline(
        self,
        draws: BlockDraws,
        hop: int,
        thresholds: HopThresholds,
        rain: RainKnots | None,
        fades: FadeEvents | None,
    ) -> HopHistory:
        return hop_history(thresholds, draws.segments[hop], rain, fades, draws.duration_s)

    def _services(
        self, draws: BlockDraws, adaptive: Sequence[HopHistory], fixed: dict[tuple[int, int], HopHistory]
    ) -> tuple[dict[tuple[int, int], Finding], dict[tuple[int, int], Spent]]:
        """What every service got, and what it lacks, by its number and the states of all hops."""
        found, lacking = {}, {}
        designs = self._prepared.designs
        for states in (ADAPTIVE, *self._states):
            hops = adaptive
            if states != ADAPTIVE:
                hops = [fixed[hop, nearest_step(designs[hop], states)] for hop in self._hops]
            services = self._simulator.services(hops, draws.log, draws.duration_s)
            for number, service in enumerate(services):
                found[number, states] = service_finding(service)
                lacking[number, states] = undelivered(self._prepared.demands[number], service)
        return found, lacking

    def _route_states(self, hops: dict[int, HopHistory], duration_s: float) -> dict[int, Spent]:
        found = {}
        for number, demand in enumerate(self._prepared.demands):
            links = self._prepared.hops_along(demand.routes[0])
            route = [hop for link in links for hop in link if hop in hops]
            chain = [(hops[hop], self._lowest_states(hop, hops[hop])) for hop in route]
            found[number] = lowest_along(chain, duration_s)
        return found

    def _names(self, hop: int) -> Ints:
        """Number of states of each level of a hop; level 0 is down."""
        states = self._prepared.designs[hop].steps.states
        return np.concatenate((np.zeros(1, dtype=np.int64), states.astype(np.int64)))

    def _lowest_states(self, hop: int, timeline: HopHistory) -> Ints:
        """Lowest modulation in use in each state: of the best N channels, of both directions."""
        design = self._prepared.designs[hop]
        names = self._names(hop)
        levels = np.sort(timeline.levels.reshape(len(timeline.levels), 2, -1), axis=2)
        lowest: Ints = names[levels[:, :, -design.scheme.working].min(axis=1)]
        return lowest


def _together(hops: Sequence[HopHistory], duration_s: float) -> Finding:
    """What the hops of a bundle offered as one."""
    return hop_finding(side_by_side(hops), duration_s)


class StoredStudy(ModulationStudy):
    """The same study, whose findings come as tables."""

    def block(self, number: int) -> "dict[str, pa.Table]":  # type: ignore[override]
        """Tables of one block."""
        return super().block(number).to_arrow()


def studied(
    prepared: Prepared, hops: Sequence[str] | None, states: Sequence[int] | None
) -> tuple[list[int], list[int]]:
    """Numbers of the hops to study, and the fixed modulations to judge.

    Parameters
    ----------
    prepared : Prepared
    hops : sequence of str, optional
        Hop ids; all hops, and with them the services, unless stated.
    states : sequence of int, optional
        Fixed modulations by their number of states; all that the studied hops have unless stated.

    Raises
    ------
    InputError
        If a hop is unknown, or no studied hop has one of the modulations.
    """
    chosen = _hop_numbers(prepared, hops)
    known = sorted({int(each) for hop in chosen for each in prepared.designs[hop].steps.states})
    wanted = known if states is None else sorted(set(states))
    for each in wanted:
        if each not in known:
            raise InputError(f"--states is {each}; must be one of {', '.join(map(str, known))}")
    return chosen, wanted


def modulation_study(
    prepared: Prepared,
    request: RunRequest,
    *,
    hops: Sequence[str] | None = None,
    states: Sequence[int] | None = None,
    folder: RunFolder | None = None,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> "dict[str, pd.DataFrame]":
    """Adaptive against fixed modulation: tables by name, see ``sim.modulation.tables``.

    Parameters
    ----------
    prepared : Prepared
    request : RunRequest
        Years, seed, block length and workers; its options must be those of ``prepared``.
    hops, states
        As for ``studied``.
    folder : RunFolder, optional
        Begun folder in which finished blocks are kept, and found again; none are kept unless stated.
    progress : callable
        Called with (years done, years in all).
    """
    from hopyears.sim.modulation.tables import study_tables

    years = request.block_years
    arguments = (prepared, request.seed, years, *studied(prepared, hops, states))

    def done(blocks: int, of_all: int) -> None:
        progress(blocks * years, of_all * years)

    if folder is None:
        numbers = range(request.n_blocks)
        findings = over_blocks(ModulationStudy, arguments, numbers, workers=request.workers, progress=done)
    else:
        fill_folder(folder, request.n_blocks, StoredStudy, arguments, workers=request.workers, progress=done)
        findings = [BlockFindings.from_arrow(folder.read_block(n)) for n in folder.finished_blocks()]
    return study_tables(prepared, findings, years)


def _hop_numbers(prepared: Prepared, hops: Sequence[str] | None) -> list[int]:
    ids = [design.hop.id for design in prepared.designs]
    if hops is None:
        return list(range(len(ids)))
    return sorted({place_among(ids, hop, "--hop", "all or a hop id") for hop in hops})
