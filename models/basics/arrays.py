"""Names of the arrays that functions take and give; their docstrings tell shapes and units."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """An array in C order that cannot be written: of one type for a loop, whoever else may write to it."""
    view = np.ascontiguousarray(array).view()
    view.setflags(write=False)
    return view
