"""Importance by counterfactual: identities, monotone gains, and networks whose answer is known."""

from dataclasses import replace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.judging.cause import EQUIPMENT, Cause
from hopyears.models.network.network import Maintenance, PartChange, Power, Service, Site
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands import main
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.forced import by_hand
from hopyears.sim.rare.service_figures import UNAVAILABLE, ServiceFigures
from hopyears.sim.rare.strata import n_draws
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.services.service import sweep_services
from hopyears.sim.streams import Streams
from hopyears.sim.studies.counterfactual import BlockCase, plant_without, sharing_groups, targets_of
from hopyears.sim.studies.importance import ALL, importance, importance_table
from hopyears.sim.studies.replicated import SHARE_STUDIED, MonthStudy, ReplicatedStudy, unavailable_s
from hopyears.sim.studies.targets import CAUSE, HOP, PART, SINGLE, SITE, Target

YEARS = 2

SERVICES = (
    Service(id="long", site_a="a", site_b="b", committed_mbit_s=30.0, peak_mbit_s=100.0, kind="circuit"),
    Service(id="short", site_a="a", site_b="c", committed_mbit_s=50.0, kind="circuit"),
)


def network(**more):
    """Frequent failures, weak power and planned work on the triangle, so that two years show all of them."""
    sites = tuple(Site(**{**site.model_dump(), "power": "weak"}) for site in triangle().sites)
    fields = {
        "sites": sites,
        "services": SERVICES,
        "parts": (
            PartChange(kind="outdoor_radio", mtbf_h=3_000.0),
            PartChange(kind="controller", mtbf_h=20_000.0),
            PartChange(kind="line_card", mtbf_h=5_000.0),
        ),
        "power": (Power(id="weak", mains_outages_per_year=10.0, battery_h=0.5),),
        "maintenance": (Maintenance(site="a", every_days=90.0),),
    }
    return triangle(**{**fields, **more})


@pytest.fixture(scope="module")
def simulator():
    return BlockSimulator(prepare(network()))


@pytest.fixture(scope="module")
def draws(simulator):
    return simulator.draw(7, 0, YEARS)


@pytest.fixture(scope="module")
def case(simulator, draws):
    return BlockCase(simulator, draws)


def minutes(services):
    return np.array([unavailable_s(service) for service in services])


def same(one, other):
    """Seconds but for rounding: a history told by months adds them up month by month."""
    names = ("time_s", "result", "rate_mbit_s", "down", "causes")
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in names) and np.allclose(
        one.seconds, other.seconds, rtol=1e-14, atol=0.0
    )


def causes_met(service):
    met = 0
    for direction in (0, 1):
        met |= int(np.bitwise_or.reduce(service.down_intervals(direction)[2], initial=0))
    return met


def test_as_it_was_is_what_the_simulation_gives(simulator, draws, case):
    history = simulator.simulate(7, 0, YEARS)
    for mine, theirs in zip(case.services, history.services, strict=True):
        assert same(mine, theirs)


def test_the_plant_unchanged_changes_nothing(simulator, case):
    for mine, theirs in zip(
        case.services_with_plant(simulator.prepared.built.plant), case.services, strict=True
    ):
        assert same(mine, theirs)


def test_draws_judged_with_lower_thresholds_in_hand_give_the_same(simulator, draws, case):
    """Rain and fades that were drawn for weaker states than needed change nothing."""
    from hopyears.sim.hops.hop import hop_history

    for i, segments in enumerate(draws.segments[:2]):  # no service crosses the third
        low = 0.5 * simulator.thresholds[i].lowest_rain_db(segments.states)
        tops = simulator.thresholds[i].highest_power(segments.states)
        fades = simulator.fades(draws, i, min(2.0 * tops[0], 4.0), min(2.0 * tops[1], 4.0))
        again = hop_history(
            simulator.thresholds[i], segments, simulator.rain(draws, i, low), fades, draws.duration_s
        )
        before = case.hops[i]
        mine = sweep_services([again], [_alone(simulator, i)], draws.duration_s)[0]
        theirs = sweep_services([before], [_alone(simulator, i)], draws.duration_s)[0]
        assert unavailable_s(mine) == pytest.approx(unavailable_s(theirs), abs=5.0)
        assert mine.seconds.sum() == pytest.approx(theirs.seconds.sum())


