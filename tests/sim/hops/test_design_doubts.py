"""Doubts that geometry and climate raise: one warning an entry, and what is refused."""

import pytest
from network_text import small, write
from small_networks import RADIO, hop, triangle

from hopyears.models.network.network import ClimateChange, Depot, Network, PartChange, Power
from hopyears.models.network.network_doubts import doubts_of
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.hops import hop_design
from hopyears.sim.hops.design_doubts import network_doubts
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.inputs.input_errors import InputError


def told(network):
    return [doubt.sentence() for doubt in network_doubts(network, design_hops(network), "test.toml")]


def long_hop(**more):
    network = triangle()
    return triangle(hops=(hop("a-b", "a", "b", 7.0, antenna="large", **more), *network.hops[1:]))


def test_an_ordinary_network_raises_none():
    assert told(triangle()) == []


def test_multipath_beyond_the_laws_is_a_warning_of_the_hop():
    doubts = told(long_hop(geoclimatic_factor=0.002))
    assert len(doubts) == 1
    assert doubts[0].startswith(
        'hop "a-b": multipath occurrence is 2048 %; the laws of P.530 are drawn up to'
    )


def test_a_hop_that_never_works_is_refused_and_called_so(tmp_path, capsys):
    """Its services would lose everything, and that is no congestion."""
    raw = small()
    raw["hops"][1]["fixed_loss_path_db"] = 60.0
    path = str(write(tmp_path, raw))
    for verb in (["check", path], ["predict", path], ["simulate", path, "--out", str(tmp_path / "run")]):
        assert main(verb) == 2
        said = capsys.readouterr().err
        assert said.startswith('network.toml: hop "mill-ridge": margin in clear air is -')
        assert "dB; must be above 0 dB at the lowest modulation. Check power, antennas" in said


def test_a_demand_above_every_way_is_told():
    network = triangle()
    big = network.services[0].model_copy(update={"committed_mbit_s": 5000.0, "peak_mbit_s": None})
    said = told(Network(**{**dict(network), "services": (big,)}))
    assert len(said) == 1
    assert "committed_mbit_s is 5000, where the widest way carries" in said[0]
    # The widest way: of two routes, the one whose narrowest hop is the wider.
    most = float(said[0].partition("carries ")[2].partition(";")[0])
    capacity = {design.hop.id: design.clear_capacity_mbit_s for design in design_hops(network)}
    assert most == pytest.approx(max(capacity["a-b"], min(capacity["c-b"], capacity["a-c"])), rel=1e-3)


def test_measured_rain_beyond_physics_is_told():
    """P.838-3: 300 mm/h at 7 GHz gives 6.4 dB/km, so 39 km cannot lose 300 dB by rain."""
    said = told(long_hop(rain_exceedance_db={"0.01": 300.0, "0.1": 10.0}))
    assert len(said) == 1
    assert said[0].startswith('hop "a-b": rain_exceedance_db is 300 at 0.01 %, where it would give ')
    assert told(long_hop(rain_exceedance_db={"0.01": 20.0, "0.1": 5.0})) == []


def test_changes_of_parts_and_stocks_that_the_network_lacks_are_told():
    idle = triangle(
        parts=(PartChange(kind="waveguide", mtbf_h=1e5), PartChange(kind="rectifier", mtbf_h=1e5)),
        depots=(Depot(id="store", base="a", stock={"waveguide": 1, "rectifier": 2, "cable": 1}),),
    )
    lacks = "the network has no such part, so the entry changes nothing"
    assert [text for text in told(idle) if "changes nothing" in text] == [
        f'part "waveguide": {lacks}',
        f'part "rectifier": {lacks}',
        'depot "store": no part of the network takes a spare of waveguide, rectifier, so that stock changes '
        "nothing",
    ]
    power = (Power(id="standard", rectifiers=2),)
    radios = (RADIO.model_copy(update={"mounting": "waveguide"}),)
    used = Network(**{**dict(idle), "power": power, "radios": radios})
    assert not any("changes nothing" in text for text in told(used))


def test_a_fade_prone_hop_within_the_laws_raises_none():
    assert told(long_hop(geoclimatic_factor=0.001)) == []


