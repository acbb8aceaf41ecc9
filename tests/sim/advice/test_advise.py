"""Advice against every set simulated, for a target, and from the command line."""

from dataclasses import replace
from itertools import chain, combinations

import numpy as np
import pytest
from eight_candidates import EIGHT, source_of
from network_text import write

from hopyears.sim.advice.advise import advise
from hopyears.sim.advice.candidates import exclusive, made_candidates, read_candidates
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.advice.set_runs import SetRuns
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.commands.advise import print_advice
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.studies.replicated import unavailable_s

DRY = ModelOptions(rain=False, multipath=False)
REQUEST = RunRequest(years=30, seed=3, block_years=3, options=DRY)
WEIGHTS = {"far": 3.0, "near": 1.0}


def simulated(runs, chosen, n_blocks=REQUEST.n_blocks):
    """Weighted minutes a year of a set on the first blocks."""
    simulator = BlockSimulator(prepare(runs.with_set(chosen).network, DRY))
    lost = 0.0
    for block in range(n_blocks):
        services = simulator.simulate(REQUEST.seed, block, REQUEST.block_years).services
        lost += sum(weight * unavailable_s(s) for weight, s in zip(WEIGHTS.values(), services, strict=True))
    return lost / 60.0 / n_blocks / REQUEST.block_years


@pytest.mark.slow
def test_eight_candidates_against_every_set(tmp_path):
    """The advised set leaves at most 5 % more of what can be saved than the best of all sets does."""
    source = source_of(EIGHT)
    found = advise(source, Goal(budget=900.0), REQUEST, tmp_path)
    table = found.candidates
    assert len(table) == 8
    known = {each.id: each for each in made_candidates(source.network)}
    candidates = [known[name] for name in table["candidate"]]
    runs = SetRuns(source, candidates, REQUEST, tmp_path)
    costs = list(table["present"])
    able = [
        frozenset(chosen)
        for chosen in chain.from_iterable(combinations(range(8), k) for k in range(9))
        if sum(costs[i] for i in chosen) <= 900.0
        and not any(exclusive(candidates[i], candidates[j]) for i, j in combinations(chosen, 2))
    ]
    assert len(able) > 50
    left = {chosen: simulated(runs, chosen) for chosen in able}
    best, nothing = min(left.values()), left[frozenset()]
    advised = frozenset(np.flatnonzero(table["chosen"]))
    assert left[advised] - best <= 0.05 * (nothing - best)
    purchases = found.purchases
    assert purchases["spent"].iloc[-1] <= 900.0
    blocks = int(found.contenders.set_index("bought")["blocks"][purchases["set"].iloc[-1]])
    assert purchases["left"].iloc[0] == pytest.approx(simulated(runs, frozenset(), blocks))
    assert purchases["left"].iloc[-1] == pytest.approx(simulated(runs, advised, blocks))
    assert ((purchases["right_chance"].dropna() >= 0.0) & (purchases["right_chance"].dropna() <= 1.0)).all()


@pytest.mark.slow
def test_a_target_is_met_for_less_than_everything(tmp_path):
    source = source_of(EIGHT)
    runs = SetRuns(source, (), REQUEST, tmp_path)
    before = float(runs.values(frozenset(), {"near": 1.0}, "min_per_year", REQUEST.n_blocks).mean())
    wanted = 1.0 - 0.5 * before / 525_960.0
    found = advise(source, Goal(service="near", availability=wanted), REQUEST, tmp_path)
    last = found.purchases.iloc[-1]
    assert last["left"] <= 0.5 * before
    assert 0.0 < last["spent"] < found.candidates["present"].sum()
    chances = found.contenders["target_chance"]
    assert ((chances > 0.0) & (chances < 1.0)).all()


HOP_OF = {"frequency_ghz": 18.0, "radio": "r", "antenna": "dish"}
RING = {
    "made": False,
    "candidates": [
        {"id": "one half", "hops": [{"id": "a-d", "from": "a", "to": "d", **HOP_OF}]},
        {"id": "other half", "hops": [{"id": "d-c", "from": "d", "to": "c", **HOP_OF}]},
        {"id": "standby", "hops": [{"id": "a-b", "scheme": "1+1 HSB"}]},
    ],
}


@pytest.mark.slow
def test_two_hops_that_only_close_a_ring_together(tmp_path, capsys):
    """One half of a way round saves nothing; both save more than the standby that comes first by itself."""
    far, near = EIGHT["services"]
    data = EIGHT | {
        "crews": [{"id": "crew", "base": "a"}],
        "depots": [],
        "sites": [*EIGHT["sites"], {"id": "d", "latitude_deg": 50.0, "longitude_deg": 10.2}],
        "services": [far | {"protection": "protected"}, near],
    }
    named, made = read_candidates(write(tmp_path, RING, "ring.toml"))
    goal, request = Goal(budget=1300.0), replace(REQUEST, years=8, block_years=2)
    found = advise(source_of(data), goal, request, tmp_path / "out", named=named, made=made)
    alone = found.candidates.set_index("candidate")["guessed_saved"]
    assert alone["standby"] > 0.0
    assert alone[["one half", "other half"]].abs().max() <= 0.05 * alone["standby"]
    assert found.purchases["bought"].iloc[1] == "one half; other half"
    left = found.purchases["left"]
    assert left.iloc[1] < 0.5 * left.iloc[0]
    print_advice(found, goal, "money")
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Buy ")
    assert max(map(len, lines)) <= 80


def test_what_cannot_be_advised(tmp_path, capsys):
    bare = {name: value for name, value in EIGHT.items() if name != "prices"}
    with pytest.raises(InputError, match="prices is missing; must be given"):
        advise(source_of(bare), Goal(budget=1.0), REQUEST, tmp_path)
    network = write(tmp_path, EIGHT)
    for words, sentence in (
        (["--budget", "-1"], "--budget is -1; must be at least 0\n"),
        (["--target", "near"], '--target is "near"; must be ID=PERCENT, as mill-hub=99.99%\n'),
        (["--target", "nowhere=99.9%"], '--target service is "nowhere"; must be a service: far, near\n'),
    ):
        assert main(["advise", str(network), *words, "--out", str(tmp_path / "out")]) == 2
        assert capsys.readouterr().err == sentence
    assert not (tmp_path / "out").exists()
