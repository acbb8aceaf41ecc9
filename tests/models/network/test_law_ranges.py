"""Each law is doubted just beyond the range that ITU-R P.530-18 states for it (sections: from memory)."""

import pytest

from hopyears.models.network.hardware_entries import Antenna, Radio
from hopyears.models.network.law_ranges import outside_law_ranges
from hopyears.models.network.network import Hop, Network, Site

KM_PER_DEGREE = 111.195  # of a great circle of radius 6371 km

RAIN = "the rain method of P.530"
MULTIPATH = "the multipath law of P.530 is stated for up to 185 km"
BAND = "the multipath law of P.530 is stated from 15 GHz"
POLARISATIONS = "the cross-polar discrimination"
SPACE, FREQUENCY = "space diversity", "frequency diversity"

RANGES = [
    # 2.4.1: rain up to 60 km. 2.3.1: multipath up to 185 km, 15/d to 45 GHz.
    (RAIN, {}, "km", (59.9, 60.2)),
    (MULTIPATH, {"frequency_ghz": 7.0}, "km", (184.5, 185.5)),
    (BAND, {"km": 10.0}, "frequency_ghz", (1.49, 1.52)),
    (BAND, {"km": 10.0}, "frequency_ghz", (45.0, 45.1)),
    # 4.2.1: 8 to 35 GHz, for two polarisations in one channel.
    (POLARISATIONS, {"scheme": "2+0 XPIC"}, "frequency_ghz", (7.9, 8.0)),
    (POLARISATIONS, {"scheme": "2+0 XPIC"}, "frequency_ghz", (35.0, 35.1)),
    # 6.2.1: 2 to 11 GHz, 3 to 23 m, 43 (reasonably 25) to 240 km. 6.2.2: 2 to 11 GHz, 30 to 70 km.
    *((SPACE, {"scheme": scheme, "km": 40.0}, "frequency_ghz", ends)
      for scheme in ("1+1 SD", "1+1 SD FD") for ends in ((1.9, 2.0), (11.0, 11.1))),
    (SPACE, {"scheme": "1+1 SD", "km": 40.0}, "antenna_separation_m", (2.9, 3.0)),
    (SPACE, {"scheme": "1+1 SD", "km": 40.0}, "antenna_separation_m", (23.0, 23.1)),
    (SPACE, {"scheme": "1+1 SD"}, "km", (24.8, 25.1)),
    (SPACE, {"scheme": "1+1 SD"}, "km", (239.5, 240.5)),
    *((FREQUENCY, {"scheme": scheme, "km": 40.0}, "frequency_ghz", ends)
      for scheme in ("1+1 FD", "1+1 SD FD") for ends in ((1.9, 2.0), (11.0, 11.1))),
    (FREQUENCY, {"scheme": "1+1 FD"}, "km", (29.8, 30.1)),
    (FREQUENCY, {"scheme": "1+1 FD"}, "km", (69.8, 70.2)),
]  # fmt: skip


def told(law: str, *, km: float = 20.0, **fields: object) -> bool:
    sites = (
        Site(id="a", latitude_deg=40.0, longitude_deg=9.0),
        Site(id="b", latitude_deg=40.0 + km / KM_PER_DEGREE, longitude_deg=9.0),
    )
    known = {"id": "a-b", "from": "a", "to": "b", "frequency_ghz": 8.5, "radio": "r", "antenna": "d"}
    network = Network(
        sites=sites,
        hops=(Hop(**known | fields),),  # type: ignore[arg-type]
        radios=(Radio(id="r"),),
        antennas=(Antenna(id="d", diameter_m=1.2),),
    )
    return any(law in doubt.sentence() for doubt in outside_law_ranges(network))


@pytest.mark.parametrize(("law", "fields", "field", "ends"), RANGES)
def test_a_law_is_doubted_just_beyond_its_range(
    law: str, fields: dict[str, object], field: str, ends: tuple[float, float]
) -> None:
    low, high = (told(law, **fields | {field: value}) for value in ends)  # type: ignore[arg-type]
    assert low != high, "only one of the two lies within"
    inside = {"km": 50.0, "frequency_ghz": 10.0, "antenna_separation_m": 10.0}[field]
    outer = ends[0] if low else ends[1]
    assert told(law, **fields | {field: outer})  # type: ignore[arg-type]
    assert not told(law, **fields | {field: inside})  # type: ignore[arg-type]


def test_short_hops_know_no_multipath_and_plain_ones_no_diversity() -> None:
    assert not told(BAND, km=2.0, frequency_ghz=80.0)
    assert not any(told(law, km=5.0, frequency_ghz=80.0) for law in (POLARISATIONS, SPACE, FREQUENCY))
