"""Closed forms against published values, against solved Markov chains, and against counting every state."""

from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markov import long_run
from reference import cases

from hopyears.models.equipment.hardware import Mounting, parts_of_hop
from hopyears.models.equipment.link_states import best_transmitting, link_state, link_structure
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.equipment.series_parallel import (
    cold_pair_unavailability,
    equipment_unavailability,
    hot_pair_mean_time_to_failure_h,
    hot_pair_outages_per_year,
    hot_pair_unavailability,
    imperfect_switch_unavailability,
    k_of_n_unavailability,
    latent_standby_unavailability,
    machine_repair,
    parallel_unavailability,
    series_availability,
    series_unavailability,
    spare_channel_unavailability,
    unit_unavailability,
)
from hopyears.models.radio.scheme import parse_scheme

Row = dict[str, Any]
TABLE = "reliability.csv"


def times(row: Row) -> dict[str, float]:
    return {"mtbf_h": row["inputs"]["MTBF_h"], "mttr_h": row["inputs"]["MTTR_h"]}


# Each function of this module beside the quantity of the table that it gives; sources stand in the table.
FORMULAS = {
    "series_A": lambda row: series_availability(row["inputs"]["A"]),
    "parallel_U": lambda row: parallel_unavailability([1 - a for a in row["inputs"]["A"]]),
    "single_U": lambda row: unit_unavailability(**times(row)),
    "hot_1+1_U": lambda row: hot_pair_unavailability(**times(row), crews=row["inputs"]["crews"]),
    "hot_1+1_outages_per_year": lambda row: hot_pair_outages_per_year(
        **times(row), crews=row["inputs"]["crews"]
    ),
    "cold_1+1_U": lambda row: cold_pair_unavailability(**times(row), crews=row["inputs"]["crews"]),
    "hot_1+1_MTTF_from_full": lambda row: hot_pair_mean_time_to_failure_h(**times(row)),
    "imperfect_switch_1+1_U": lambda row: imperfect_switch_unavailability(
        **times(row),
        coverage=row["inputs"]["coverage"],
        manual_switch_h=row["inputs"]["manual_switch_h"],
        crews=row["inputs"]["crews"],
    ),
    "latent_standby_1+1_U": lambda row: latent_standby_unavailability(
        **times(row),
        mean_time_to_detect_h=row["inputs"]["mean_time_to_detect_h"],
        crews=row["inputs"]["crews"],
    ),
    "N+1_channel_U": lambda row: spare_channel_unavailability(
        row["inputs"]["N"], unit_unavailability(**times(row))
    ),
    "N+1_P_more_than_one_failed": lambda row: k_of_n_unavailability(
        row["inputs"]["N"], [unit_unavailability(**times(row))] * (row["inputs"]["N"] + 1)
    ),
} | {
    quantity: lambda row, field=field: getattr(
        machine_repair(**times(row), n_units=row["inputs"]["N"], crews=row["inputs"]["crews"]), field
    )
    for quantity, field in {
        "repairshop_unit_U": "unavailability",
        "repairshop_mean_failed": "mean_failed",
        "repairshop_mean_down_time": "mean_down_h",
        "repairshop_P_all_up": "all_up",
        "repairshop_Wq": "mean_wait_h",
    }.items()
}


@pytest.mark.parametrize("row", cases(TABLE))
def test_published_values(row: Row) -> None:
    assert FORMULAS[row["quantity"]](row) == pytest.approx(row["value"], rel=row["rel_tol"])


rates = st.tuples(st.floats(1e2, 1e6), st.floats(0.5, 1e3))
"""Mean time between failures and mean time to repair [h]."""


@given(rates, st.integers(1, 2), st.floats(0.0, 1.0), st.floats(0.05, 100.0))
def test_imperfect_switch_is_the_solved_chain(
    mean: tuple[float, float], crews: int, coverage: float, manual_h: float
) -> None:
    failure, repair = 1 / mean[0], 1 / mean[1]
    chances = long_run({
        ("both", "one"): failure * (1 + coverage), ("both", "stuck"): failure * (1 - coverage),
        ("stuck", "one"): 1 / manual_h, ("one", "both"): repair, ("one", "none"): failure,
        ("none", "one"): crews * repair,
    })  # fmt: skip
    found = imperfect_switch_unavailability(*mean, coverage=coverage, manual_switch_h=manual_h, crews=crews)
    assert found == pytest.approx(chances["stuck"] + chances["none"], rel=1e-9)
    if coverage == 1.0:
        assert found == pytest.approx(hot_pair_unavailability(*mean, crews=crews), rel=1e-9)


