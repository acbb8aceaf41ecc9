"""What services lose to multipath alone: no rain falls, all equipment is in order, no work is planned."""

from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.streams import Streams


def on_multipath_alone(
    simulator: BlockSimulator, streams: Streams, n_years: int, field: RainField | None
) -> tuple[ServiceHistory, ...]:
    """Services of a network that nothing but bent beams disturbs; with a block's streams, by its own fades.

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
    hops = [simulator.bent(draws, index) for index in range(len(segments))]
    return simulator.services(hops, None, draws.duration_s)
