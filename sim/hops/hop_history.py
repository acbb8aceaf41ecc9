"""What a hop, or any link, offers over a block: numbered states in time, and what each number means."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints


@dataclass(frozen=True)
class HopHistory:
    """Piecewise-constant history of one hop; arrays are read-only.

    Parameters
    ----------
    time_s : float array, shape (n_changes,)
        When each state begins [s], not decreasing; the first is 0. Each lasts until the next.
    state : int array, shape (n_changes,)
        State that begins, 0 to n_states - 1.
    capacity_mbit_s : float array, shape (n_states, 2)
        Capacity of each state forward (from end a to end b) and backward [Mbit/s], at least 0.
    causes : int array, shape (n_states,)
        Cause flags (``models.judging.cause.Cause``) of whatever keeps the hop below its full capacity; 0 at
        full capacity.
    levels : int array, shape (n_states, n_channel_directions)
        Usable modulations of each channel-direction, 0 (down) to M; none for a link without channels.

    Raises
    ------
    ValueError
        If shapes do not fit, time goes back, or a state or a capacity is impossible.
    """

    time_s: Floats
    state: NDArray[np.int32]
    capacity_mbit_s: Floats
    causes: Ints
    levels: Ints = field(default_factory=lambda: np.empty((0, 0), dtype=np.int64))

    def __post_init__(self) -> None:
        n_states = self.causes.size
        if self.time_s.shape != self.state.shape or self.time_s.size == 0 or self.time_s[0] != 0.0:
            raise ValueError("time_s does not begin at 0 with one state each; must")
        if self.capacity_mbit_s.shape != (n_states, 2):
            raise ValueError(
                f"capacity_mbit_s is of shape {self.capacity_mbit_s.shape}; must be ({n_states}, 2)"
            )
        if self.state.min() < 0 or self.state.max() >= n_states:
            raise ValueError(
                f"state is {self.state.min()} to {self.state.max()}; must be 0 to {n_states - 1}"
            )
        if not ((self.capacity_mbit_s >= 0.0) & (self.capacity_mbit_s < np.inf)).all():
            raise ValueError("capacity_mbit_s holds a negative or unbounded value; must be at least 0")
        if (self.time_s[1:] < self.time_s[:-1]).any():
            raise ValueError("time_s goes back; must not decrease")
        for array in (self.time_s, self.state, self.capacity_mbit_s, self.causes, self.levels):
            array.setflags(write=False)


def side_by_side(hops: Sequence[HopHistory]) -> HopHistory:
    """History of hops that share their load as one link: capacities add, causes are those of any.

    Parameters
    ----------
    hops : sequence of HopHistory
        At least one.
    """
    time_s = np.unique(np.concatenate([hop.time_s for hop in hops]))
    at = np.stack([hop.state[np.searchsorted(hop.time_s, time_s, side="right") - 1] for hop in hops])
    states, state = np.unique(at, axis=1, return_inverse=True)
    capacity = np.zeros((states.shape[1], 2))
    causes = np.zeros(states.shape[1], dtype=np.int64)
    for hop, own in zip(hops, states, strict=True):
        capacity += hop.capacity_mbit_s[own]
        causes |= hop.causes[own]
    return HopHistory(time_s, state.reshape(-1).astype(np.int32), capacity, causes)
