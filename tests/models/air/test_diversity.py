"""Dispersive outage and diversity against published formulas' values (ITU-R P.530-17, -18, section 6)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import cases

from hopyears.models.air import diversity
from hopyears.models.air.receiver_lines import LineSet, displacement_factor, line_set

TABLE = "p530_selective_diversity"


@pytest.mark.parametrize("row", cases(TABLE, "eta"))
def test_activity(row):
    assert diversity.activity(row["inputs"]["P0"]) == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "tau_m"))
def test_mean_delay(row):
    assert diversity.mean_delay_ns(row["inputs"]["d_km"]) == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "P_s"))
def test_signature_outage(row):
    given = row["inputs"]
    found = diversity.signature_outage(
        given["P0"],
        width_ghz=given["W_GHz"],
        depth_db=given["B_M_dB"],
        depth_nonminimum_db=given["B_NM_dB"],
        path_length_km=given["d_km"],
        reference_delay_ns=given["tau_r_ns"],
    )
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def two_receivers(given, constant, depth_db, gain_difference_db=0.0):
    """Every step of P.530 6.2.5.1 by our functions, by the names of the table's quantities."""
    p0 = given["P0"]
    flat = p0 * 10.0 ** (-depth_db / 10.0)
    dispersive = diversity.signature_outage(
        p0, width_ghz=given["W_GHz"], depth_db=given["B_dB"], path_length_km=given["d_km"]
    )
    seen = constant * 10.0 ** (-gain_difference_db / 10.0)
    ns2 = diversity.correlation_ns2(seen, p0)
    steps = {
        "I_ns": diversity.improvement(constant, depth_db, gain_difference_db),
        "eta": diversity.activity(p0),
        "kns2": ns2,
        "rw": diversity.correlation_w(ns2),
        "ks2": diversity.correlation_s2(diversity.correlation_w(ns2)),
        "Pdns": flat / diversity.improvement(constant, depth_db, gain_difference_db),
        "Pds": diversity.dispersive_outage_with_diversity(dispersive, ns2, p0),
    }
    steps["Pd"] = diversity.combined_outage(steps["Pdns"], steps["Pds"])
    return steps, flat, dispersive


def space_of(given):
    return diversity.space_constant(
        given["S_m"], frequency_ghz=given["f_GHz"], path_length_km=given["d_km"], occurrence=given["P0"]
    )


def frequency_of(given):
    return diversity.frequency_constant(
        given["df_GHz"], frequency_ghz=given["f_GHz"], path_length_km=given["d_km"]
    )


@pytest.mark.parametrize("row", cases(TABLE, topic="P.530 space diversity"))
def test_space_diversity(row):
    given = row["inputs"]
    steps, _, _ = two_receivers(given, space_of(given), given["A_dB"], given["V_dB"])
    assert steps[row["quantity"]] == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, topic="P.530 frequency diversity"))
def test_frequency_diversity(row):
    steps, _, _ = two_receivers(row["inputs"], frequency_of(row["inputs"]), row["inputs"]["F_dB"])
    assert steps[row["quantity"]] == pytest.approx(row["value"], rel=row["rel_tol"])


def test_agrees_with_the_textbook_improvement_within_the_spread_of_the_laws():
    """Vigants 1975 and P.530 are two fits to like measurements: within a factor of 4 on the table's paths."""
    for row in (case.values[0] for case in cases(TABLE, "I_space")):
        given = row["inputs"]
        p0 = 6e-7 * given["f_GHz"] * given["d_km"] ** 3
        constant = diversity.space_constant(
            given["S_m"], frequency_ghz=given["f_GHz"], path_length_km=given["d_km"], occurrence=p0
        )
        ours = diversity.improvement(constant, given["A_dB"], given["V_dB"])
        assert 0.25 < ours / row["value"] < 4.0


