"""What keeps a contract from more, on a network whose weakest part is known."""

import pandas as pd
import pytest
from small_networks import source_of, triangle

from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.network import PartChange
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.counting.result_tables import columns_of
from hopyears.sim.runs.promise_terms import Promise, PromiseTerms
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.levers import AS_IT_IS, levers
from hopyears.sim.wording.promises import lever_cells, lever_sentence
from hopyears.sim.wording.wording import PER_CENT

DRY = ModelOptions(rain=False, multipath=False)


@pytest.mark.slow
def test_the_hop_that_fails_is_the_weakest_link(tmp_path):
    # Only outdoor radios fail; "one" crosses one unprotected hop, so its radios are all that matters.
    kinds = ("antenna", "cable", "controller", "fan", "line_card", "mast", "modem_card", "software")
    parts = [PartChange(kind=kind, mtbf_h=1e9) for kind in kinds]
    network = triangle(parts=(*parts, PartChange(kind="outdoor_radio", mtbf_h=2e4)))
    request = RunRequest(years=30, seed=3, block_years=10, options=DRY)
    simulate(source_of(network), request, tmp_path / "run")
    contract = Contract(id="gold", services=("one",), availability=0.9999)
    table = levers(open_run(tmp_path / "run"), [Promise.of(contract)], PromiseTerms(), n_blocks=3)
    first, best = table.iloc[0], table.iloc[1]
    assert first["kind"] == AS_IT_IS
    hop = table[(table["kind"] == "hop") & (table["target"] == "a-b")].iloc[0]
    assert hop["can_be_promised"] >= best["can_be_promised"] > first["can_be_promised"]
    assert hop["contract_break_chance"] < first["contract_break_chance"]
    assert "The weakest link is hop a-b." in lever_sentence(table)


def rows(*found):
    return pd.DataFrame([dict(zip(columns_of("levers"), each, strict=True)) for each in found])


@pytest.mark.parametrize(
    ("spared", "said"),
    [
        (0.99992, "could be promised without outages by hop x."),
        (0.99961, "could not be promised by sparing any one of these."),
    ],
)
def test_one_class_more(spared, said):
    table = rows(
        ("c", AS_IT_IS, "", 0.3, 0.2, 0.4, "availability", 0.9998, 0.9996),
        ("c", "hop", "x", 0.1, 0.0, 0.2, "availability", 0.9999, spared),
        ("c", "site", "y", 0.3, 0.2, 0.4, "availability", 0.9998, 0.9996),
    )
    words = lever_sentence(table)
    assert words == f"The weakest link is hop x. 99.99{PER_CENT} {said}"
    assert lever_cells(table)[1][:2] == ["hop", "x"]
