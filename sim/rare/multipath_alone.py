"""What services lose to multipath alone: no rain falls, all equipment is in order, no work is planned."""

from hopyears.models.basics.intervals import Intervals
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.equipment.segments import nominal_segments
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.streams import Streams


def on_multipath_alone(
    simulator: BlockSimulator, streams: Streams, n_years: int, near: Intervals | None
) -> tuple[ServiceHistory, ...]:
    """Services of a network that nothing but bent beams disturbs; with a block's streams, by its own fades.

    Parameters
    ----------
    simulator : BlockSimulator
    streams : Streams
    n_years : int
    near : Intervals or None
        When a storm is near each site: no beam bends there then.
    """
    segments = tuple(nominal_segments(states) for states in simulator.states)
    draws = BlockDraws(
        streams=streams,
        n_years=n_years,
        field=None,
        storms_near=near,
        log=None,
        segments=segments,
        activity=simulator.activity(streams, n_years, near),
        fades=(),
    )
    hops = [simulator.bent(draws, index) for index in range(len(segments))]
    return simulator.services(hops, None, draws.duration_s)
