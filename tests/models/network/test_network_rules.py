"""Rules between entries of a network: each names the entry, what it found and what it allows."""

import itertools
from typing import Any

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.basics.faults import Fault, FieldError, suggestion
from hopyears.models.network.climate_entry import ClimateChange
from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.money_entries import Prices
from hopyears.models.network.network import (
    Antenna,
    Crew,
    Depot,
    Hop,
    IndoorUnit,
    Maintenance,
    Modulation,
    Network,
    PartChange,
    Power,
    Radio,
    Service,
    Site,
)
from hopyears.models.network.network_doubts import doubts_of
from hopyears.models.network.network_rules import RULES, hop_graph, ring_sites
from hopyears.models.network.traffic_entries import Ring

PLACES = {"hill": (50.0, 10.0), "mill": (50.1, 10.0), "ridge": (50.1, 10.2), "dale": (50.3, 10.2)}


def site(name: str, **more: Any) -> Site:
    latitude, longitude = PLACES.get(name, (50.2, 10.1))
    return Site(**{"id": name, "latitude_deg": latitude, "longitude_deg": longitude} | more)


def hop(name: str, **more: Any) -> Hop:
    a, _, b = name.partition("-")
    return Hop(
        **{"id": name, "from": a, "to": b, "frequency_ghz": 18, "radio": "r18", "antenna": "dish"} | more
    )


def service(a: str, b: str, **more: Any) -> Service:
    return Service(**{"id": f"{a}>{b}".replace(">", "_"), "from": a, "to": b, "committed_mbit_s": 10} | more)


def network(**more: Any) -> Network:
    """A chain of four sites with one service over two of its hops."""
    return Network(
        **{
            "sites": tuple(site(name) for name in PLACES),
            "hops": tuple(hop(name) for name in ("hill-mill", "mill-ridge", "ridge-dale")),
            "radios": (Radio(id="r18", modulations=(Modulation(states=4), Modulation(states=64))),),
            "antennas": (Antenna(id="dish", diameter_m=0.6),),
            "services": (service("hill", "ridge"),),
        }
        | more
    )


def faults(wrong: Network) -> list[str]:
    return [fault.sentence() for rule in RULES for fault in rule(wrong)]


def doubts(odd: Network) -> list[str]:
    return [doubt.sentence() for doubt in doubts_of(odd)]


def with_hop(**more: Any) -> Network:
    return network(hops=(hop("hill-mill", **more), hop("mill-ridge"), hop("ridge-dale")))


def with_service(**more: Any) -> Network:
    return network(services=(service("hill", "ridge", **more),))


def test_network_in_order() -> None:
    assert faults(network()) == []
    assert doubts(network()) == []


def priced(*names: str) -> Network:
    return network(prices=Prices(once=dict.fromkeys(names, 1.0), life_years=10.0, discount_rate=0.05))


RING = ("hill-mill", "mill-ridge", "ridge-dale", "dale-hill")


def joined_rings(*chain: str) -> Network:
    """A ring, and a chain over further hops that begins on it."""
    more = {"x-ridge": hop("x-ridge"), "mill-x": hop("mill-x"), "x-dale": hop("x-dale")}
    more["again"] = hop("ridge-dale", id="again")
    return network(
        sites=tuple(site(name) for name in (*PLACES, "x")),
        hops=(*map(hop, RING), *more.values()),
        rings=(Ring(id="r", hops=RING), Ring(id="chain", hops=chain)),
    )


def ring_network(*rings: Ring) -> Network:
    return network(hops=tuple(map(hop, RING)), rings=rings)


