"""Long-run chances of a continuous-time Markov chain, from its transition rates."""

from collections.abc import Hashable, Mapping

import numpy as np
from quantecon.markov import gth_solve


def long_run(rates: Mapping[tuple[Hashable, Hashable], float]) -> dict[Hashable, float]:
    """Chance of each state, given the rate of each transition.

    Solved by quantecon's Grassmann-Taksar-Heyman elimination, which subtracts nothing and so keeps small
    chances to full relative precision.
    """
    states = sorted({state for pair in rates for state in pair}, key=str)
    index = {state: i for i, state in enumerate(states)}
    generator = np.zeros((len(states), len(states)))
    for (start, end), rate in rates.items():
        generator[index[start], index[end]] += rate
        generator[index[start], index[start]] -= rate
    return dict(zip(states, gth_solve(generator).tolist(), strict=True))
