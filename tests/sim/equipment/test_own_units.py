"""Indoor units of the user's own in the plant: shared cards, line ports that feed, units stopped, alarms."""

import numpy as np
import pytest
from bare_plant import HOUR, pair
from hand_made_log import failure_log
from plant_entries import AT_ONCE, crew_at, work
from small_networks import RADIO, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import INDOOR, PART_KINDS, PartKind, Place, Repair, kinds_at
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import IndoorUnit, Power, Site
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.plant_builder import build_plant
from hopyears.sim.equipment.segments import LinkStates, equipment_segments
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.streams import Streams
from hopyears.sim.textbook.common_parts import part_unavailability, power_unavailability
from hopyears.sim.textbook.predict import hop_equipment_unavailability
from hopyears.sim.wording.palette import cause_group

PLAIN = ModelOptions(rain=False, anchoring=False)


def ready(scheme="1+0", fed=False, power=(), indoor_units=0, **unit):
    """The triangle with indoor units of these properties at every site."""
    network = triangle(scheme, indoor_units=(IndoorUnit(id="standard", **unit),), power=power)
    sites = tuple(Site(**{**site.model_dump(), "indoor_units": indoor_units}) for site in network.sites)
    radios = (RADIO.model_copy(update={"powered_by_line_card": fed}),)
    return prepare(network.model_copy(update={"sites": sites, "radios": radios}), PLAIN)


def ids(found, indices):
    return [found.built.plant.parts[i].id for i in indices]


def test_hops_of_one_card_have_that_part_in_common():
    found = ready(ports_per_modem_card=4)
    card = "a/unit-1/modem-card-1"
    # a-b has one radio at a, a-c a pair: its second radio stands on a second card.
    assert card in ids(found, found.built.hops[0].own)
    assert card in ids(found, found.built.hops[1].own)
    assert "a/unit-1/modem-card-2" in ids(found, found.built.hops[1].own)
    kinds = [part.kind for part in found.built.plant.parts]
    assert kinds.count("modem_card") == 2 + 1 + 2  # at a, b and c
    part = next(part for part in found.built.plant.parts if part.id == card)
    assert part.plainly_seen  # the single radio of a-b is never muted
    other = next(part for part in found.built.plant.parts if part.id == "a/unit-1/modem-card-2")
    assert not other.plainly_seen


def test_a_card_of_its_own_changes_the_transmitter_and_a_common_one_does_not():
    apart, together = ready(ports_per_modem_card=4), ready(ports_per_modem_card=4, modem_card_slots=1)
    for found, wanted in ((apart, 2), (together, 0)):
        group = found.built.plant.groups[found.built.hops[1].groups[0][0]]
        cards = [name for chain in group.chains for name in ids(found, chain) if "modem" in name]
        assert len(cards) == wanted


def test_textbooks_know_that_a_common_card_takes_a_pair_down():
    """IEC 61078: a part common to both branches stands in series with them."""
    apart, together = ready(ports_per_modem_card=4), ready(ports_per_modem_card=4, modem_card_slots=1)
    u = sum(part_unavailability(together, site)["modem_card"] for site in together.built.hops[1].sites)
    more = hop_equipment_unavailability(together, 1) - hop_equipment_unavailability(apart, 1)
    assert more == pytest.approx(u, rel=0.01)


def test_a_radio_that_a_line_card_feeds_falls_with_it():
    fed = ready(fed=True, own_line_ports={})
    own = ids(fed, fed.built.hops[0].own)
    assert "a/line-card-1" in own
    assert not any("modem" in part.id for part in fed.built.plant.parts)
    by_bit = dict(zip(own, fed.designs[0].parts, strict=True))
    assert by_bit["a/line-card-1"].cause is Cause.LINE_CARD
    assert by_bit["a/line-card-1"].radios == (0,)
    assert len({part.id for part in fed.built.plant.parts}) == len(fed.built.plant.parts)
    unit_fed = ready(fed=True)
    assert not any("line-card" in name for name in ids(unit_fed, unit_fed.built.hops[0].own))
    outside = ids(unit_fed, [part.part for part in unit_fed.built.hops[0].outside])
    assert "a/unit-1/chassis-1" in outside


def test_an_own_port_that_stops_its_unit_holds_the_others_down_while_it_is_mended():
    found = ready(own_modem_ports=1, own_port_stops_unit=True)
    stop = [part for part in found.built.hops[1].outside if part.mending and part.end == 0]
    assert ids(found, [part.part for part in stop]) == ["a-b/a/modem-1"]
    assert stop[0].radios == (0, 1)
    calm = ready(own_modem_ports=1)
    assert not any(part.mending for hop in calm.built.hops for part in hop.outside)