def _alone(simulator, index):
    """A service over one hop alone."""
    return replace(simulator.prepared.demands[0], routes=(((0, 0),),))


def test_every_kind_of_target_is_there(simulator):
    targets = targets_of(simulator.prepared)
    assert Target(HOP, "a-b") in targets
    assert Target(SITE, "c") in targets
    assert Target(PART, "outdoor_radio") in targets
    assert {t.name for t in targets if t.kind == CAUSE} == {
        "power", "planned work", "lightning", "rain", "multipath",
    }  # fmt: skip
    quiet = prepare(network(), ModelOptions(rain=False, failures=False))
    assert {t.kind for t in targets_of(quiet)} == {HOP, CAUSE}
    assert [t.name for t in targets_of(quiet) if t.kind == CAUSE] == ["multipath"]


@pytest.mark.parametrize(
    ("target", "flags"),
    [
        (Target(PART, "outdoor_radio"), Cause.OUTDOOR_RADIO),
        (Target(PART, "line_card"), Cause.LINE_CARD),
        (Target(CAUSE, "power"), Cause.POWER),
        (Target(CAUSE, "planned work"), Cause.MAINTENANCE),
        (Target(CAUSE, "rain"), Cause.RAIN),
        (Target(CAUSE, "multipath"), Cause.MULTIPATH | Cause.DISPERSION),
    ],
)
def test_what_never_goes_wrong_is_no_cause_any_more(case, target, flags):
    before = [causes_met(service) for service in case.services]
    after = [causes_met(service) for service in case.services_without(target)]
    assert any(met & flags for met in before)
    assert not any(met & flags for met in after)
    assert minutes(case.services_without(target)).sum() < minutes(case.services).sum()


def test_a_hop_that_never_fails_leaves_its_service_only_the_line_cards(case):
    long, short = case.services_without(Target(HOP, "a-b"))
    assert causes_met(long) == Cause.LINE_CARD
    assert causes_met(short) & EQUIPMENT


def test_a_hop_that_carries_nothing_saves_nothing(case):
    for after, before in zip(case.services_without(Target(HOP, "c-b")), case.services, strict=True):
        assert after is before


def test_services_that_share_no_scarce_link_are_groups_apart():
    apart = prepare(network())
    assert sharing_groups(apart) == [0, 1]
    over_c = Service(id="round", site_a="a", site_b="b", committed_mbit_s=90.0, route=("a-c", "c-b"))
    joined = prepare(network(services=(*SERVICES, over_c)))
    assert sharing_groups(joined) == [0, 1, 1]


def test_judging_one_group_alone_gives_the_same(simulator, draws, case):
    alone = BlockCase(simulator, draws, [1])
    assert same(alone.services[0], case.services[1])
    for target in (
        Target(HOP, "a-c"),
        Target(SITE, "a"),
        Target(PART, "outdoor_radio"),
        Target(CAUSE, "rain"),
    ):
        assert same(alone.services_without(target)[0], case.services_without(target)[1])
    targets = targets_of(simulator.prepared, [1])
    assert [t.name for t in targets if t.kind == HOP] == ["a-c"]
    assert [t.name for t in targets if t.kind == SITE] == ["a", "c"]


