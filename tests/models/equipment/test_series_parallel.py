"""Closed forms against published values, against solved Markov chains, and against counting every state."""

from itertools import product
from typing import Any

import numpy as np
import pytest
from link_walk import best_transmitting
from reference import rows

from hopyears.models.equipment.hardware import Mounting, parts_of_hop
from hopyears.models.equipment.link_states import link_state, link_structure
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.equipment.series_parallel import (
    equipment_unavailability,
    parallel_unavailability,
    series_unavailability,
)
from hopyears.models.network.network import Losses, Radio
from hopyears.models.radio.scheme import parse_scheme
from hopyears.sim.hops.radio_levels import combining_losses


def published(quantity: str) -> dict[str, Any]:
    (row,) = rows("reliability", quantity)
    return row


def test_published_series_and_parallel() -> None:
    row = published("series_A")
    found = 1 - series_unavailability([1 - a for a in row["inputs"]["A"]])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])
    row = published("parallel_U")
    found = parallel_unavailability([1 - a for a in row["inputs"]["A"]])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_published_chance_of_more_failures_than_spare_channels() -> None:
    row = published("N+1_P_more_than_one_failed")
    given = row["inputs"]
    scheme = parse_scheme(f"{given['N']}+1")
    none = dict.fromkeys(PART_KINDS, 0.0)
    card = none | {"modem_card": given["MTTR_h"] / (given["MTBF_h"] + given["MTTR_h"])}
    found = equipment_unavailability(scheme, card, other_end=none)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


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
    structure = link_structure(scheme, parts, combining_losses(Losses(), Radio(id="r")))
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