HOP = 'hop "hill-mill": '
SERVICE = 'service "hill_ridge": '
CASES: list[tuple[Network, list[str]]] = [
    (with_hop(**{"to": "mil"}), [HOP + 'to is "mil"; must be a site id. Did you mean "mill"?']),
    (with_hop(**{"from": "xyz"}), [HOP + 'from is "xyz"; must be a site id']),
    (with_hop(radio="R18"), [HOP + 'radio is "R18"; must be a radio id. Did you mean "r18"?']),
    (with_hop(antenna="dish-2"), [HOP + 'antenna is "dish-2"; must be an antenna id. Did you mean "dish"?']),
    (with_hop(antenna_b="cup"), [HOP + 'antenna_b is "cup"; must be an antenna id']),
    (with_hop(reference_states=16), [HOP + "reference_states is 16; must be one of 4, 64 of radio r18"]),
    (
        network(services=(service("hill", "rigde"),)),
        ['service "hill_rigde": to is "rigde"; must be a site id. Did you mean "ridge"?'],
    ),
    (
        network(crews=(Crew(id="c", base="hil"),)),
        ['crew "c": base is "hil"; must be a site id. Did you mean "hill"?'],
    ),
    (network(depots=(Depot(id="d", base="q", stock={}),)), ['depot "d": base is "q"; must be a site id']),
    (
        network(maintenance=(Maintenance(site="mil", every_days=9),)),
        ['maintenance 1: site is "mil"; must be a site id. Did you mean "mill"?'],
    ),
    (
        network(
            sites=(site("hill", power="wek"), *map(site, ("mill", "ridge", "dale"))),
            power=(Power(id="weak"),),
        ),
        ['site "hill": power is "wek"; must be a power id or "standard". Did you mean "weak"?'],
    ),
    # Ids.
    (network(sites=(*map(site, PLACES), site("hill"))), ['site "hill": id is used 2 times; must be unique']),
    (
        network(antennas=(Antenna(id="dish", gain_dbi=38),) * 3),
        ['antenna "dish": id is used 3 times; must be unique'],
    ),
    (
        network(parts=(PartChange(kind="fan", swap_h=2), PartChange(kind="fan", mtbf_h=9))),
        ['part "fan": kind is used 2 times; must be unique'],
    ),
    # Lengths and places.
    (
        network(sites=(site("hill", latitude_deg=53.0), *map(site, ("mill", "ridge", "dale")))),
        [HOP + "path length is 322.650 km; must be 0.02 to 200 km. Check both sites' coordinates"],
    ),
    (
        network(sites=(site("hill", latitude_deg=50.1), *map(site, ("mill", "ridge", "dale")))),
        [HOP + "path length is 0.000 km; must be 0.02 to 200 km. Check both sites' coordinates"],
    ),
    (with_hop(**{"to": "hill"}), [HOP + 'to is "hill", the same as from; must be another site']),
    (
        network(sites=(*map(site, PLACES), site("far", longitude_deg=-60.0))),
        [
            'site "far": distance from the middle of the network is 3897 km; must be at most 2000 km. '
            "Check its coordinates"
        ],
    ),
    # Measured rain.
    (
        with_hop(rain_exceedance_db={"often": 3.0, "0.01": 30.0}),
        [
            HOP + 'rain_exceedance_db is given for "often", "0.01"; must be given for per cents of the year, '
            "as 0.01 = 32"
        ],
    ),
    (
        with_hop(rain_exceedance_db={"0.01": 30.0}),
        [HOP + "rain_exceedance_db is 0.01 = 30; must be two points or more, 0.00001 to 5 per cent"],
    ),
    (
        with_hop(rain_exceedance_db={"0.01": 30.0, "nan": 31.0}),
        [
            HOP
            + "rain_exceedance_db is 0.01 = 30, nan = 31; must be two points or more, 0.00001 to 5 per cent"
        ],
    ),
    (
        with_hop(rain_exceedance_db={"0.1": 31.0, "0.01": 30.0}),
        [HOP + "rain_exceedance_db is 0.01 = 30, 0.1 = 31; must be above 0 dB and rising as per cent falls"],
    ),
    (
        with_hop(rain_exceedance_db={"0.1": 9.0, "0.10": 9.5, "0.01": 30.0}),
        [HOP + "rain_exceedance_db is 0.01 = 30, 0.1 = 9, 0.1 = 9.5; must be one value for each per cent"],
    ),
    (
        with_hop(multipath_exceedance_db={"0.1": 31.0}),
        [HOP + "multipath_exceedance_db is 0.1 = 31; must be two points or more, 0.00001 to 5 per cent"],
    ),
    # Routes.
    (with_service(**{"to": "hill"}), [SERVICE + 'to is "hill", the same as from; must be another site']),
    (
        network(hops=(hop("hill-mill"), hop("ridge-dale"))),
        [SERVICE + 'route is none between "hill" and "ridge"; must be a chain of hops'],
    ),
    (
        with_service(route=("hill-mill", "mil-ridge")),
        [SERVICE + 'route[2] is "mil-ridge"; must be a hop id. Did you mean "mill-ridge"?'],
    ),
    (
        with_service(route=("hill-mill", "ridge-dale")),
        [SERVICE + 'route is broken at "mill", where "ridge-dale" does not end; must be a chain of hops'],
    ),
    (
        with_service(route=("hill-mill",)),
        [SERVICE + 'route is a chain that ends at "mill"; must be one that ends at "ridge"'],
    ),
    (
        with_service(route=("hill-mill", "mill-ridge", "mill-ridge", "mill-ridge")),
        [SERVICE + 'route is back at "mill" with "mill-ridge"; must be a chain that meets no site twice'],
    ),
    (
        with_service(protection="protected", protecting_route=("mill-ridge",)),
        [
            SERVICE + 'protecting_route is broken at "hill", where "mill-ridge" does not end; '
            "must be a chain of hops"
        ],
    ),
    # An entry at fault, or one that a rule passes over, hides no fault of the next.
    (
        network(services=(service("hill", "xyz"), service("mill", "mill"), service("dale", "dale"))),
        [
            'service "hill_xyz": to is "xyz"; must be a site id',
            'service "mill_mill": to is "mill", the same as from; must be another site',
            'service "dale_dale": to is "dale", the same as from; must be another site',
        ],
    ),
    (
        network(
            hops=(
                hop("hill-mill", multipath_exceedance_db={"1": 5, "0.01": 20}),
                hop("mill-ridge", geoclimatic_factor=1e-4),
                hop("ridge-dale", refractivity_75=45.0),
            ),
            climate=ClimateChange(multipath_edition=18),
        ),
        [
            'hop "mill-ridge": refractivity_75 is not given; must be '
            "dN75 of P.530-18's map at the hop's middle, with multipath_edition 18",
            'hop "ridge-dale": geoclimatic_factor is not given; must be '
            "K of P.530-18's map at the hop's middle, with multipath_edition 18",
        ],
    ),
    (
        network(hops=(hop("hill-mill"), hop("mill-ridge", bundle="b"), hop("ridge-dale", bundle="b"))),
        [
            'hop "ridge-dale": bundle is "b" from "ridge" to "dale"; '
            'must be from "mill" to "ridge" as hop "mill-ridge"'
        ],
    ),
    (
        with_hop(rain_exceedance_db={"0": 40.0, "0.01": 30.0}),
        [HOP + "rain_exceedance_db is 0 = 40, 0.01 = 30; must be two points or more, 0.00001 to 5 per cent"],
    ),
    # Contracts, demand profiles, prices.
    (
        network(contracts=(Contract(id="c", services=("hill_ridge", "x", "hill_ridge"), outages=1),)),
        [
            'contract "c": services is "hill_ridge" 2 times; must be different service ids',
            'contract "c": services is "x"; must be service ids',
        ],
    ),
    (network(contracts=(Contract(id="c", services=("hill_ridge",), outages=1),)), []),
    *(
        (
            with_service(kind=kind, demand_profile="day"),
            [
                SERVICE
                + f'demand_profile is "day"; must be left out with kind {kind}, which asks for all of '
                "its rate at all times"
            ],
        )
        for kind in ("circuit", "optical")
    ),
    (
        network(services=(service("hill", "ridge"), service("hill", "mill", demand_profile="day"))),
        ['service "hill_mill": demand_profile is "day"; must be a demand profile id'],
    ),
    (
        priced(
            "cable", "outdoor_radio", "outdoor_radio/r18", "outdoor_radio/18GHz", "outdoor_radio/r18/18GHz"
        ),
        [],
    ),
    *(
        (
            priced(wrong),
            [
                f'prices: once is "{wrong}"; must be outdoor_radio, or outdoor_radio/TYPE with TYPE one of '
                "r18, or outdoor_radio/TYPE/BAND with BAND one of 18GHz"
            ],
        )
        for wrong in (
            *("outdoor_radio/r23", "outdoor_radio/r23/18GHz", "outdoor_radio/r18/23GHz"),
            *("outdoor_radio/r18/18GHz/18GHz", "outdoor_radio/18GHz/r18"),
        )
    ),
    # Rings.
    (
        ring_network(
            Ring(id="r", hops=(*RING[:2], "dale-hil", "x")), Ring(id="s", hops=(*RING[:3], RING[0]))
        ),
        [
            'ring "r": hops[3] is "dale-hil"; must be a hop id. Did you mean "dale-hill"?',
            'ring "r": hops[4] is "x"; must be a hop id',
            'ring "s": hops is "hill-mill" again; must be hops of one ring, each once',
        ],
    ),
    (
        ring_network(Ring(id="s", hops=("hill-mill", "ridge-dale", "mill-ridge"))),
        [
            'ring "s": hops is no such chain; must be hops in order, round a ring or to another ring, '
            "that meet no site twice"
        ],
    ),
    (
        ring_network(Ring(id="r", hops=RING), Ring(id="s", hops=RING[::-1])),
        ['ring "s": hops is "dale-hill" again; must be hops of one ring, each once'],
    ),
    (ring_network(Ring(id="r", hops=(*RING[1:], RING[0]), blocked="mill-ridge")), []),
    (joined_rings("mill-x", "x-dale"), []),
    (
        joined_rings("mill-x", "x-ridge", "again"),
        [
            'ring "chain": hops is another ring between its ends; must be a ring that meets others in one '
            "site, or a chain that meets them at its ends"
        ],
    ),
    (
        ring_network(Ring(id="r", hops=RING, blocked="mill-rigde")),
        ['ring "r": blocked is "mill-rigde"; must be one of its hops. Did you mean "mill-ridge"?'],
    ),
]