def test_services_skipped_would_have_come_out_the_same(simulator, draws, case):
    """Every target judged with all services swept again, nothing skipped."""
    for target in targets_of(simulator.prepared):
        if target.kind in (SITE, PART):
            plant = plant_without(simulator.prepared, target)
            log = simulator.failures(plant, draws.streams, draws.duration_s, draws.weather)
            hops = [case._hop(i, simulator.segments(i, log)) for i in (0, 1)] + case.hops[2:]
            whole = simulator.services(hops, log, draws.duration_s)
            for mine, theirs in zip(case.services_without(target), whole, strict=True):
                assert same(mine, theirs)


def test_a_site_that_never_fails_takes_its_power_work_and_indoor_units(simulator, case):
    plant = plant_without(simulator.prepared, Target(SITE, "a"))
    log = simulator.failures(plant, case._draws.streams, case._draws.duration_s, case._draws.weather)
    at_a = [site.id for site in plant.sites].index("a")
    for intervals in (log.sites.mains_lost, log.sites.power_down, log.sites.maintenance):
        assert intervals.of(at_a)[0].size == 0
        assert (intervals is log.sites.maintenance) or len(intervals.start_s)
    kinds = {plant.parts[part].kind for part in log.failures.part[log.failures.site == at_a]}
    assert "outdoor_radio" in kinds
    assert not kinds & {"controller", "line_card", "mast", "software", "power_distribution"}


def test_failures_of_other_parts_are_drawn_alike(simulator, draws):
    plant = plant_without(simulator.prepared, Target(PART, "line_card"))
    log = simulator.failures(plant, draws.streams, draws.duration_s, draws.weather)
    kind = plant.part_kind
    cards = plant.kind_names.index("line_card")
    first = {}
    for each in (draws.log, log):
        failures = each.failures
        others = kind[failures.part] != cards
        first[id(each)] = {}
        for part, failed_s in zip(failures.part[others], failures.failed_s[others], strict=True):
            first[id(each)].setdefault(int(part), float(failed_s))
    fresh = {part: t for part, t in first[id(draws.log)].items() if t > 0.0}
    moved = [part for part, t in fresh.items() if first[id(log)].get(part) != t]
    assert len(fresh) > 5
    assert len(moved) <= 0.25 * len(fresh)  # a part that failed before lives on from another mending
    assert not (kind[log.failures.part] == cards).any()


def test_a_single_part_is_spared_wear_and_lightning(simulator, draws):
    parts = simulator.prepared.built.plant.parts
    radio = next(i for i, part in enumerate(parts) if part.kind == "outdoor_radio")
    plant = plant_without(simulator.prepared, Target(SINGLE, parts[radio].id))
    assert radio not in plant.outdoor_parts
    assert plant.outdoor_parts.size == simulator.prepared.built.plant.outdoor_parts.size - 1
    for index in {int(part) for part in draws.log.failures.part}:
        target = Target(SINGLE, parts[index].id)
        log = simulator.failures(
            plant_without(simulator.prepared, target), draws.streams, draws.duration_s, draws.weather
        )
        assert index not in log.failures.part
        assert set(draws.log.failures.part.tolist()) - {index} <= set(log.failures.part.tolist()) | {index}


def test_sparing_each_part_of_a_kind_saves_no_more_than_sparing_the_kind(simulator, case):
    """Each part by itself, where failures of the kind do not overlap, adds up to the kind."""
    targets = targets_of(simulator.prepared, single_parts=True)
    cards = {part.id for part in simulator.prepared.built.plant.parts if part.kind == "line_card"}
    singles = [target for target in targets if target.kind == SINGLE and target.name in cards]
    assert {target.name for target in singles} == cards
    assert not any(target.kind == SINGLE for target in targets_of(simulator.prepared))
    before = sum(unavailable_s(service) for service in case.services)

    def saved_s(target):
        return before - sum(unavailable_s(service) for service in case.services_without(target))

    whole = saved_s(Target(PART, "line_card"))
    apart = [saved_s(target) for target in singles]
    assert whole > 0.0
    assert sum(apart) == pytest.approx(whole, rel=0.05)


