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


def test_multipath_beyond_the_laws_and_a_margin_below_zero_are_one_warning_of_the_hop():
    doubts = told(long_hop(geoclimatic_factor=0.002, transmit_power_dbm=-30.0, channel_width_mhz=2000.0))
    assert len(doubts) == 1
    assert doubts[0].startswith('hop "a-b": the margin in clear air is -')
    assert "dB at the lowest modulation, so that the hop never carries anything; " in doubts[0]
    assert "; multipath occurrence is 2048 %; the laws of P.530 are drawn up to 2000 %" in doubts[0]


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
        ),
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
