"""What fails first: rates left by hand-made networks with any one thing down."""

import pytest
from small_networks import hop, triangle

from hopyears.models.network.network import Service
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.rare.weather_controls import rain_rows
from hopyears.sim.studies.single_failures import single_failures

ALONE = ModelOptions(rain=False, multipath=False, anchoring=False)


def failing(**more):
    table = single_failures(BlockSimulator(prepare(triangle(**more), ALONE)))
    return table.set_index(["kind", "what"])


def test_a_protected_service_outlives_its_hop_and_a_single_one_does_not():
    table = failing()
    whole = table.loc[("all up", "")]
    assert (whole["below_committed"], whole["lacking_mbit_s"]) == (0, 0.0)
    # "one" (30 Mbit/s) has the hop a-b alone; "two" (50) is protected over a-c, c-b and a-b.
    assert table.loc[("hop", "a-b"), ["below_committed", "down", "lacking_mbit_s", "services"]].tolist() == [
        1, 1, 30.0, "one",
    ]  # fmt: skip
    assert ("hop", "c-b") not in table.index
    # A site's controller takes both, on all their routes.
    assert table["below_committed"].max() == 2
    assert table.index[1][0] == "part"


def test_rates_that_never_fit_are_told():
    services = tuple(
        Service(id=name, site_a="a", site_b="b", committed_mbit_s=150.0, route=("a-b",), priority=priority)
        for name, priority in (("first", 1), ("last", 2))
    )
    whole = failing(services=services).loc[("all up", "")]
    # 220 Mbit/s of the hop, 150 of which go first (56 MHz would carry both).
    assert whole["services"] == "last"
    assert whole["lacking_mbit_s"] == pytest.approx(80.0, abs=0.5)
    assert whole["down"] == 1


def test_in_a_bundle_one_of_two_is_missed_only_by_who_needs_both():
    pair = tuple(hop(name, "a", "b", 7.0, antenna="large", bundle="ab") for name in ("p", "q"))
    services = tuple(
        Service(id=name, site_a="a", site_b="b", committed_mbit_s=rate, priority=priority)
        for name, rate, priority in (("both", 250.0, 2), ("either", 30.0, 1))
    )
    table = failing(hops=(*pair, hop("a-c", "a", "c", 23.0)), services=services)
    assert table.loc[("hop", "p"), "services"] == "both"
    assert table.loc[("hop", "p"), "down"] == 0  # 190 of 250: over the half that a packet service needs


@pytest.mark.parametrize(("rate", "expected"), [(50.0, {"low"}), (350.0, {"low", "high"})])
def test_rain_of_a_bundle_is_that_of_the_hop_that_counts(rate, expected):
    # A bundle of 80 GHz and 7 GHz: rain takes the upper band first, and the lower one carries on.
    bundle = (
        hop("high", "a", "c", 80.0, bundle="ac"),
        hop("low", "a", "c", 7.0, antenna="large", bundle="ac"),
    )
    service = Service(id="s", site_a="a", site_b="c", committed_mbit_s=rate, required_share=1.0)
    network = triangle(hops=(*bundle, hop("c-b", "c", "b", 7.4)), services=(service,))
    prepared = prepare(network, ModelOptions(failures=False, anchoring=False))
    names = [design.hop.id for design in prepared.designs]
    assert {names[index] for index, _ in rain_rows(prepared, 0)} == expected