def test_only_a_plants_own_targets_change_it(simulator):
    with pytest.raises(ValueError, match="target is hop a-b; must be one of the plant's"):
        plant_without(simulator.prepared, Target(HOP, "a-b"))


def test_the_table_pairs_blocks():
    targets = (Target(HOP, "x"), Target(CAUSE, "rain"))
    hour = 3600.0
    base = np.array([[10.0, 1.0], [20.0, 3.0], [60.0, 2.0]])
    rain = base - np.array([[1.0, 0.0], [1.1, 0.0], [0.9, 0.0]])
    seconds = hour * np.stack([base, base, rain], axis=1)
    seconds = np.stack([seconds, np.zeros_like(seconds)], axis=-1)
    unseen_s = np.full((1, 2, 2), 4.0 * hour / 2)
    services = dict(zip(("s", "t"), seconds[:, 0, :, 0].mean(axis=0) / 2, strict=True))
    table = importance_table([seconds / 2], targets, services, unseen_s=unseen_s)
    first = table.iloc[0]
    assert (first["service"], first["kind"], first["target"]) == ("s", "cause", "rain")
    assert first["saved_min_per_year"] == pytest.approx(30.0)
    assert first["unavailable_min_per_year"] == pytest.approx(900.0)
    assert first["share"] == pytest.approx(1 / 30)
    assert first["saved_min_per_year_low"] > 20.0  # far sharper than the outage, 10 to 60 hours
    assert first["sure"]
    spared = table[table["target"] == "x"]
    assert (spared["saved_min_per_year"] == 0.0).all()
    assert not spared["sure"].any()
    # Nothing saved in six years is a bound, not a zero: 3.69 outages of four hours.
    one = spared[spared["service"] == "s"].iloc[0]
    assert one["saved_min_per_year_high"] == pytest.approx(-np.log(0.025) * 240.0 / 6)
    whole = table[table["service"] == ALL]
    assert whole["saved_min_per_year"].max() == pytest.approx(30.0)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "run"
    simulate(source_of(network()), RunRequest(years=2, seed=7, block_years=1), folder)
    return open_run(folder)


def test_as_it_was_is_what_the_run_has(run):
    results = run.folder.read_results()["services"].to_pandas().set_index("service")
    table = importance(run)
    assert set(table["service"]) == {"long", "short", ALL}
    for service, rows in table[table["service"] != ALL].groupby("service"):
        assert len(rows) == len(targets_of(run.prepared))
        assert rows["unavailable_min_per_year"].iloc[0] == pytest.approx(
            results.loc[service, "unavailable_min_per_year"]
        )
    alone = importance(run, service="short").set_index(["kind", "target"])
    whole = table[table["service"] == "short"].set_index(["kind", "target"])
    assert alone.equals(whole.loc[alone.index])


@pytest.mark.slow
def test_two_workers_find_the_same_as_one(run):
    assert importance(run, workers=1).equals(importance(run, workers=2))


def test_the_study_of_a_block_has_a_row_for_each_target(simulator):
    targets = (Target(HOP, "a-b"), Target(CAUSE, "rain"))
    seconds = MonthStudy(simulator.prepared, 7, YEARS, targets, (0, 1)).block(0)[..., 0].sum(axis=(2, 3))
    assert seconds.shape == (3, 2)
    assert (seconds[1:, 0] < seconds[0, 0]).any()


def test_without_weather_a_block_is_all_its_own_failures():
    """Then gains come from replications alone; masts, put in by hand, from no history."""
    prepared = prepare(network(), ModelOptions(rain=False, multipath=False, replications=8))
    targets = targets_of(prepared)
    whole, histories, forced, nights = ReplicatedStudy(prepared, 7, YEARS, targets, (0, 1)).block(0)
    assert not whole.any()
    assert len(nights) == 0
    gains = [units[:, :1] - units[:, 1:] for units in (histories, forced)]
    mast = targets.index(Target(PART, "mast"))
    assert gains[0].any()
    assert not gains[0][:, mast].any()
    # A mast put in is all that a world without masts is spared.
    rare = by_hand(prepared, alone(BlockSimulator(prepared)))[0]
    plant = prepared.built.plant
    drawn = rare.drawn(plant, Streams(7, 0), len(forced))
    masts = [plant.parts[rare.events[place]].kind == "mast" for place in drawn]
    assert any(masts)
    assert np.array_equal(gains[1][masts, mast], forced[masts, 0])