def causes_over_time(found, hop, episodes):
    """Start of each segment [s] and the causes of end 0 sending, for failures given by name."""
    plant = found.built.plant
    names = [part.id for part in plant.parts]
    rows = [{**row, "part": names.index(row["part"])} for row in episodes]
    n = len(plant.parts), len(plant.sites)
    log = failure_log(*n, 1000.0, rows, n_groups=len(plant.groups))
    segments = equipment_segments(found.built.hops[hop], LinkStates(found.designs[hop]), log)
    flags = [int(np.bitwise_or.reduce(state.causes.reshape(-1))) for state in segments.states]
    return [(float(t), flags[row]) for t, row in zip(segments.start_s, segments.state, strict=True)]


def test_what_falls_with_a_card_and_with_a_unit_that_is_stopped():
    modem = int(Cause.MODEM_CARD)
    shared = ready(ports_per_modem_card=4, modem_card_slots=1)
    episode = {"part": "a/unit-1/modem-card-1", "failed": 100.0, "arrived": 150.0, "mended": 300.0}
    for hop, end in ((0, "a-b"), (1, "a-c")):
        assert causes_over_time(shared, hop, [episode]) == [(0.0, 0), (100.0, modem), (300.0, 0)], end
    stops = ready(own_modem_ports=1, own_port_stops_unit=True)
    episode["part"] = "a-b/a/modem-1"
    assert causes_over_time(stops, 0, [episode]) == [(0.0, 0), (100.0, modem), (300.0, 0)]
    # The other hop of the unit is down only while the crew works.
    assert causes_over_time(stops, 1, [episode]) == [(0.0, 0), (150.0, modem), (300.0, 0)]
    calm = ready(own_modem_ports=1)
    assert causes_over_time(calm, 1, [episode]) == [(0.0, 0)]
    fed = ready(fed=True, own_line_ports={})
    episode["part"] = "a/line-card-1"
    assert (100.0, int(Cause.LINE_CARD)) in causes_over_time(fed, 0, [episode])


def test_a_standby_in_another_unit_takes_over_while_the_first_is_stopped():
    """Two units at a site: mending a stranger's port stops chain 0, and chain 1 transmits meanwhile."""
    never = Law.fixed(1e9)
    parts = [
        PlantPart("main", "modem_card", 0, life=never),
        PlantPart("standby", "modem_card", 0, life=never),
        PlantPart("stranger", "modem_card", 0, life=Law.fixed(1000.0), mend=Law.fixed(3.0)),
    ]
    group = pair(stopped_by=((2,), ()))
    crews = [crew_at("crew", 45.0, 11.0)]
    plant = Plant([PlantSite("s", 45.0, 11.0)], parts, [group], crews)
    log = simulate_failures(plant, Streams(3, 0), 1000.0 * HOUR, warm_up_s=0.0)
    (row,) = np.flatnonzero(log.failures.part == 2)
    times, chains = log.transmitters.of(0)
    begun = np.searchsorted(times, log.failures.arrived_s[row])
    assert times[begun] == log.failures.arrived_s[row]
    assert chains[begun : begun + 2].tolist() == [-1, 1]
    # It does not revert: the standby goes on when the first unit is back.
    assert len(times) == begun + 2


def unseen_plant(*, alarms: bool, visits: bool) -> Plant:
    """Parts whose failures stop nothing, at one site, visited every 50 hours or never."""
    life = Law.exponential(300.0)
    kind = PartKind(
        "quiet",
        Cause.COMMON_UNIT,
        Place.UNIT,
        INDOOR,
        life,
        Repair.INDOOR,
        Law.fixed(0.01),
        affecting_share=0.0,
    )
    visit = work(per_year=SECONDS_PER_YEAR / (50 * HOUR), duration=Law.fixed(0.01), outage_share=0.0)
    site = PlantSite("s", 45.0, 11.0, planned=(visit,) if visits else (), alarms=alarms)
    crews = [crew_at("crew", 45.0, 11.0, 2)]
    return Plant([site], [PlantPart("p", "quiet", 0)], crews=crews, kinds={"quiet": kind}, repair=AT_ONCE)


def unnoticed_h(plant: Plant, seed: int) -> np.ndarray:
    log = simulate_failures(plant, Streams(seed, 0), 2 * SECONDS_PER_YEAR)
    over = log.failures.mended_s < log.duration_s
    return ((log.failures.noticed_s - log.failures.failed_s) / HOUR)[over]


def test_without_an_alarm_board_quiet_failures_wait_for_the_next_visit():
    """Between visits every T hours a failure at a random moment waits T / 2 (renewal theory); dates here fall
    on whole days, so that gaps of 48 and 72 hours give half their mean square over their mean."""
    waits = np.concatenate([unnoticed_h(unseen_plant(alarms=False, visits=True), seed) for seed in range(20)])
    share = 11.0 / 12.0  # of gaps of two days; the rest three, so that their mean is 50 hours
    gaps = np.array([48.0, 72.0])
    weights = np.array([share, 1.0 - share])
    expected = (weights * gaps**2).sum() / (2.0 * (weights * gaps).sum())
    error = waits.std() / np.sqrt(len(waits))
    assert abs(waits.mean() - expected) < 4.0 * error
    assert waits.max() <= 72.0 + 0.1
    assert unnoticed_h(unseen_plant(alarms=True, visits=True), 1).max() == 0.0