@pytest.mark.parametrize(("wrong", "sentences"), CASES)
def test_fault(wrong: Network, sentences: list[str]) -> None:
    assert faults(wrong) == sentences


@given(st.lists(st.permutations("abcde").map(lambda ends: ends[:2]), min_size=3, max_size=5))
def test_a_ring_is_a_cycle_or_a_chain_of_graph_theory(ends: list[list[str]]) -> None:
    # Reference: networkx. Sites of a cycle have two hops each, those of a chain but its ends too, and all
    # hang together; hops that follow meet.
    found = ring_sites([hop("-".join(pair), id=f"h{i}") for i, pair in enumerate(ends)])
    graph = nx.Graph(ends)
    degrees = sorted(degree for _, degree in graph.degree)
    following = itertools.pairwise(ends)
    hang_together = (
        len(graph.edges) == len(ends)
        and nx.is_connected(graph)
        and all(set(one) & set(other) for one, other in following)
    )
    cycle = hang_together and degrees == [2] * len(ends) and bool(set(ends[0]) & set(ends[-1]))
    chain = hang_together and degrees == [1, 1] + [2] * (len(ends) - 1)
    assert (found is not None) == (cycle or chain)
    if found:
        assert (found[0] == found[-1]) == cycle
        assert [set(pair) for pair in itertools.pairwise(found)] == list(map(set, ends))


