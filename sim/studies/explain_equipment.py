"""What had failed, who mended it, and what power and switches did during one outage."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hopyears.models.basics.intervals import Intervals
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.equipment.failure_log import PHASES, FailureLog
from hopyears.sim.equipment.failure_tally import crew_names

_Window = tuple[float, float]


@dataclass(frozen=True)
class PartStory:
    """A failure in force during an outage.

    Attributes
    ----------
    part, kind, site : str
    causes : int
        Cause flags; with lightning where it struck.
    latent, affecting : bool
        Unseen at first; stops traffic.
    crew : str or None
        Who came; None for a remote repair or where nobody has been sent yet.
    failed_s, mended_s : float
        In the block; may begin before 0. At the end of the block where it was not over.
    over : bool
        It was mended within the block.
    phases_s : tuple of (phase, seconds)
        Where the time within the block went, of ``failure_log.PHASES``.
    """

    part: str
    kind: str
    site: str
    causes: int
    latent: bool
    affecting: bool
    crew: str | None
    failed_s: float
    mended_s: float
    over: bool
    phases_s: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class PowerStory:
    """A site without mains, without power, or under planned work: ``what`` says which."""

    site: str
    what: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class SwitchStory:
    """From ``time_s`` on, this radio (1 main, 2 standby; 0 none) transmits on a channel end of a hop."""

    time_s: float
    hop: str
    site: str
    channel: int
    radio: int


def part_stories(
    prepared: Prepared, log: FailureLog | None, crossed: Sequence[int], cards: Iterable[int], window: _Window
) -> tuple[PartStory, ...]:
    """Failures in force within a window [s] of any part that the crossed hops or the line cards need.

    The rectifiers of the hops' sites are among them: power depends on them.
    """
    if log is None:
        return ()
    plant = prepared.built.plant
    dependences = [prepared.built.hops[hop] for hop in crossed]
    needed = {part for hop in dependences for part in (*hop.own, *(each.part for each in hop.outside))}
    sites = {site for hop in dependences for site in hop.sites}
    supply = plant.supply_parts
    needed |= {i for i, part in enumerate(plant.parts) if supply[i] and part.site in sites}
    needed |= set(cards)
    failures, phases = log.failures, log.phases_s()
    names = crew_names(plant)
    stories = []
    for part in sorted(needed):
        for row in failures.rows_of(part):
            if failures.failed_s[row] >= window[1] or failures.mended_s[row] <= window[0]:
                continue
            crew = int(failures.crew[row])
            stories.append(
                PartStory(
                    part=plant.parts[part].id,
                    kind=plant.parts[part].kind,
                    site=plant.sites[plant.parts[part].site].id,
                    causes=int(failures.cause[row]),
                    latent=bool(failures.latent[row]),
                    affecting=bool(failures.affecting[row]),
                    crew=names[crew] if crew >= 0 else None,
                    failed_s=float(failures.failed_s[row]),
                    mended_s=float(failures.mended_s[row]),
                    over=bool(failures.mended_s[row] < log.duration_s),
                    phases_s=tuple(
                        (phase, float(spent)) for phase, spent in zip(PHASES, phases[row], strict=True)
                    ),
                )
            )
    return tuple(sorted(stories, key=lambda story: story.failed_s))


def power_stories(
    prepared: Prepared, log: FailureLog | None, crossed: Sequence[int], window: _Window
) -> tuple[PowerStory, ...]:
    """What befell the power of the sites of the crossed hops within a window [s], and planned work there."""
    if log is None:
        return ()
    plant = prepared.built.plant
    sites = sorted({site for hop in crossed for site in prepared.built.hops[hop].sites})
    kinds: tuple[tuple[str, Intervals], ...] = (
        ("mains lost", log.sites.mains_lost),
        ("without power", log.sites.power_down),
        ("planned work", log.sites.maintenance),
    )
    stories = [
        PowerStory(plant.sites[site].id, what, float(start_s), float(end_s))
        for site in sites
        for what, intervals in kinds
        for start_s, end_s in zip(*intervals.of(site), strict=True)
        if start_s < window[1] and end_s > window[0]
    ]
    return tuple(sorted(stories, key=lambda story: story.start_s))


def switch_stories(
    prepared: Prepared, log: FailureLog | None, crossed: Sequence[int], window: _Window
) -> tuple[SwitchStory, ...]:
    """Changes of transmitter on the crossed hops within a window [s], in order of time."""
    if log is None:
        return ()
    stories = []
    for hop in crossed:
        dependence = prepared.built.hops[hop]
        for end, groups in enumerate(dependence.groups):
            site = prepared.built.plant.sites[dependence.sites[end]].id
            for channel, group in enumerate(groups):
                if group < 0:
                    continue
                for time_s, chain in zip(*log.transmitters.of(group), strict=True):
                    if window[0] <= time_s <= window[1]:
                        stories.append(
                            SwitchStory(
                                float(time_s), prepared.designs[hop].hop.id, site, channel + 1, int(chain) + 1
                            )
                        )
    return tuple(sorted(stories, key=lambda story: story.time_s))
