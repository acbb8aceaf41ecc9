"""A hop of one fixed modulation, as the study makes it and as a file states it."""

import numpy as np
from small_networks import hop, triangle

from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.modulation.fixed import fixed_design, nearest_step

STATES = 16


def test_a_file_set_fixed_has_the_thresholds_of_the_study():
    """What is left between the two is which fades are drawn, so chance."""
    hops = (hop("a-b", "a", "b", 7.0, antenna="large"),)
    adaptive = triangle(hops=hops, services=())
    radio = adaptive.radios[0].model_copy(update={"adaptive": False})
    as_stated = triangle(
        hops=tuple(each.model_copy(update={"reference_states": STATES}) for each in hops),
        radios=(radio,),
        services=(),
    )
    made, stated = (prepare(network, ModelOptions(failures=False)) for network in (adaptive, as_stated))
    design = fixed_design(made.designs[0], nearest_step(made.designs[0], STATES))
    mine, theirs = (
        HopThresholds(each, prepared.anchors[0], prepared.nights[0]).nominal
        for each, prepared in ((design, made), (stated.designs[0], stated))
    )
    assert np.array_equal(mine.rain_down_db, theirs.rain_down_db)
    assert np.array_equal(mine.rain_up_db, theirs.rain_up_db)
    for name in ("down", "up", "hold_s"):
        assert np.array_equal(getattr(mine.fades, name), getattr(theirs.fades, name))
