"""What services lose to multipath alone: no rain falls, all equipment is in order, no work is planned."""

from dataclasses import replace

from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.hops.hop import hop_history
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.streams import Streams


def multipath_draws(
    simulator: BlockSimulator, streams: Streams, n_years: int, field: RainField | None
) -> BlockDraws:
    """Draws of a network that nothing but bent beams disturbs; with a block's streams, its own fades.

    Parameters
    ----------
    simulator : BlockSimulator
    streams : Streams
    n_years : int
    field : RainField or None
        The block's rain: no beam bends near it.
    """
    segments = tuple(nominal_segments(states) for states in simulator.states)
    draws = BlockDraws(
        streams=streams,
        n_years=n_years,
        field=None,
        storms_near=None,
        log=None,
        segments=segments,
        activity=simulator.activity(streams, n_years, field),
        fades=(),
    )
    fades = tuple(
        simulator.fades(draws, index, *thresholds.highest_power(own.states))
        for index, (thresholds, own) in enumerate(zip(simulator.thresholds, segments, strict=True))
    )
    return replace(draws, fades=fades)


def on_multipath_alone(simulator: BlockSimulator, draws: BlockDraws) -> tuple[ServiceHistory, ...]:
    """Services of a network with such draws."""
    hops = [
        hop_history(thresholds, segments, None, fades, draws.duration_s)
        for thresholds, segments, fades in zip(simulator.thresholds, draws.segments, draws.fades, strict=True)
    ]
    return simulator.services(hops, None, draws.duration_s)
