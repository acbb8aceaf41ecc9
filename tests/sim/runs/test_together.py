"""Networks that share their draws get, each, the very bytes of a run of its own."""

from dataclasses import replace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.sim.blocks.beside import BesideSimulator, FirstSimulator, alike, hops_alike, same_air
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.runs.together import has_run, simulate_together

OPTIONS = ModelOptions(anchoring=False, replications=2)
REQUEST = RunRequest(years=2, seed=5, block_years=1, options=OPTIONS)
HOP = {"radio": "r", "antenna": "large", "frequency_ghz": 11.0}
PLANS = {
    "standby": {"hops": [{"id": "c-b", "scheme": "1+1 HSB"}]},
    "band": {"hops": [{"id": "a-c", "frequency_ghz": 18.0}]},
    "larger antenna": {"hops": [{"id": "a-b", "antenna": "small"}]},
    "slow repairs": {"repair": {"duration_ln_sd": 1.5}},
    "one site more": {
        "sites": [{"id": "far", "latitude_deg": 45.2, "longitude_deg": 11.3}],
        "hops": [{"id": "b-far", "from": "b", "to": "far", **HOP}],
    },
    "a hop less": {"remove": ["hops/a-b"]},
    "wetter": {"climate": {"rain_rate_001_mm_h": 60.0}},
}


def bytes_of(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for part in ("blocks", "tables")
        for path in sorted((folder / part).rglob("*.*"))
    }


@pytest.mark.slow
def test_each_gets_the_bytes_of_its_own_run(tmp_path):
    base = source_of(triangle())
    sources = {"base": base} | {name: read_plan(plan, base) for name, plan in PLANS.items()}
    simulate_together([(source, tmp_path / "both" / name) for name, source in sources.items()], REQUEST)
    for name, source in sources.items():
        simulate(source, REQUEST, tmp_path / "alone" / name)
        mine, alone = (bytes_of(tmp_path / way / name) for way in ("both", "alone"))
        assert len(mine) > 2
        assert mine == alone, name


@pytest.mark.slow
def test_what_a_folder_lacks_is_added(tmp_path):
    base = source_of(triangle())
    plan = read_plan(PLANS["standby"], base)
    members = [(base, tmp_path / "base"), (plan, tmp_path / "plan")]
    simulate(base, REQUEST, tmp_path / "base")
    simulate(plan, replace(REQUEST, years=1), tmp_path / "plan")
    seen = []
    simulate_together(members, REQUEST, progress=lambda *years: seen.append(years))
    assert seen == [(3, 4), (4, 4)]
    assert all(has_run(source, REQUEST, out) for source, out in members)
    before = bytes_of(tmp_path / "plan")
    simulate_together(members, REQUEST, progress=lambda *years: seen.append(years))
    assert len(seen) == 2
    assert bytes_of(tmp_path / "plan") == before


@pytest.mark.slow
def test_what_is_taken_over():
    base = source_of(triangle())
    first = prepare(base.network, OPTIONS)
    others = {name: prepare(read_plan(plan, base).network, OPTIONS) for name, plan in PLANS.items()}
    found = {name: (same_air(each, first), sorted(hops_alike(each, first))) for name, each in others.items()}
    assert found["standby"] == (True, [0, 1])
    assert found["band"] == (True, [0, 2])
    assert found["larger antenna"] == (True, [1, 2])
    assert found["slow repairs"] == (True, [0, 1, 2])
    assert not found["one site more"][0]
    assert found["a hop less"] == (True, [])
    assert not found["wetter"][0]
    simulator = FirstSimulator(first)
    beside = BesideSimulator(others["standby"], simulator)
    met, own = simulator.draw(1, 0, 1), beside.draw(1, 0, 1)
    assert own.field is met.field
    assert own.activity[0] is met.activity[0]
    assert own.fades[0] is met.fades[0]
    assert beside.rain(own, 0) is simulator.rain(met, 0)


def test_things_alike():
    table = {"a": 1}
    assert alike((1, np.array([1.0, np.nan]), table), (1, np.array([1.0, np.nan]), {"a": 1}))
    assert not alike(np.array([1.0]), np.array([2.0]))
    assert not alike((1, 2), (1,))
    assert not alike(1, 1.0)
    assert alike(OPTIONS, replace(OPTIONS))
    assert not alike(OPTIONS, replace(OPTIONS, rain=False))
