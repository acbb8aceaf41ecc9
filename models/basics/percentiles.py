"""Percentiles as their user writes them: values by per cent of the time."""

from collections.abc import Mapping

import numpy as np

from hopyears.models.basics.arrays import Floats


def measured_points(by_percent: Mapping[str, float] | None) -> tuple[Floats, Floats] | None:
    """Fractions of the time, rising, and the values measured there, from {"0.01": 32.0}; None of nothing."""
    if by_percent is None:
        return None
    points = sorted((float(percent) / 100.0, value) for percent, value in by_percent.items())
    return np.array([p for p, _ in points]), np.array([value for _, value in points])