@given(rates, st.integers(1, 2), st.floats(1.0, 1e4))
def test_latent_standby_is_the_solved_chain(mean: tuple[float, float], crews: int, detect_h: float) -> None:
    failure, repair = 1 / mean[0], 1 / mean[1]
    chances = long_run({
        ("both", "silent"): failure, ("both", "one"): failure, ("silent", "one"): 1 / detect_h,
        ("silent", "none"): failure, ("one", "both"): repair, ("one", "none"): failure,
        ("none", "one"): crews * repair,
    })  # fmt: skip
    found = latent_standby_unavailability(*mean, mean_time_to_detect_h=detect_h, crews=crews)
    assert found == pytest.approx(chances["none"], rel=1e-9)
    assert found > hot_pair_unavailability(*mean, crews=crews)


@given(rates, st.integers(1, 2))
def test_pairs_are_the_solved_chains(mean: tuple[float, float], crews: int) -> None:
    failure, repair = 1 / mean[0], 1 / mean[1]
    hot = long_run({(2, 1): 2 * failure, (1, 2): repair, (1, 0): failure, (0, 1): crews * repair})
    assert hot_pair_unavailability(*mean, crews=crews) == pytest.approx(hot[0], rel=1e-9)
    cold = long_run({(2, 1): failure, (1, 2): repair, (1, 0): failure, (0, 1): crews * repair})
    assert cold_pair_unavailability(*mean, crews=crews) == pytest.approx(cold[0], rel=1e-9)


@given(rates, st.integers(1, 12), st.integers(1, 4))
def test_machine_repair_is_the_solved_chain(mean: tuple[float, float], n_units: int, crews: int) -> None:
    failure, repair = 1 / mean[0], 1 / mean[1]
    chain = {(k, k + 1): (n_units - k) * failure for k in range(n_units)}
    chain |= {(k + 1, k): min(k + 1, crews) * repair for k in range(n_units)}
    chances = long_run(chain)
    found = machine_repair(*mean, n_units=n_units, crews=crews)
    assert found.mean_failed == pytest.approx(sum(k * p for k, p in chances.items()), rel=1e-9)
    assert found.all_up == pytest.approx(chances[0], rel=1e-9)
    # Little's law: parts down are failures per hour times hours down.
    rate = failure * (n_units - found.mean_failed)
    assert found.mean_failed == pytest.approx(rate * found.mean_down_h, rel=1e-9)
    if crews >= n_units:
        assert found.unavailability == pytest.approx(unit_unavailability(*mean), rel=1e-9)


chance = st.floats(0.0, 1.0)


@given(st.lists(chance, min_size=1, max_size=7), st.data())
def test_k_of_n_counts_every_state(chances: list[float], data: st.DataObject) -> None:
    needed = data.draw(st.integers(0, len(chances)))
    total = 0.0
    for ups in product((False, True), repeat=len(chances)):
        if sum(ups) < needed:
            total += np.prod([1 - u if up else u for u, up in zip(chances, ups, strict=True)])
    assert k_of_n_unavailability(needed, chances) == pytest.approx(total, abs=1e-12)
    assert k_of_n_unavailability(len(chances), chances) == pytest.approx(
        series_unavailability(chances), abs=1e-12
    )
    assert k_of_n_unavailability(1, chances) == pytest.approx(parallel_unavailability(chances), abs=1e-12)


def test_series_keeps_small_unavailabilities() -> None:
    assert series_unavailability([1e-17, 2e-17]) == pytest.approx(3e-17, rel=1e-12)
    assert series_unavailability([0.5, 1.0]) == 1.0


LARGE = {
    "antenna": 0.02,
    "coupler": 0.05,
    "waveguide": 0.04,
    "outdoor_radio": 0.1,
    "cable": 0.03,
    "modem_card": 0.08,
}


