import numpy as np
import pytest
from reference import cases, rows

from models.objectives import (
    END_TO_END_SEVERELY_ERRORED_RATIO,
    Grade,
    availability_objective,
    grade_for,
    mean_time_to_restore_s,
    severely_errored_objective,
    unavailable_min_per_year,
)


def _objective(grade, length_km):
    part = grade.value
    return availability_objective(
        length_km,
        length_coefficient=part.length_coefficient,
        fixed_part=part.fixed_part,
        shortest_km=part.shortest_km,
    )


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "AR"))
def test_availability_ratio_against_the_table(row):
    given = row["inputs"]
    found = availability_objective(given["L_km"], length_coefficient=given["B"], fixed_part=given["C"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("availability_objectives.csv", "AR"))
def test_grades_carry_the_coefficients_of_the_table(row):
    given = row["inputs"]
    international = given["section"].startswith("international")
    grade = Grade.INTERNATIONAL if international else grade_for(given["L_km"], long_haul=True)
    assert _objective(grade, given["L_km"]) == pytest.approx(row["value"], rel=row["rel_tol"])


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
    for grade in Grade:
        found = _objective(grade, lengths)
        assert np.all(np.diff(found) <= 0.0)
        assert np.all((found > 0.99) & (found < 1.0))


def test_mean_time_to_restore():
    assert mean_time_to_restore_s(0.9999, 2.0) == pytest.approx(0.5 * 52.596 * 60)
    assert np.isnan(mean_time_to_restore_s(1.0, 0.0))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: grade_for(0.0, long_haul=True), "length_km is 0.0; must be above 0"),
        (lambda: availability_objective(-1.0, length_coefficient=0, fixed_part=0), "length_km is -1.0"),
        (
            lambda: availability_objective(1.0, length_coefficient=np.nan, fixed_part=0),
            "length_coefficient is nan",
        ),
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