def test_multipath_that_no_law_describes_is_refused_everywhere(tmp_path, capsys):
    network = long_hop(geoclimatic_factor=0.2)
    wanted = r'hop "a-b": multipath occurrence is \d+ %; must be at most 10000 %\. Check path length'
    with pytest.raises(InputError, match="triangle: " + wanted):
        prepare(network, ModelOptions(rain=False, failures=False))
    with pytest.raises(InputError, match="test.toml: " + wanted):
        told(network)
    raw = small()
    raw["sites"][3]["latitude_deg"] = 51.5
    raw["hops"][2]["geoclimatic_factor"] = 0.2
    path = str(write(tmp_path, raw))
    for verb in (["check", path], ["predict", path], ["simulate", path, "--out", str(tmp_path / "run")]):
        assert main(verb) == 2
        assert 'network.toml: hop "ridge-dale": multipath occurrence is' in capsys.readouterr().err
    assert not (tmp_path / "run").exists()


@pytest.mark.parametrize(
    ("climate", "wanted"),
    [
        (
            {"rain_rate_001_mm_h": 120.0},
            "climate: rain_rate_001_mm_h is 120, where the place's monthly rainfall suggests 34.6 "
            "(13.8 to 86.5 go unremarked)",
        )
    ],
)
def test_a_climate_unlike_any_is_told(climate, wanted):
    assert told(triangle(climate=ClimateChange(**climate))) == [wanted]


def test_rain_for_a_third_of_the_year_is_no_cause_for_doubt():
    """Maps of ITU-R P.837-7 have 22 to 50 % on wet coasts of both hemispheres."""
    cold_and_wet = ClimateChange(monthly_temperature_c=(-20.0,) * 12, monthly_rainfall_mm=(150.0,) * 12)
    assert told(triangle(climate=cold_and_wet)) == []


def test_terrain_and_gradient_of_the_user_make_the_geoclimatic_factor():
    """ITU-R P.530-17, 2.3.1: K = 10^(-4.4 - 0.0027 dN1) (10 + s_a)^-0.46; p0 goes with K."""

    def occurrence(**climate):
        return design_hops(triangle(climate=ClimateChange(**climate)))[0].multipath.occurrence

    flat, rough = (occurrence(terrain_roughness_m=s_a) for s_a in (0.0, 190.0))
    assert rough / flat == pytest.approx((10.0 / 200.0) ** 0.46)
    steep = occurrence(terrain_roughness_m=0.0, refractivity_gradient=-500.0)
    mild = occurrence(terrain_roughness_m=0.0, refractivity_gradient=-300.0)
    assert steep / mild == pytest.approx(10.0 ** (0.0027 * 200.0))


def test_a_hop_with_several_doubts_of_its_file_is_told_of_once():
    network = long_hop()
    many = hop("a-b", "a", "b", 15.0, "1+1 SD+FD", antenna="large")
    told_of = [
        doubt.sentence()
        for doubt in doubts_of(triangle(hops=(many, *network.hops[1:])))
        if doubt.entry == 'hop "a-b"'
    ]
    assert len(told_of) == 1
    assert "space diversity at 15 GHz" in told_of[0]
    assert "; frequency diversity at 15 GHz" in told_of[0]


def test_every_verb_tells_it_once(tmp_path, capsys):
    raw = small()
    raw["climate"] = {"rain_rate_001_mm_h": 250.0}
    path, out = str(write(tmp_path, raw)), str(tmp_path / "run")
    for verb in (
        ["check", path],
        ["predict", path],
        ["simulate", path, "--years=1", "--block-years=1", "--no-rain", "--no-failures", "--out", out],
    ):
        assert main(verb) == 0
        shown = "".join(capsys.readouterr())
        assert shown.count("rain_rate_001_mm_h is 250, where") == 1
    assert "rain_rate_001_mm_h is 250" in (tmp_path / "run" / "manifest.json").read_text()


@pytest.mark.parametrize("verb", ["check", "predict", "simulate"])
def test_each_hop_is_worked_out_once(verb, tmp_path, monkeypatch):
    worked_out = []

    def counted(network, hop, *more):
        worked_out.append(hop.id)
        return design(network, hop, *more)

    design = hop_design._design
    monkeypatch.setattr(hop_design, "_design", counted)
    more = ["--years=1", "--block-years=1", "--no-rain", "--workers=1", f"--out={tmp_path / 'run'}"]
    assert main([verb, str(write(tmp_path, small())), *(more if verb == "simulate" else [])]) == 0
    assert worked_out == ["hill-mill", "mill-ridge", "ridge-dale"]