def counted(form: str, ends: tuple[dict[str, float], dict[str, float]], mounting: Mounting) -> float:
    """Second opinion: every combination of parts, judged by the equipment state that it leaves."""
    scheme = parse_scheme(form)
    parts = parts_of_hop("hop", scheme, mounting)
    structure = link_structure(scheme, parts)
    chances = [ends[part.end][part.kind] for part in parts]
    open_parts = [i for i, chance in enumerate(chances) if chance > 0]
    total = 0.0
    for downs in product((False, True), repeat=len(open_parts)):
        down = sum(1 << i for i, is_down in zip(open_parts, downs, strict=True) if is_down)
        up = structure.all_up & ~down
        state = link_state(structure, up, best_transmitting(structure, up))
        both_ways = {
            c: all(
                any(state.line_up[x.index] for x in structure.lines if (x.channel, x.direction) == (c, d))
                for d in (0, 1)
            )
            for c in range(scheme.n_channels)
        }
        if sum(both_ways.values()) < scheme.working:
            total += np.prod([
                chances[i] if is_down else 1 - chances[i]
                for i, is_down in zip(open_parts, downs, strict=True)
            ])  # fmt: skip
    return total


@pytest.mark.parametrize(
    ("form", "perfect"),
    [
        ("1+0", ()),
        ("1+1 HSB", ("cable", "modem_card", "waveguide")),
        ("1+1 FD", ("cable", "modem_card", "waveguide")),
        ("1+1 SD", ("cable", "modem_card", "waveguide")),
        ("1+1 SD+FD", ("cable", "modem_card", "coupler")),
        ("1+0 SD", ("cable", "modem_card", "coupler")),
        ("2+0 XPIC", ("cable", "modem_card", "waveguide")),
        ("2+1", ("cable", "modem_card", "waveguide")),
        ("1+1 XPIC", ("cable", "modem_card", "waveguide")),
        ("2+1 DP", ("cable", "modem_card", "antenna", "waveguide")),
    ],
)
def test_equipment_of_a_hop_is_the_count_of_all_its_states(form: str, perfect: tuple[str, ...]) -> None:
    chances = LARGE | dict.fromkeys(perfect, 0.0)
    better = {kind: u / 3 for kind, u in chances.items()}
    scheme = parse_scheme(form)
    found = equipment_unavailability(scheme, chances, mounting=Mounting.WAVEGUIDE, other_end=better)
    assert found == pytest.approx(counted(form, (chances, better), Mounting.WAVEGUIDE), rel=1e-9)
    alike = equipment_unavailability(scheme, chances, mounting=Mounting.WAVEGUIDE)
    assert alike > found > 0


def test_hot_standby_by_hand() -> None:
    """Two ends, each a shared antenna and coupler before two radio chains of which one is enough."""
    u = {"antenna": 1e-6, "coupler": 2e-7, "outdoor_radio": 2e-5, "cable": 4e-6, "modem_card": 1e-5}
    end = 1e-6 + 2e-7 + (2e-5 + 4e-6 + 1e-5) ** 2
    assert equipment_unavailability(parse_scheme("1+1 HSB"), u) == pytest.approx(2 * end, rel=1e-4)
    assert equipment_unavailability(parse_scheme("1+0"), u) == pytest.approx(2 * 3.5e-5, rel=1e-4)


def test_an_item_goes_before_its_kind() -> None:
    none = dict.fromkeys(PART_KINDS, 0.0)
    found = equipment_unavailability(parse_scheme("1+1 FD"), none | {"hybrid_coupler": 1e-3})
    assert found == pytest.approx(2e-3, rel=1e-3)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: k_of_n_unavailability(3, [0.1, 0.1]), "needed is 3; must be 0 to 2"),
        (lambda: unit_unavailability(0.0, 5.0), "mtbf_h and mttr_h are 0.0 and 5.0; must be above 0"),
        (lambda: unit_unavailability(float("nan"), 5.0), "must be above 0"),
        (lambda: hot_pair_unavailability(1e5, 5.0, crews=3), "crews is 3; must be 1 or 2 for a pair"),
        (lambda: machine_repair(1e5, 5.0, n_units=0, crews=1), "n_units and crews are 0 and 1"),
        (
            lambda: equipment_unavailability(parse_scheme("1+0"), {"antenna": 0.0}),
            'is without "outdoor_radio"',
        ),
        (
            lambda: equipment_unavailability(parse_scheme("1+0"), dict.fromkeys(PART_KINDS, 1.5)),
            "unavailability of antenna is 1.5; must be 0 to 1",
        ),
    ],
)
def test_bad_input_is_named(call: Any, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
