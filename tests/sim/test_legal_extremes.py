"""What is legal and extreme gives sane figures, or a refusal that says why."""

import math
import random
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from network_text import small, write
from sane_tables import assert_sane, unexplained

from hopyears.models.network.network import Hop, Network, Service
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.runs.results import Results

Change = Callable[[dict[str, Any]], Any]


def sites(**change: Callable[[dict[str, Any]], float]) -> Change:
    """Every site with fields made anew from itself."""
    return lambda data: [
        site.update({field: make(site) for field, make in change.items()}) for site in data["sites"]
    ]


REFUSED = [
    (
        {"climate": {"rain_rate_001_mm_h": 1e-9}},
        "network.toml: climate: rain_rate_001_mm_h is 1e-09; must be 1 to 300",
    ),
    (
        {"parts": [{"kind": "modem_card", "mtbf_h": 1e-9}]},
        'network.toml: part "modem_card": mtbf_h is 1e-09; must be 1 to 1000000000',
    ),
    (
        {"power": [{"id": "weak", "battery_life_years": 1e-9}]},
        'network.toml: power "weak": battery_life_years is 1e-09; must be 0.1 to 100',
    ),
    (
        {"switching": {"standby_test_days": 0.1 / 86_400.0}},
        "network.toml: switching: standby_test_days is 1.1574074074074074e-06; must be 0.05 to 10000",
    ),
    (
        {"antennas": [{"id": "dish", "diameter_m": 1e-300}]},
        'network.toml: antenna "dish": diameter_m is 1e-300; must be at least 1e-09',
    ),
    (
        {"radios": [{"id": "r18", "signature_delay_ns": 5e-324}]},
        'network.toml: radio "r18": signature_delay_ns is 4.94066e-324; must be at least 1e-09',
    ),
    (
        {"title": "harm\u202eless"},
        "network.toml: title is text with the sign U+202E; must be text that a screen shows as it is",
    ),
    (
        {"title": "bell\x07"},
        "network.toml: title is text with the sign U+0007; must be text that a screen shows as it is",
    ),
]


