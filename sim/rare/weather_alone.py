"""What is lost to multipath alone and to rain alone: all equipment is in order, no work is planned."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator, WetHours
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.rare.losses import Losses, losses_each
from hopyears.sim.streams import Streams

HOPS_AT_ONCE = 100
"""Hops whose nights are held at once; those of a history of 2,000 hops are 0.2 GiB."""


def multipath_draws(
    simulator: BlockSimulator,
    streams: Streams,
    n_years: int,
    wet: WetHours,
    among: Collection[int] | None = None,
) -> BlockDraws:
    """Draws, fades left out, of a network that only bent beams disturb; with a block's streams, its own.

    Parameters
    ----------
    simulator : BlockSimulator
    streams : Streams
    n_years : int
    wet : tuple of uint8 array or None
        As of the block's draws: no beam bends then.
    among : collection of int, optional
        Hops whose nights are drawn; all unless given.
    """
    segments = tuple(nominal_segments(states) for states in simulator.states)
    return BlockDraws(
        streams=streams,
        n_years=n_years,
        field=None,
        weather=None,
        wet=wet,
        log=None,
        segments=segments,
        activity=simulator.activity(streams, n_years, wet, among),
        fades=(),
    )


def losses_to_multipath(simulator: BlockSimulator, streams: Streams, n_years: int, wet: WetHours) -> Losses:
    """What such a network loses."""
    draws = multipath_draws(simulator, streams, n_years, wet, among=())

    def bent(some: range) -> list[HopHistory]:
        few = replace(draws, activity=simulator.activity(streams, n_years, wet, some))
        return [simulator.bent(few, index) for index in some]

    every = range(len(draws.segments))
    hops = [hop for first in every[::HOPS_AT_ONCE] for hop in bent(every[first : first + HOPS_AT_ONCE])]
    return next(losses_each(simulator, [hops], [None], draws.duration_s))


def losses_to_rain(simulator: BlockSimulator, hops: Sequence[HopHistory], n_years: int) -> Losses:
    """What a network loses that only rain disturbs, by the histories of its hops."""
    return next(losses_each(simulator, [hops], [None], n_years * SECONDS_PER_YEAR))
