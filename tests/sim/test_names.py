"""Names in place of ids wherever people read: tables, stories, replays, promises, advice."""

import json
import re
from dataclasses import fields, is_dataclass

import pandas as pd
import pytest
from small_networks import source_of, triangle
from synthetic_choices import made_up_promised

from hopyears.models.network.network import Network, PartChange, Service
from hopyears.sim.commands import main
from hopyears.sim.commands.check_page import fails_first
from hopyears.sim.report.replay_page import replay_page
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.explain import reopen, story_of, worst_outages
from hopyears.sim.wording.named_stories import story_for_readers
from hopyears.sim.wording.names import labels_of, place_name, relabelled

LABELS = {
    "sites": {"mill": "Old Mill", "quay": "Harbour"},
    "hops": {"mill-quay": "North hop", "mill": "Hop of a site's id"},
    "services": {"s1": "Voice", "s2": "Data"},
}


@pytest.mark.parametrize(
    ("path", "named"),
    [
        ("mill-quay/mill/radio-1", "North hop/Old Mill/radio-1"),
        ("quay/unit-1/fan-1", "Harbour/unit-1/fan-1"),
        ("mill", "Old Mill"),
        ("mill/software", "Old Mill/software"),
        ("mill/quay/radio-1", "Hop of a site's id/Harbour/radio-1"),
        ("outdoor_radio", "outdoor_radio"),
    ],
)
def test_places_have_names(path: str, named: str) -> None:
    assert place_name(path, LABELS) == named
    assert place_name(path, {}) == path


def test_tables_of_choices_have_names() -> None:
    advice = pd.DataFrame({"bought": ["mill: generator; mill-quay: 2+0", "nothing", "store: spare fan"]})
    assert list(relabelled(advice, LABELS)["bought"]) == [
        "Old Mill: generator; North hop: 2+0", "nothing", "store: spare fan",
    ]  # fmt: skip
    candidates = pd.DataFrame({"candidate": ["mill: generator", "quay: battery"], "chosen": [True, False]})
    assert list(relabelled(candidates, LABELS)["chosen"]) == [True, False]
    promises = pd.DataFrame({"contract": ["s1", "s2"], "services": ["s1", "s1, s2"]})
    named = relabelled(promises, LABELS)
    assert list(named["contract"]) == ["Voice", "s2"]  # a contract has its own id
    assert list(named["services"]) == ["Voice", "Voice, Data"]
    kinds = pd.DataFrame({"kind": ["site", "hop", "part kind"], "target": ["quay", "mill-quay", "mill"]})
    assert list(relabelled(kinds, LABELS)["target"]) == ["Harbour", "North hop", "mill"]
    assert relabelled(made_up_promised().table, {}).equals(made_up_promised().table)


NAMES = {"a": "Alpha hill", "b": "Beta town", "c": "Gamma lake", "a-b": "North hop", "one": "First service"}


def named_triangle() -> Network:
    """A network with names beside its ids, whose radios fail often."""
    plain = triangle(
        parts=(PartChange(kind="outdoor_radio", mtbf_h=20_000.0),),
        services=(Service(id="one", site_a="a", site_b="b", committed_mbit_s=30.0),),
    )
    data = plain.model_dump()
    for key in ("sites", "hops", "services"):
        data[key] = [{**each, "name": NAMES.get(each["id"])} for each in data[key]]
    return Network(**data)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    path = tmp_path_factory.mktemp("runs") / "run"
    simulate(source_of(named_triangle()), RunRequest(years=2, seed=3, block_years=2), path)
    return path


@pytest.fixture(scope="module")
def opened(run):
    again = open_run(run)
    return reopen(again, "one", worst_outages(again, "one", 1)[0])


def texts_of(value: object) -> set[str]:
    """Every text in a story."""
    if isinstance(value, str):
        return {value}
    if is_dataclass(value):
        return set().union(*(texts_of(getattr(value, field.name)) for field in fields(value)))
    return set().union(*map(texts_of, value)) if isinstance(value, tuple | list) else set()


def test_check_says_by_name_what_fails_first() -> None:
    table = pd.DataFrame(
        {
            "kind": ["all up", "part", "part", "hop"],
            "what": ["", "Alpha hill/unit-1/controller-1", "Alpha hill/mast", "North hop"],
            "below_committed": [0, 1, 1, 1], "down": [0, 1, 1, 1], "lacking_mbit_s": [0.0, 30.0, 30.0, 30.0],
            "services": ["", "First service, a second", "First service, a second", "A name of many letters"],
        }
    )  # fmt: skip
    assert [re.sub(r" {2,}", " | ", line) for line in fails_first(table)] == [
        "what is down | below | down | lacking | services",
        "all up | 0 | 0 | 0",
        "controller at Alpha hill +1 | 1 | 1 | 30 | First service +1",
        "hop North hop | 1 | 1 | 30 | A name of many lett…",
    ]


@pytest.mark.slow
def test_a_story_has_no_id_left(opened) -> None:
    labels = labels_of(opened.run.prepared.network)
    plain = texts_of(story_of(opened))
    named = texts_of(story_for_readers(story_of(opened), labels))
    words = {word for text in named for word in re.split(r"[/ +]+", text)}
    assert {"one", "a-b"} <= plain
    assert not words & {"one", "a-b", "a", "b"}
    assert {"First service", "North hop"} <= named


@pytest.mark.slow
def test_a_replay_has_names(opened) -> None:
    page = replay_page(opened)
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    data = json.loads(found.group(1))
    assert data["service"] == "First service"
    assert {site[0] for site in data["sites"]} == {"Alpha hill", "Beta town", "Gamma lake"}
    assert "North hop" in {hop[0] for hop in data["hops"]}
    assert "<h1>First service: out for" in page
    assert not re.search(r"\bservice one\b|\ba-b is\b", page)


@pytest.mark.slow
def test_commands_take_and_print_names(run, capsys) -> None:
    for service in ("one", "First service"):
        assert main(["explain", str(run), "--service", service, "--outage", "1"]) == 0
        said = capsys.readouterr().out
        assert said.startswith("First service: outage of")
        assert "North hop" in said
        assert not re.search(r"(^|[ /])(a-b|one)($|[ /,])", said, re.MULTILINE)
    assert main(["promise", str(run)]) == 0
    assert "First service" in capsys.readouterr().out