@pytest.mark.parametrize(("change", "sentence"), REFUSED)
def test_refused_with_the_reason(change: dict[str, Any], sentence: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_network(write(tmp_path, small() | change))
    assert str(caught.value) == sentence


@pytest.mark.parametrize("sign", ["\x1b", "\x9b", "\u200f", "\u2066", "\u2028", "\ufeff"])
@pytest.mark.parametrize("field", ["sites", "hops", "services"])
def test_signs_that_steer_a_screen_stand_in_no_name(sign: str, field: str, tmp_path: Path) -> None:
    data = small()
    data[field][0]["name"] = f"a{sign}b"
    with pytest.raises(InputError, match=f"name is text with the sign U\\+{ord(sign):04X}") as caught:
        read_network(write(tmp_path, data))
    assert sign not in str(caught.value)


def test_names_of_any_script_are_welcome(tmp_path: Path) -> None:
    data = small()
    names = ["Zürich", "Київ", "دمشق", "東京"]
    for site, name in zip(data["sites"], names, strict=True):
        site["name"] = name
    assert [site.name for site in read_network(write(tmp_path, data)).network.sites] == names


def set_hops(**fields: Any) -> Change:
    """Every hop with the same fields."""
    return lambda data: [hop.update(fields) for hop in data["hops"]]


LEGAL: dict[str, Change] = {
    "twelve months without rain": lambda data: data.update(climate={"monthly_rainfall_mm": [0.0] * 12}),
    "hardly any rain": lambda data: data.update(climate={"monthly_rainfall_mm": [0.001] * 12}),
    "rain in one month": lambda data: data.update(climate={"monthly_rainfall_mm": [0.0] * 11 + [80.0]}),
    "the lowest rain rate": lambda data: data.update(climate={"rain_rate_001_mm_h": 1.0}),
    "86 GHz": set_hops(frequency_ghz=86.0, fixed_loss_path_db=0.0, transmit_power_dbm=30.0),
    "5,000 m": sites(ground_height_m=lambda _: 5000.0),
    "the southern hemisphere": sites(latitude_deg=lambda site: -site["latitude_deg"]),
    "the date line": sites(longitude_deg=lambda site: (site["longitude_deg"] + 349.9) % 360.0 - 180.0),
    "80 degrees north": sites(latitude_deg=lambda site: site["latitude_deg"] + 29.7),
    "lives of an hour": lambda data: data.update(parts=[{"kind": "fan", "mtbf_h": 1.0}]),
    "tests every hour and a quarter": lambda data: data.update(switching={"standby_test_days": 0.05}),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", LEGAL)
def test_a_run_of_what_is_legal_has_sane_tables(name: str, tmp_path: Path) -> None:
    """Figures are finite except where the column's text says so; availability is a share."""
    data = small()
    LEGAL[name](data)
    out = tmp_path / "run"
    words = ["--years", "2", "--block-years", "1", "--replications", "1", "--workers", "1", "--out", str(out)]
    assert main(["simulate", str(write(tmp_path, data)), *words]) == 0
    assert_sane(Results.load(out))


@pytest.mark.slow
def test_tables_of_studies_say_where_they_have_no_figure(tmp_path: Path) -> None:
    """Services without penalties, rows for all services or causes, a first step without a next best."""
    network = str(tmp_path / "network.toml")
    Path(network).write_text((files("hopyears.sim") / "guide" / "start.toml").read_text("utf-8"), "utf-8")
    plan = write(
        tmp_path, {"title": "more", "hops": [{"id": "ridge-quay", "scheme": "1+1 HSB"}]}, "plan.toml"
    )
    short = ["--block-years", "1", "--workers", "1", "--out"]
    compared, advice, studied = (tmp_path / name for name in ("compared", "advice", "studied"))
    assert main(["compare", network, str(plan), "--years", "2", *short, str(compared)]) == 0
    assert main(["advise", network, "--budget", "5000", "--years", "4", *short, str(advice)]) == 0
    assert main(["modulation", network, "--hop", "all", "--years", "2", *short, str(studied)]) == 0
    stored = {path.stem: path for folder in (compared, advice) for path in folder.glob("*.parquet")}
    stored |= {f"modulation_{path.stem}": path for path in (studied / "tables").glob("*.parquet")}
    assert {"plans", "differences", "bill_differences", "purchases", "modulation_hops"} <= set(stored)
    assert unexplained({name: pd.read_parquet(path) for name, path in stored.items()}) == []


def star(n_hops: int, n_services: int, *, to_one_site: bool) -> Network:
    """Hops from one site to as many others, or all of them to the same other; services over them."""
    data = small()
    draw = random.Random(1)
    hub = data["sites"][0] | {"id": "hub"}
    rim = [
        data["sites"][1]
        | {
            "id": f"s{i}",
            "latitude_deg": 50.0 + 0.1 * math.cos(i),
            "longitude_deg": 10.0 + 0.15 * math.sin(i) + draw.uniform(0.0, 1e-3),
        }
        for i in range(1 if to_one_site else n_hops)
    ]
    hops = [
        Hop(
            id=f"h{i}", site_a="hub", site_b=f"s{0 if to_one_site else i}", frequency_ghz=18.0, radio="r18",
            antenna="dish",
        )
        for i in range(n_hops)
    ]  # fmt: skip
    services = [
        Service(id=f"d{i}", site_a="hub", site_b=f"s{i % len(rim)}", committed_mbit_s=1.0)
        for i in range(n_services)
    ]
    lists = {"sites": [hub, *rim], "radios": data["radios"], "antennas": data["antennas"]}
    return Network.model_validate({**lists, "hops": hops, "services": services}, strict=False)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("hops", "services", "to_one_site"),
    [(1000, 0, False), (20, 3000, False), (60, 60, True)],
    ids=["1,000 hops from one site", "thousands of services", "every hop between the same two sites"],
)
def test_many_of_one_kind(hops: int, services: int, to_one_site: bool) -> None:
    """A block of plant and sharing; rain and multipath of each hop are as of any other."""
    network = star(hops, services, to_one_site=to_one_site)
    prepared = prepare(network, ModelOptions(rain=False, multipath=False, replications=0))
    tally = BlockSimulator(prepared).simulate(1, 0, 1)
    assert tally is not None
