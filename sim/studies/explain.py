"""Opens single outages of a run: its worst ones, and the whole story of one, from its block simulated again.

The block is drawn from the run's own seed, so storm, cells, failures and fades are those that made the
outage; the outage found again must be the one that was stored. Nothing is printed here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hopyears.models.basics.calendar import Date, date_of
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.counting.tally_rows import Block, outage_rows, three_ways
from hopyears.sim.hops.hop import hop_history
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.services.service import routes_in_use
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.studies.explain_equipment import (
    PartStory,
    PowerStory,
    SwitchStory,
    part_stories,
    power_stories,
    switch_stories,
)
from hopyears.sim.studies.explain_hops import HopStory, StormStory, hop_stories, storm_stories
from hopyears.sim.studies.explain_timeline import Step, timeline

BESIDE = " + "
"""Between the names of hops that share their load."""

MARGIN_S = 60.0
"""The timeline begins this long before the outage and ends this long after it."""


@dataclass(frozen=True)
class Outage:
    """One outage of a service, both ways together.

    Attributes
    ----------
    block : int
    start_s, duration_s : int
        Second of the block in which it begins, and its length.
    causes : int
        Flags of all causes met in it.
    date : Date
        Of its beginning; years are counted through the run, from 1.
    """

    block: int
    start_s: int
    duration_s: int
    causes: int
    date: Date

    @property
    def end_s(self) -> int:
        """Second of the block in which it is over."""
        return self.start_s + self.duration_s


@dataclass(frozen=True)
class Story:
    """All that is known about one outage.

    Attributes
    ----------
    service : str
    needed_mbit_s, peak_mbit_s : float
        Rate below which a direction is down; rate asked for. Both at full demand, of the direction that asks
        for more.
    by_the_hour : bool
        Whether demand follows the hours, and both rates with it.
    outage : Outage
    routes : tuple of tuples of str
        Hops of each route that the service may take, the working one first; the hops of a bundle as one, with
        ``BESIDE`` between them.
    hops : tuple of HopStory
        Every hop of these routes that was not at its best during the outage.
    storms : tuple of StormStory
        Storms behind the rain on those hops.
    parts : tuple of PartStory
        Failures in force during the outage on which a hop of the routes depends.
    power : tuple of PowerStory
    switches : tuple of SwitchStory
    timeline : tuple of Step
    shares : tuple of (causes, share)
        Share of the outage's time under each exact set of cause flags, the largest first; they sum to 1.
    """

    service: str
    needed_mbit_s: float
    peak_mbit_s: float
    by_the_hour: bool
    outage: Outage
    routes: tuple[tuple[str, ...], ...]
    hops: tuple[HopStory, ...]
    storms: tuple[StormStory, ...]
    parts: tuple[PartStory, ...]
    power: tuple[PowerStory, ...]
    switches: tuple[SwitchStory, ...]
    timeline: tuple[Step, ...]
    shares: tuple[tuple[int, float], ...]


def worst_outages(run: OpenedRun, service_id: str, n: int) -> list[Outage]:
    """The longest outages of a service over the finished blocks of a run, longest first.

    Parameters
    ----------
    run : OpenedRun
    service_id : str
    n : int
        At most so many, at least 1.

    Raises
    ------
    InputError
        If the run has no such service.
    """
    service_index = run.service_index(service_id)
    found: list[Outage] = []
    for block in run.folder.finished_blocks():
        table = run.folder.read_table(block, "service_outage").to_pandas()
        for row in table[table["entity"] == service_index].itertuples():
            start_s = int(row.start_s)
            date = date_of(start_s, first_year=1 + block * run.block_years)
            found.append(Outage(block, start_s, round(row.duration_s), int(row.causes), date))
    found.sort(key=lambda outage: (-outage.duration_s, outage.block, outage.start_s))
    return found[:n]


@dataclass(frozen=True)
class Reopened:
    """A block simulated again, in which an outage was found as it was stored.

    Attributes
    ----------
    run : OpenedRun
    outage : Outage
    service_index : int
        Of the outage.
    simulator : BlockSimulator
    draws : BlockDraws
    hops : sequence of HopHistory
    services : sequence of ServiceHistory
        With their rates recorded.
    """

    run: OpenedRun
    outage: Outage
    service_index: int
    simulator: BlockSimulator
    draws: BlockDraws
    hops: Sequence[HopHistory]
    services: Sequence[ServiceHistory]


def reopen(run: OpenedRun, service_id: str, outage: Outage) -> Reopened:
    """Simulate the block of an outage again.

    Raises
    ------
    InputError
        If it does not hold the outage then: the program itself has changed since.
    """
    service_index = run.service_index(service_id)
    simulator = BlockSimulator(run.prepared)
    draws = simulator.draw(run.seed, outage.block, run.block_years)
    hops = [
        hop_history(
            simulator.thresholds[i], segments, simulator.rain(draws, i), draws.fades[i], draws.duration_s
        )
        for i, segments in enumerate(draws.segments)
    ]
    services = simulator.services(hops, draws.log, draws.duration_s, record_rates=True)
    _check_same(run, services[service_index], service_index, outage)
    return Reopened(run, outage, service_index, simulator, draws, hops, services)


def explain(run: OpenedRun, service_id: str, outage: Outage) -> Story:
    """The story of one outage: its block is simulated again, and everything around the outage looked up.

    Raises
    ------
    InputError
        As ``reopen``.
    """
    return story_of(reopen(run, service_id, outage))


def _check_same(run: OpenedRun, service: ServiceHistory, service_index: int, outage: Outage) -> None:
    lost = three_ways(service, service.duration_s)[2]
    keys, values = outage_rows(service_index, lost, Block(outage.block, run.block_years))
    same = (keys[:, 2] == outage.start_s) & (values[:, 0] == outage.duration_s)
    if not same.any():
        raise InputError(
            f"{run.folder.path}: block {outage.block} simulated again has no such outage; must be made by "
            "this very program. Simulate the network anew"
        )


def story_of(opened: Reopened) -> Story:
    """Everything around an outage in its block."""
    run, simulator, draws, hops = opened.run, opened.simulator, opened.draws, opened.hops
    outage, service_index = opened.outage, opened.service_index
    service = opened.services[service_index]
    prepared = run.prepared
    demand = prepared.demands[service_index]
    window = (float(outage.start_s), float(outage.end_s))
    crossed = prepared.hops_crossed(service_index)
    touched = hop_stories(simulator, draws, hops, crossed, window)
    cards = {link for route in demand.routes for link, _ in route if link >= len(hops)}
    card_parts = [prepared.line_cards[link - len(hops)] for link in sorted(cards)]
    links = simulator.links(hops, draws.log)
    around = (window[0] - MARGIN_S, window[1] + MARGIN_S)
    return Story(
        service=demand.id,
        needed_mbit_s=demand.needed_mbit_s,
        peak_mbit_s=max(demand.peak_ways_mbit_s),
        by_the_hour=demand.clock is not None,
        outage=outage,
        routes=tuple(
            tuple(
                BESIDE.join(prepared.designs[hop].hop.id for hop in link)
                for link in prepared.hops_along(route)
            )
            for route in demand.routes
        ),
        hops=touched,
        storms=storm_stories(simulator, draws, touched),
        parts=part_stories(prepared, draws.log, crossed, card_parts, window),
        power=power_stories(prepared, draws.log, crossed, window),
        switches=switch_stories(prepared, draws.log, crossed, around),
        timeline=timeline(
            service,
            routes_in_use(links, prepared.demands, draws.duration_s, links=prepared.links)[service_index],
            len(demand.routes),
            [(prepared.designs[story.index], hops[story.index]) for story in touched],
            around,
        ),
        shares=cause_shares(service, outage),
    )


def cause_shares(service: ServiceHistory, outage: Outage) -> tuple[tuple[int, float], ...]:
    """Share of an outage's time under each exact set of cause flags, the largest first."""
    lost = three_ways(service, service.duration_s)[2]
    inside = (lost.start_s >= outage.start_s) & (lost.end_s <= outage.end_s)
    spent: dict[int, float] = {}
    for causes, start_s, end_s in zip(
        lost.causes[inside], lost.start_s[inside], lost.end_s[inside], strict=True
    ):
        spent[int(causes)] = spent.get(int(causes), 0.0) + float(end_s - start_s)
    whole = sum(spent.values())
    return tuple((causes, s / whole) for causes, s in sorted(spent.items(), key=lambda each: -each[1]))