@pytest.mark.parametrize("turned", [False, True])
def test_sites_of_a_ring_in_order(turned: bool) -> None:
    names = [("b-a", "b-c", "d-c", "a-d"), ("a-b", "c-b", "c-d", "d-a")][turned]
    assert ring_sites([hop(name) for name in names]) in (list("abcda"), list("bcdab"))


def test_unknown_kinds_of_part_and_spare() -> None:
    said = faults(network(parts=(PartChange(kind="modemcard"),)))
    assert len(said) == 1
    assert said[0].startswith('part "modemcard": kind is "modemcard"; must be one of antenna, coupler, ')
    assert said[0].endswith('. Did you mean "modem_card"?')
    said = faults(network(depots=(Depot(id="d", base="hill", stock={"controllers": 1}),)))
    assert said[0].startswith('depot "d": stock is "controllers"; must be of kinds antenna, coupler, ')
    assert said[0].endswith('. Did you mean "controller"?')


def test_stocks_of_radios_are_kept_by_type_and_sub_band() -> None:
    told = {"outdoor_radio": 1, "outdoor_radio/r18": 1, "fan": 1, "mast": 1, "outdoor_radio/none": 1}
    said = faults(network(depots=(Depot(id="d", base="hill", stock=told),)))
    assert [each.partition("; ")[0] for each in said] == [
        'depot "d": stock is "mast"',
        'depot "d": stock is "outdoor_radio/none"',
    ]
    assert "outdoor_radio/r18" in said[1]


def test_given_routes_may_run_either_way_over_hops() -> None:
    route = ("ridge-dale", "mill-ridge", "hill-mill")
    assert faults(network(services=(service("dale", "hill", route=route),))) == []