def test_the_study_adds_up_to_what_the_run_met(tmp_path):
    """As it was, the four strata of a block are those of the run."""
    options = ModelOptions(replications=SHARE_STUDIED)
    request = RunRequest(years=2, seed=7, block_years=1, options=options)
    opened = open_run(simulate(source_of(network()), request, tmp_path / "run").path)
    seen = ServiceFigures.read(opened.prepared, opened.folder).seen
    strata = ReplicatedStudy(opened.prepared, 7, 1, (), (0, 1)).block(1)
    assert strata[0][0, 0, :, 0] == pytest.approx((seen.blocks - seen.own)[1, :, BOTH, UNAVAILABLE])
    before = n_draws(SHARE_STUDIED, 0)[:3]
    for found, run, first in zip(strata[1:], (seen.histories, seen.forced, seen.nights), before, strict=True):
        assert len(found)
        assert found[:, 0, :, 0] == pytest.approx(run[first : first + len(found), :, BOTH, UNAVAILABLE])
    table = importance(opened)
    saved = table[table["kind"] != CAUSE]
    assert (saved["saved_min_per_year_high"] > 0.0).all()  # nothing saved is a bound, not a zero


@pytest.mark.slow
def test_gains_with_replications_have_the_mean_of_plain_ones():
    """Of parts, a site, a hop and the supplies over 50 blocks of a year each, without weather."""
    targets = (Target(PART, "outdoor_radio"), Target(SITE, "a"), Target(HOP, "a-b"), Target(CAUSE, "power"))
    means, variances = [], []
    for replications, first in ((0, 0), (SHARE_STUDIED, 100)):
        options = ModelOptions(rain=False, multipath=False, replications=replications)
        study = ReplicatedStudy(prepare(network(), options), 7, 1, targets, (0, 1))
        blocks = [study.block(number) for number in range(first, first + 50)]
        strata = [np.concatenate(units) for units in zip(*blocks, strict=True)]
        gains = [(units[:, :1] - units[:, 1:])[..., 0] for units in strata if len(units)]
        means.append(sum(gain.mean(axis=0) for gain in gains))
        variances.append(sum(gain.var(axis=0, ddof=1) / len(gain) for gain in gains))
    apart = np.abs(means[0] - means[1]) / np.sqrt(variances[0] + variances[1] + 1e-9)
    assert apart.max() < 4.0
    assert (means[0] > 10.0 * np.sqrt(variances[0] / 50)).sum() >= 5
    # Counted twice, they are seen (negative control).
    assert (np.abs(means[0] - 2.0 * means[1]) / np.sqrt(variances[0] + 4.0 * variances[1] + 1e-9)).max() > 4.0


def test_the_verb_prints_and_writes(run, tmp_path, capsys):
    folder = str(run.folder.path)
    words = ["importance", folder, "--service", "long", "--top", "4", "--workers", "1"]
    assert main([*words, "--csv", str(tmp_path / "table.csv")]) == 0
    said = capsys.readouterr().out
    assert said.startswith("long: ")
    assert "saved had it never gone wrong" in said
    assert (tmp_path / "table.csv").read_text().startswith("service,kind,target,")
    assert main(["importance", folder, "--service", "none"]) == 2
    assert '--service is "none"; must be a service of the run: long, short' in capsys.readouterr().err
    assert main(["importance", folder, "--blocks", "0"]) == 2
    assert "--blocks is 0; must be at least 1" in capsys.readouterr().err
