"""Decibels: powers of ten by definition (ISO 80000-3, level of a power quantity)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.basics.units import db_from_ratio, ratio_from_db


def test_known_levels():
    assert ratio_from_db([-30.0, 0.0, 3.0103, 10.0, 20.0]) == pytest.approx([0.001, 1, 2, 10, 100], rel=1e-5)
    assert db_from_ratio([0.001, 1.0, 2.0, 10.0]) == pytest.approx([-30.0, 0.0, 3.0103, 10.0], abs=1e-4)
    assert db_from_ratio(0.0) == -np.inf


@given(st.floats(-200.0, 200.0))
def test_there_and_back(level_db):
    assert db_from_ratio(ratio_from_db(level_db)) == pytest.approx(level_db, abs=1e-9)