def test_kinds_of_part_that_nothing_builds_are_refused() -> None:
    said = faults(network(parts=(PartChange(kind="common_unit", mtbf_h=1e5),)))
    assert said[0].startswith('part "common_unit": kind is "common_unit"; must be one of antenna, coupler, ')


def unit(**more: Any) -> IndoorUnit:
    return IndoorUnit(id="big", **more)


def test_indoor_units_exist_and_have_the_ports_that_are_needed() -> None:
    sites = (site("hill", indoor_unit="bg"), *map(site, list(PLACES)[1:]))
    assert faults(network(sites=sites, indoor_units=(unit(),))) == [
        'site "hill": indoor_unit is "bg"; must be an indoor unit id or "standard". Did you mean "big"?'
    ]
    sites = (site("hill", indoor_unit="big"), *map(site, list(PLACES)[1:]))
    bare = (unit(own_line_ports={"circuit": 1}, ports_per_line_card={"optical": 1}),)
    needs = 'needs line ports of indoor unit "big" at site "hill": circuit, optical'
    assert faults(network(sites=sites, indoor_units=bare)) == [
        f'service "hill_ridge": kind is "packet"; must be one that {needs}'
    ]
    fed = Radio(**{**network().radios[0].model_dump(), "powered_by_line_card": True})
    assert faults(network(sites=sites, indoor_units=bare, radios=(fed,), services=())) == [
        HOP + f'radio is "r18", powered by line card; must be one that {needs}'
    ]


DOUBTFUL: list[tuple[Network, list[str]]] = [
    (
        network(
            sites=(*map(site, PLACES), site("far", latitude_deg=50.0, longitude_deg=11.2)),
            hops=(*network().hops, hop("hill-far", frequency_ghz=7)),
        ),
        ['hop "hill-far": 86.0 km long; the rain method of P.530 is stated for up to 60 km'],
    ),
    (
        with_hop(frequency_ghz=80),
        [
            HOP + "80 GHz and 11.1 km; the multipath law of P.530 is stated from 15 GHz over the "
            "kilometres to 45 GHz"
        ],
    ),
    (
        with_hop(frequency_ghz=1.2),
        [
            HOP + "1.2 GHz and 11.1 km; the multipath law of P.530 is stated from 15 GHz over the "
            "kilometres to 45 GHz"
        ],
    ),
    (
        with_hop(frequency_ghz=38, scheme="2+0 XPIC"),
        [
            HOP
            + "two polarisations at 38 GHz; the cross-polar discrimination of P.530 in rain is stated for "
            "8 to 35 GHz"
        ],
    ),
    (
        network(
            sites=(site("hill"), site("mill")),
            hops=tuple(hop("hill-mill", id=str(n), frequency_ghz=60) for n in range(5)),
            services=(),
        ),
        [
            'hop "0" and 4 others alike ("1", "2", "3", ...): 60 GHz and 11.1 km; the multipath law of P.530 '
            "is stated from 15 GHz over the kilometres to 45 GHz"
        ],
    ),
    (
        with_hop(scheme="1+1 SD", frequency_ghz=7),
        [
            HOP + "space diversity at 7 GHz and 11.1 km with 8 m between the antennas; P.530 states its "
            "improvement for 2 to 11 GHz, 25 to 240 km and 3 to 23 m"
        ],
    ),
    (
        with_hop(scheme="1+1 FD"),
        [
            HOP + "frequency diversity at 18 GHz and 11.1 km; P.530 states its improvement for 2 to 11 GHz "
            "and 30 to 70 km"
        ],
    ),
    (
        network(sites=(*map(site, PLACES), site("idle"))),
        ['site "idle": no hop ends here; such a site changes nothing'],
    ),
    (
        with_service(protecting_route=("hill-mill", "mill-ridge")),
        [SERVICE + 'protection is "none", so its protecting_route changes nothing'],
    ),
    (
        network(
            hops=(*network().hops, hop("hill-ridge")),
            services=(service("hill", "ridge", protection="rerouted", protecting_route=("hill-ridge",)),),
        ),
        [SERVICE + 'protection is "rerouted", so its protecting_route changes nothing'],
    ),
    (
        with_service(protection="protected"),
        [SERVICE + 'protection is "protected", but only one route joins its ends'],
    ),
    (
        network(sites=(*map(site, PLACES), site("far", latitude_deg=58.0)), hops=(*network().hops,)),
        [
            'site "far" is 702 km from the middle of the network; one rain field, of the climate in the '
            "middle, serves all sites, which suits some 300 km",
            'site "far": no hop ends here; such a site changes nothing',
        ],
    ),
]


