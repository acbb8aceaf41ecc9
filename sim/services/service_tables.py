"""Tables of the services sweep: what changes while it runs, and its working space."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

_Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]

N_OUT, N_ROWS, N_RESULTS = range(3)
"""Places in ``Sweep.used``: entries written; row cells and results in use."""


class Sweep(NamedTuple):
    """What changes in a sweep. Tables have room to spare; the kernel stops when one needs more."""

    used: _Ints
    hop_state: _Ints  # by hop
    choice: _Ints  # by service: its route, or n_routes + the route being left
    group_word: NDArray[np.uint64]
    group_row: _Ints
    current: NDArray[np.int32]  # by service: its result
    since: _Floats  # by service: when that began
    row_of: Any  # numba's typed dict: word of a joint state -> its row
    row: NDArray[np.int32]  # rows: result of each service of the group
    number_of: Any  # likewise: service, kbit/s, and causes and down flag of each direction -> its number
    service: NDArray[np.int32]  # by result
    rate: _Floats  # (n, 2) as the rest
    down: NDArray[np.bool_]
    causes: _Ints
    seconds: _Floats
    out_time: _Floats
    out_service: NDArray[np.int16]
    out_result: NDArray[np.int32]


class Scratch(NamedTuple):
    """Working space of a judgement, by link direction, by flow or by service."""

    left: _Floats
    full: _Floats
    crossing: _Ints
    first: _Ints
    last: _Ints
    flows: _Ints
    rate: _Floats
    active: _Ints
    link_causes: _Ints
    touched: _Ints
    is_touched: NDArray[np.bool_]
