"""A hop as it would be with one fixed modulation instead of adaptive modulation; all else is the same."""

from dataclasses import fields, replace

import numpy as np

from hopyears.models.basics.frozen import frozen
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.modulation_steps import Steps


def fixed_design(design: HopDesign, step: int) -> HopDesign:
    """The design with only one of its modulations.

    The radio then sends that modulation's power all the time and is used down to its threshold: no guard
    and no hysteresis, since there is nothing to step to.

    Parameters
    ----------
    design : HopDesign
    step : int
        Place of the modulation in ``design.steps``.

    Raises
    ------
    ValueError
        If the design has no such step.
    """
    if not 0 <= step < len(design.steps):
        raise ValueError(f"step is {step}; must be 0 to {len(design.steps) - 1}")
    one = slice(step, step + 1)
    steps = Steps(**{field.name: frozen(getattr(design.steps, field.name)[one]) for field in fields(Steps)})
    return replace(
        design,
        steps=steps,
        levels=replace(
            design.levels,
            threshold_dbm=frozen(design.levels.threshold_dbm[one]),
            received_level_dbm=frozen(design.levels.received_level_dbm[:, one]),
            margin_db=frozen(design.levels.margin_db[:, one]),
        ),
    )


def nearest_step(design: HopDesign, states: int) -> int:
    """Place of the modulation of so many states, or of the next lower one, or of the lowest there is."""
    not_above = np.flatnonzero(design.steps.states <= states)
    return int(not_above[-1]) if not_above.size else 0