@pytest.mark.parametrize(("odd", "sentences"), DOUBTFUL)
def test_doubt(odd: Network, sentences: list[str]) -> None:
    assert faults(odd) == []
    assert doubts(odd) == sentences


@given(
    pairs=st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda p: p[0] < p[1]), min_size=1),
    twice=st.booleans(),
    ends=st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda p: p[0] != p[1]),
)
def test_protection_has_no_effect_just_where_one_simple_path_joins_the_ends(
    pairs: set[tuple[int, int]], twice: bool, ends: tuple[int, int]
) -> None:
    names = [f"s{i}" for i in range(8)]
    hops = [hop(f"s{a}-s{b}") for a, b in sorted(pairs)]
    if twice:
        hops.append(hop(hops[0].id, id="again"))
    meshed = network(
        sites=tuple(
            site(name, latitude_deg=50 + 0.1 * (i % 3), longitude_deg=10 + 0.1 * i)
            for i, name in enumerate(names)
        ),
        hops=tuple(hops),
        services=(service(names[ends[0]], names[ends[1]], protection="rerouted"),),
    )
    graph = hop_graph(meshed)
    ways = list(nx.all_simple_edge_paths(graph, names[ends[0]], names[ends[1]]))
    assert any("route is none" in text for text in faults(meshed)) == (not ways)
    if ways:
        assert any("only one route" in text for text in doubts(meshed)) == (len(ways) == 1)


def test_entries_are_found_by_id() -> None:
    fed = network(power=(Power(id="standard", battery_h=1),))
    assert fed.site("ridge").id == "ridge"
    assert fed.hop("ridge-dale").site_b == "dale"
    assert fed.radio("r18").id == "r18"
    assert fed.antenna("dish").diameter_m == 0.6
    assert fed.power_of(fed.site("hill")).battery_h == 1
    assert network().power_of(fed.site("hill")) == Power(id="standard")
    with pytest.raises(KeyError):
        fed.hop("none")
    assert fed.model_copy(update={"hops": fed.hops[:1]}).hops == fed.hops[:1]


def test_field_error_carries_its_parts() -> None:
    error = FieldError("states", "1", "2 or more")
    assert (error.field, error.found, error.allowed) == ("states", "1", "2 or more")
    assert str(error) == "states is 1; must be 2 or more"


@pytest.mark.parametrize(
    ("rectifiers", "needed", "message"),
    [(3, 3, ""), (0, 1, ""), (2, 3, "1 to rectifiers, 2"), (0, 2, "1 without rectifiers")],
)
def test_no_more_rectifiers_are_needed_than_there_are(rectifiers: int, needed: int, message: str) -> None:
    if not message:
        assert Power(id="p", rectifiers=rectifiers, rectifiers_needed=needed).rectifiers_needed == needed
        return
    with pytest.raises(ValueError, match=message):
        Power(id="p", rectifiers=rectifiers, rectifiers_needed=needed)


def test_a_site_in_the_sun_does_not_go_on_and_off_without_end() -> None:
    sun = dict(id="p", solar_harvest_h=(20.0,) * 12)
    assert Power(battery_h=0.5, solar_reconnect_share=0.2, **sun).battery_h == 0.5
    for battery_h, share in ((0.0, 1.0), (0.4, 0.2), (100.0, 1e-9)):
        with pytest.raises(ValueError, match=r"so much that the site can be on for 0\.1 h"):
            Power(battery_h=battery_h, solar_reconnect_share=share, **sun)


def test_suggestions() -> None:
    assert suggestion("mil", ["hill", "mill"]) == 'Did you mean "mill"?'
    assert suggestion("MILL", ["hill", "Mill"]) == 'Did you mean "Mill"?'
    assert suggestion("Modulation", ["polarisation", "scheme"]) == ""
    assert suggestion("Latitude", ["longitude_deg", "latitude_deg"]) == 'Did you mean "latitude_deg"?'
    assert suggestion("tx power", ["transmit_power_dbm"]) == ""
    assert suggestion("zzzz", ["hill", "mill"]) == ""
    assert suggestion("", ["hill"]) == ""
    assert suggestion("m" * 10_000, ["m" * 10_000]) == ""
    assert Fault("", "key", '"a"', "b").sentence() == 'key is "a"; must be b'
