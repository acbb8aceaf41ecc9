"""Slips of the pen that are legal values are doubted aloud, once each."""

from hopyears.models.network.hardware_entries import Modulation, PartChange, Radio
from hopyears.models.network.network import Antenna, Hop, Network, Site
from hopyears.models.network.network_doubts import doubts_of


def network(*, hop: dict[str, object] | None = None, **more: object) -> Network:
    sites = tuple(Site(id=i, latitude_deg=45.0, longitude_deg=11.0 + k / 10) for k, i in enumerate("ab"))
    base: dict[str, object] = {"id": "a-b", "site_a": "a", "site_b": "b", "frequency_ghz": 15.0, "radio": "r"}
    hops = (Hop(**{**base, "antenna": "d", **(hop or {})}),)  # type: ignore[arg-type]
    whole = {
        "sites": sites,
        "hops": hops,
        "radios": (Radio(id="r"),),
        "antennas": (Antenna(id="d", diameter_m=0.6),),
    }
    return Network(**{**whole, **more})  # type: ignore[arg-type]


def told(wrong: Network) -> list[str]:
    return [doubt.sentence() for doubt in doubts_of(wrong)]


def test_a_sound_network_raises_none() -> None:
    assert told(network()) == []


def test_modulations_out_of_order() -> None:
    steps = (
        Modulation(states=4, threshold_dbm=-85.0, capacity_mbit_s=40.0),
        Modulation(states=16, threshold_dbm=-88.0, capacity_mbit_s=80.0),
        Modulation(states=64, threshold_dbm=-70.0, capacity_mbit_s=60.0),
    )
    assert told(network(radios=(Radio(id="r", modulations=steps),))) == [
        'radio "r": threshold_dbm is -88 at 16 states, not above -85 at 4; '
        "capacity_mbit_s is 60 at 64 states, not above 80 at 16"
    ]


def test_lives_of_weeks() -> None:
    said = told(network(parts=(PartChange(kind="fan", mtbf_h=250.0), PartChange(kind="cable", mtbf_h=2e5))))
    assert said == ['part "fan": mtbf_h is 250; a mean life below 1000 h is likely a slip (hours are meant)']


def test_channels_narrower_than_any_plan() -> None:
    said = told(network(hop={"channel_width_mhz": 0.028}))
    assert said[0].startswith('hop "a-b": channel_width_mhz is 0.028 at 15 GHz; no ITU-R plan')
    assert told(network(hop={"channel_width_mhz": 1.75})) == []
    assert told(network(hop={"channel_width_mhz": 1.5}))[0].endswith("channels narrower than 1.75 MHz")
    low = {"channel_width_mhz": 0.5, "frequency_ghz": 1.4}
    assert not any("channels narrower" in text for text in told(network(hop=low)))
    # ITU-R F.635 (4 GHz) knows nothing below 10 MHz; F.701 (to 2.7 GHz) has 0.5 MHz; from memory.
    assert any("channels narrower" in text for text in told(network(hop=low | {"frequency_ghz": 3.6})))


def test_a_lower_antenna_in_the_ground() -> None:
    low = {"scheme": "1+1 SD", "antenna_height_b_m": 6.0, "antenna_separation_m": 8.0}
    said = [text for text in told(network(hop=low)) if "ground" in text]
    assert len(said) == 1
    assert "antenna_separation_m is 8 below an antenna at 6 m; the lower antenna would" in said[0]
    assert not any("ground" in text for text in told(network(hop=low | {"antenna_height_b_m": 9.0})))
