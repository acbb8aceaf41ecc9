import numpy as np
import pytest
from reference import cases, rows

from hopyears.models.judging.objectives import (
    ACCESS,
    END_TO_END_SEVERELY_ERRORED_RATIO,
    LONG_HAUL,
    LONG_HAUL_SHORT,
    SHORT_HAUL,
    Portion,
    portion_of,
    severely_errored_objective,
    unavailable_min_per_year,
)


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "AR"))
def test_availability_ratio_against_the_table(row):
    given = row["inputs"]
    found = Portion("of the table", given["B"], given["C"]).availability(given["L_km"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "AR"))
def test_long_haul_carries_the_coefficients_of_the_table(row):
    length_km = row["inputs"]["L_km"]
    found = portion_of("long haul", length_km).availability(length_km)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_portions_of_grades():
    assert portion_of("long haul", 249.9) is LONG_HAUL_SHORT
    assert portion_of("long haul", 250.0) is LONG_HAUL
    for length_km in (1.0, 1000.0):
        assert portion_of("short haul", length_km) is SHORT_HAUL
        assert portion_of("access", length_km) is ACCESS


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "unavailable_min_per_year"))
def test_minutes_a_year(row):
    found = unavailable_min_per_year(row["inputs"]["availability"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "SESR_access_or_short_haul"))
def test_severely_errored_ratio_of_access_and_short_haul(row):
    found = severely_errored_objective(30.0, long_haul=False, allocation=row["inputs"]["C"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_end_to_end_ratio():
    for row in rows("availability_objectives.csv", "SESR end-to-end 27500 km"):
        assert row["value"] == END_TO_END_SEVERELY_ERRORED_RATIO


def test_long_haul_ratio_grows_with_length():
    found = severely_errored_objective([0.0, 500.0, 2500.0], long_haul=True)
    np.testing.assert_allclose(found, 0.002 * np.array([0.02, 0.03, 0.07]))


def test_objective_is_looser_for_longer_paths():
    lengths = np.linspace(1.0, 2500.0, 200)
    for portion in (ACCESS, SHORT_HAUL, LONG_HAUL_SHORT, LONG_HAUL):
        found = portion.availability(lengths)
        assert np.all(np.diff(found) <= 0.0)
        assert np.all((found > 0.99) & (found < 1.0))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ACCESS.availability(-1.0), "length_km is -1.0; must be at least 0"),
        (lambda: ACCESS.availability(np.nan), "length_km is nan; must be at least 0"),
        (lambda: severely_errored_objective(-1.0, long_haul=True), "length_km is -1.0; must be at least 0"),
        (
            lambda: severely_errored_objective(1.0, long_haul=True, allocation=2.0),
            "allocation is 2.0; must be 0",
        ),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
