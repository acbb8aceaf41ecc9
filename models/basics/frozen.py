"""Read-only arrays."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_T = TypeVar("_T", bound=np.generic)


def frozen(values: NDArray[_T]) -> NDArray[_T]:
    """The array itself, from now on read-only."""
    values.setflags(write=False)
    return values
