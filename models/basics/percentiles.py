"""Percentiles as their user writes them: values by per cent of the time."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray


def measured_points(
    by_percent: Mapping[str, float] | None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Fractions of the time, rising, and the values measured there, from {"0.01": 32.0}; None of nothing."""
    if by_percent is None:
        return None
    points = sorted((float(percent) / 100.0, value) for percent, value in by_percent.items())
    return np.array([p for p, _ in points]), np.array([value for _, value in points])