def test_without_alarms_and_visits_a_quiet_failure_is_never_seen():
    log = simulate_failures(unseen_plant(alarms=False, visits=False), Streams(1, 0), SECONDS_PER_YEAR)
    assert len(log.failures) == 1
    assert log.failures.noticed_s[0] == log.duration_s


def test_without_alarms_a_failed_main_radio_waits_for_the_routine_test():
    parts = [
        PlantPart("main", "outdoor_radio", 0, life=Law.fixed(5000.0)),
        PlantPart("standby", "outdoor_radio", 0, life=Law.fixed(1e9)),
    ]
    site = PlantSite("s", 45.0, 11.0, alarms=False)
    group, crews = pair(test=Law.fixed(2000.0)), [crew_at("crew", 45.0, 11.0)]
    mute = Plant([site], parts, [group], crews, repair=AT_ONCE)
    log = simulate_failures(mute, Streams(5, 0), 9000.0 * HOUR, warm_up_s=0.0)
    row = int(np.flatnonzero(log.failures.part == 0)[0])
    wait_h = (log.failures.noticed_s[row] - log.failures.failed_s[row]) / HOUR
    assert 0.0 < wait_h <= 2000.0
    assert log.failures.arrived_s[row] > log.failures.noticed_s[row] - 1.0


@pytest.mark.parametrize(
    ("installed", "needed", "battery_h"), [(1, 1, 0.0), (3, 2, 0.0), (1, 1, 3.0), (2, 1, 0.5)]
)
def test_rectifiers_of_a_site_are_built_and_bridged(installed, needed, battery_h):
    """k of n modules with independent repair (IEC 61078); the battery takes the first hours of each gap."""
    power = Power(
        id="standard", rectifiers=installed, rectifiers_needed=needed, battery_h=battery_h,
        mains_outages_per_year=0.0,
    )  # fmt: skip
    found = ready(power=(power,))
    plant = found.built.plant
    names = [part.id for part in plant.parts if part.kind == "rectifier"]
    assert names == [f"{site}/rectifier-{i + 1}" for site in "abc" for i in range(installed)]
    assert {part.spares for part in plant.parts if part.kind == "rectifier"} == {installed - needed}
    assert {site.power.rectifiers_needed for site in plant.sites} == {needed}
    u = part_unavailability(found, 0)["rectifier"]
    short = 1.0 - (1.0 - u) if installed == 1 else 3 * u**2 - 2 * u**3 if installed == 3 else u**2
    told = power_unavailability(found, 0)
    assert told == pytest.approx(short) if battery_h == 0.0 else 0.0 < told < short


ROWS = [
    PartKind("lamp", Cause.SOFTWARE, Place.SITE, INDOOR, Law.exponential(1e4), Repair.INDOOR, Law.fixed(1.0)),
    PartKind(
        "clock", Cause.COMMON_UNIT, Place.UNIT, INDOOR, Law.exponential(1e4), Repair.INDOOR, Law.fixed(1.0)
    ),
    PartKind("plug", Cause.CABLE, Place.RADIO, INDOOR, Law.exponential(1e4), Repair.OUTDOOR, Law.fixed(1.0)),
]


@pytest.mark.parametrize("row", ROWS, ids=[row.key for row in ROWS])
def test_a_new_kind_is_one_new_row(row, monkeypatch):
    monkeypatch.setitem(PART_KINDS, row.key, row)
    network = triangle("1+1 HSB")
    found = build_plant(network, design_hops(network))
    built = [i for i, part in enumerate(found.plant.parts) if part.kind == row.key]
    # One at each of three sites, one in each of their units, one for each of ten radios.
    assert len(built) == {Place.SITE: 3, Place.UNIT: 3, Place.RADIO: 10}[row.place]
    for hop in found.hops:
        outside = {part.part: part.cause for part in hop.outside}
        held = [i for i in built if i in hop.own or i in outside]
        assert held
        assert all(outside.get(i, int(row.cause)) == int(row.cause) for i in held)
    assert row in kinds_at(row.place)
    log = simulate_failures(found.plant, Streams(1, 0), 5 * SECONDS_PER_YEAR)
    assert set(built) & set(log.failures.part.tolist())


def test_every_kind_is_shown_in_its_group():
    for kind in PART_KINDS.values():
        label = kind.cause.name.lower().replace("_", " ")
        assert cause_group(label).label == kind.shown_as