@given(space=st.floats(1e-4, 0.9), frequency=st.floats(1e-5, 0.05), p0=st.floats(1e-3, 0.5))
def test_two_differences_are_worth_more_than_either_and_less_than_their_sum(space, frequency, p0):
    both = diversity.combined_constant(space, frequency, p0)
    limit = diversity.activity(p0) / p0
    assert both >= min(max(space, frequency), limit) * (1 - 1e-9)
    assert both <= (space + frequency) * (1 + 1e-9)


def four_lines(gathering=(0.0, 0.0), p0=0.05):
    return line_set(
        ["low/main", "low/second", "high/main", "high/second"],
        frequency_ghz=[7.0, 7.0, 7.1, 7.1],
        height_a_m=[40.0, 40.0, 40.0, 40.0],
        height_b_m=[60.0, 50.0, 60.0, 50.0],
        path_length_km=45.0,
        occurrence=p0,
        gathering=gathering,
    )


def test_structure_constants_are_the_improvement_constants_of_the_pairs():
    lines = four_lines()
    space = diversity.space_constant(10.0, frequency_ghz=7.0, path_length_km=45.0, occurrence=0.05)
    frequency = diversity.frequency_constant(0.1, frequency_ghz=7.05, path_length_km=45.0)
    assert lines.flat[1, 0, 1] == pytest.approx(space)
    assert lines.flat[1, 0, 2] == pytest.approx(frequency)
    # P.530-17 6.2.5, of the selective part: (1 - k_s^2) of the activity, per occurrence.
    selective = diversity.correlation_s2(
        diversity.correlation_w(diversity.correlation_ns2(np.array([space, frequency]), 0.05))
    )
    assert lines.dispersive[1, 0, [1, 2]] == pytest.approx(diversity.activity(0.05) * (1 - selective) / 0.05)
    assert lines.flat[1, 0, 3] == pytest.approx(
        diversity.combined_constant(
            diversity.space_constant(10.0, frequency_ghz=7.05, path_length_km=45.0, occurrence=0.05),
            frequency,
            0.05,
        )
    )
    assert np.array_equal(lines.flat, lines.flat.transpose(0, 2, 1))
    assert not lines.flat.diagonal(axis1=1, axis2=2).any()


def test_chance_meetings_are_taken_off():
    plain, corrected = four_lines(), four_lines(gathering=(8.0, 20.0))
    off = ~np.eye(4, dtype=bool)
    for month, gathering in enumerate((8.0, 20.0)):
        kept = 1.0 / plain.flat[month][off] - 0.05 * gathering
        assert 1.0 / corrected.flat[month][off] == pytest.approx(kept)


@pytest.mark.parametrize("anchor", range(4))
def test_displacements_have_the_structure_asked_for(anchor):
    constants = four_lines().flat[0]
    factor = displacement_factor(constants, anchor)
    others = np.delete(np.arange(4), anchor)
    covariance = factor @ factor.T
    spread = np.diag(covariance)
    between = spread[:, None] + spread[None, :] - 2.0 * covariance
    assert spread == pytest.approx(constants[anchor, others])
    assert between == pytest.approx(constants[np.ix_(others, others)], abs=1e-12)
    assert np.array_equal(factor, np.tril(factor))


def test_a_line_added_at_the_end_moves_no_other():
    constants = four_lines().flat[1]
    whole = displacement_factor(constants, 0)
    assert displacement_factor(constants[:3, :3], 0) == pytest.approx(whole[:2, :2])


def test_impossible_structures_keep_their_distance_from_the_anchor():
    impossible = np.array([[0, 1.0, 1.0], [1.0, 0, 9.0], [1.0, 9.0, 0]])
    factor = displacement_factor(impossible, 0)
    assert np.diag(factor @ factor.T) == pytest.approx([1.0, 1.0])


def test_line_set_refuses_what_does_not_fit():
    with pytest.raises(ValueError, match=r"ids is .*must be one or more different names"):
        LineSet(("a", "a"), np.zeros((2, 2, 2)), np.zeros((2, 2, 2)))
    with pytest.raises(ValueError, match=r"flat is .*must be two squares of 1 lines"):
        LineSet(("a",), np.zeros((1, 1)), np.zeros((2, 1, 1)))
