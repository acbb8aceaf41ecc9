"""Whose jobs were among the causes: by hand on failures written by hand, and against the table of causes."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hand_made_log import failure_log
from small_networks import triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import Crew, PartChange, Service
from hopyears.sim.blocks.block import BlockHistory, BlockSimulator
from hopyears.sim.blocks.block_tally import failure_tables, service_losses
from hopyears.sim.blocks.outage_share import outage_share
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.fading_tally import FADING
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.equipment.failure_log import PlannedVisits
from hopyears.sim.hops.hop import hop_history

DURATION_S = SECONDS_PER_YEAR
PLAIN = ModelOptions(rain=False, multipath=False, anchoring=False)
CREWS = (Crew(id="south", base="a"), Crew(id="north", base="c"))


@cache
def simulator():
    """The triangle with two crews: one service over a-b, one over a-c and a-b."""
    services = (
        Service(id="one", site_a="a", site_b="b", committed_mbit_s=30.0, route=("a-b",)),
        Service(id="long", site_a="c", site_b="b", committed_mbit_s=30.0, route=("a-c", "a-b")),
        Service(id="card", site_a="a", site_b="c", committed_mbit_s=1.0, kind="circuit", route=("a-c",)),
    )
    return BlockSimulator(prepare(triangle(crews=CREWS, services=services), PLAIN))


def job(name, start_s, end_s, crew):
    plant = simulator().prepared.built.plant
    (part,) = [i for i, each in enumerate(plant.parts) if each.id == name]
    site = plant.parts[part].site
    cause = int(plant.part_cause[part])
    return {"part": part, "failed": start_s, "mended": end_s, "cause": cause, "crew": crew, "site": site}


def share(*jobs, switches=None, power=None, planned=None, visits=None):
    """Seconds of outage by name of kind, site and crew, the zeros left out."""
    simulated = simulator()
    prepared, plant = simulated.prepared, simulated.prepared.built.plant
    log = failure_log(
        len(plant.parts), len(plant.sites), DURATION_S, jobs, n_groups=len(plant.groups),
        switches=switches, power=power, planned=planned,
    )  # fmt: skip
    rows = sorted(jobs, key=lambda each: (each["part"], each["failed"]))
    failures = replace(
        log.failures,
        crew=np.array([each["crew"] for each in rows], dtype=np.int64),
        site=np.array([each["site"] for each in rows], dtype=np.int64),
    )
    log = replace(log, failures=failures, visits=visits or PlannedVisits.none())
    hops = [
        hop_history(simulated.thresholds[i], simulated.segments(i, log), None, None, DURATION_S)
        for i in range(len(prepared.designs))
    ]
    services = simulated.services(hops, log, DURATION_S)
    history = BlockHistory(
        DURATION_S, None, (), log, tuple(hops), services, KeyedTable.empty(FADING), rained=()
    )
    found = outage_share(prepared, history, service_losses(history))
    names = (plant.kind_names, [site.id for site in plant.sites], ["south", "north"])
    return [
        {name: value for name, value in zip(row, values, strict=True) if value}
        for row, values in zip(names, (found.kind_s, found.site_s, found.crew_s), strict=True)
    ]


def test_a_job_counts_for_every_service_that_it_stops():
    kinds, sites, crews = share(job("a-b/b/radio-1", 100.0, 300.0, crew=1))
    assert kinds == {"outdoor_radio": 400.0}  # services one and long, 200 s each
    assert sites == {"b": 400.0}
    assert crews == {"north": 400.0}


def test_several_at_once_count_in_full_and_the_same_row_once():
    kinds, sites, crews = share(
        job("a-b/a/radio-1", 100.0, 300.0, crew=0), job("a-b/b/radio-1", 200.0, 400.0, crew=1)
    )
    assert kinds == {"outdoor_radio": 2 * 300.0}
    assert sites == {"a": 400.0, "b": 400.0}
    assert crews == {"south": 400.0, "north": 400.0}


def test_a_job_that_harms_nobody_has_no_share_though_another_of_its_kind_does():
    # The standby of a-c is out of order while the radio of a-b is: "long" crosses both hops.
    kinds, sites, crews = share(
        job("a-b/a/radio-1", 100.0, 300.0, crew=0), job("a-c/c/radio-2", 50.0, 900.0, crew=1)
    )
    assert (kinds, sites, crews) == ({"outdoor_radio": 400.0}, {"a": 400.0}, {"south": 400.0})


def test_a_stuck_switch_leaves_the_failed_radio_among_the_causes():
    prepared = simulator().prepared
    group = prepared.built.hops[1].groups[0][0]
    _, _, crews = share(
        job("a-c/a/radio-1", 100.0, 900.0, crew=1), switches={group: [(100.0, -1), (400.0, 1)]}
    )
    assert crews == {"north": 2 * 300.0}  # services long and card, until switched by hand


def test_parts_of_a_second_count_as_the_second():
    _, _, crews = share(job("a-b/a/radio-1", 100.4, 300.2, crew=0))
    # The second of 100.4 s is severely errored (0.6 s lost), that of 300.2 s errored only.
    assert crews == {"south": 2 * 200.0}


def test_line_cards_common_units_power_and_planned_work():
    built = simulator().prepared.built
    name = built.plant.parts[built.line_cards["card", "c"]].id
    assert share(job(name, 100.0, 200.0, crew=1)) == [
        {"line_card": 100.0}, {"c": 100.0}, {"north": 100.0},
    ]  # fmt: skip
    assert share(job("a/unit-1/chassis-1", 100.0, 200.0, crew=0)) == [
        {"chassis": 300.0}, {"a": 300.0}, {"south": 300.0},
    ]  # fmt: skip
    assert share(power={0: [(100.0, 200.0)]}) == [{}, {"a": 300.0}, {}]
    visit = PlannedVisits(
        *(np.array([number]) for number in (1, 0)),
        *(np.array([time_s]) for time_s in (50.0, 100.0, 200.0, 250.0, 150.0)),
    )
    assert share(planned={1: [(100.0, 150.0)]}, visits=visit) == [{}, {"b": 100.0}, {"south": 100.0}]
    assert share(planned={1: [(100.0, 150.0)]}) == [{}, {"b": 100.0}, {}]


def test_shares_by_kind_agree_with_the_table_of_causes():
    # Two ways to the same seconds: by job, and by the flags of the services' lost seconds.
    unlike = {"antenna", "coupler", "outdoor_radio", "cable", "modem_card", "mast", "software"}
    worn = tuple(PartChange(kind=kind, mtbf_h=8000.0) for kind in sorted(unlike))
    simulated = BlockSimulator(prepare(triangle(parts=worn, crews=CREWS), PLAIN))
    prepared = simulated.prepared
    history = simulated.simulate(1, 0, 10)
    tables = failure_tables(prepared, history, service_losses(history))
    by_kind = dict(
        zip(*(tables["failures_kind"].column(name).to_pylist() for name in ("kind", "outage_s")), strict=True)
    )
    kinds, whole = prepared.built.plant.kinds, 0.0
    lost = [three_ways(service, history.duration_s)[BOTH] for service in history.services]
    for kind in unlike:
        expected_s = outages = 0.0
        for seconds in lost:
            mine = (seconds.kind == 3) & (seconds.causes & int(kinds[kind].cause) != 0)
            expected_s += float((seconds.end_s - seconds.start_s)[mine].sum())
            outages += seconds.n_outages
        assert expected_s > 10_000.0 or kind == "coupler"
        assert by_kind[kind] == pytest.approx(expected_s, abs=15.0 * outages, rel=1e-3)
        whole += expected_s
    crews, sites = (
        sum(tables[f"failures_{what}"].column("outage_s").to_pylist()) for what in ("crew", "site")
    )
    remote = by_kind["software"]
    assert crews == pytest.approx(whole - remote, rel=0.1)
    assert sites == pytest.approx(whole, rel=0.1)
