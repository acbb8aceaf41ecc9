"""Stories of single outages: found again in the block simulated anew, and consistent with the run."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.basics.calendar import Date, date_of
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import PartChange, Service
from hopyears.sim.blocks.block import BlockSimulator, hop_line
from hopyears.sim.commands import main
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.rain.rain_kernel import attenuation_at, rain_shares
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.storage.whole_file import CHECKSUM, json_bytes
from hopyears.sim.studies.explain import Outage, cause_shares, explain, worst_outages
from hopyears.sim.studies.explain_timeline import SERVICE
from hopyears.sim.wording.wording import span

BLOCK_YEARS = 2


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A run of four years in which radios fail often."""
    path = tmp_path_factory.mktemp("runs") / "run"
    network = triangle(
        parts=(PartChange(kind="outdoor_radio", mtbf_h=20_000.0),),
        services=(
            Service(id="one", site_a="a", site_b="b", committed_mbit_s=30.0, peak_mbit_s=100.0),
            Service(id="two", site_a="a", site_b="c", committed_mbit_s=50.0),
        ),
    )
    simulate(source_of(network), RunRequest(years=4, seed=3, block_years=BLOCK_YEARS), path)
    return path


@pytest.fixture(scope="module")
def run(folder):
    return open_run(folder)


@pytest.fixture(scope="module")
def outages(run):
    return worst_outages(run, "one", 10_000)


@pytest.fixture(scope="module")
def failed(run, outages):
    """Story of the longest outage with a radio among its causes."""
    return explain(run, "one", next(each for each in outages if each.causes & Cause.OUTDOOR_RADIO))


@pytest.fixture(scope="module")
def faded(run, outages):
    """Story of the longest outage by rain or multipath alone."""
    weather = int(Cause.RAIN | Cause.MULTIPATH | Cause.DISPERSION)
    return explain(run, "one", next(each for each in outages if not each.causes & ~weather))


def test_outages_are_all_listed_longest_first(run, outages):
    lengths = [outage.duration_s for outage in outages]
    assert lengths == sorted(lengths, reverse=True)
    stored = [run.folder.read_block(block) for block in run.folder.finished_blocks()]
    totals = [table["service_total"].to_pandas().query("entity == 0 and direction == 2") for table in stored]
    assert sum(lengths) == sum(float(total["unavailable_s"].iloc[0]) for total in totals)
    assert len(outages) == sum(int(total["outages"].iloc[0]) for total in totals)
    assert worst_outages(run, "one", 3) == outages[:3]
    late = next(outage for outage in outages if outage.block == 1)
    assert late.date.year == 1 + BLOCK_YEARS + late.start_s // int(SECONDS_PER_YEAR)


def test_the_table_of_longest_outages_holds_the_worst(folder, outages):
    table = Results.load(folder).tables["longest_outages"].query("service == 'one'")
    assert list(table["number"]) == list(range(1, len(table) + 1))
    stored = zip(table["block"], table["start_s"], table["duration_s"], table["began"], strict=True)
    wanted = [(each.block, each.start_s, each.duration_s, str(each.date)) for each in outages[:10]]
    assert list(stored) == wanted


def test_the_service_is_down_for_just_the_outage(failed, faded):
    for story in (failed, faded):
        outage = story.outage
        steps = [step for step in story.timeline if step.what == SERVICE]
        assert not steps[0].down
        times = np.array([step.time_s for step in steps] + [outage.end_s + 60.0])
        down = np.array([step.down for step in steps])
        inside = np.clip(times[1:], outage.start_s, outage.end_s) - np.clip(
            times[:-1], outage.start_s, outage.end_s
        )
        # Ten good seconds end an outage, so shorter good spells belong to it.
        assert inside[down].sum() > 0.5 * outage.duration_s
        assert [step.time_s for step in story.timeline] == sorted(step.time_s for step in story.timeline)
        for step in steps:
            assert step.down == (min(step.forward_mbit_s, step.backward_mbit_s) < story.needed_mbit_s)


def test_a_failure_is_told_with_its_phases(failed):
    part = next(part for part in failed.parts if part.kind == "outdoor_radio" and part.over)
    assert part.failed_s < failed.outage.end_s
    assert part.mended_s > failed.outage.start_s
    assert sum(spent for _, spent in part.phases_s) == pytest.approx(part.mended_s - max(part.failed_s, 0.0))
    assert dict(part.phases_s)["mending"] > 0.0
    assert part.crew == "crew 1"
    hop = next(hop for hop in failed.hops if part.part.startswith(hop.hop))
    assert hop.causes & Cause.OUTDOOR_RADIO


def test_a_fade_is_told_with_its_depth(faded):
    for hop in faded.hops:
        margins = dict(hop.margin_db)
        if hop.causes == Cause.RAIN:
            lowest_lost = min(hop.lost_states)
            assert hop.rain_db >= margins[lowest_lost] - 3.0
            assert hop.cells
        if hop.causes == Cause.MULTIPATH:
            assert hop.fade_db > 5.0
        assert hop.lowest_mbit_s < hop.full_mbit_s


def test_storms_make_up_the_rain_that_is_told(run):
    wet = next(outage for outage in worst_outages(run, "two", 10_000) if outage.causes == Cause.RAIN)
    story = explain(run, "two", wet)
    hop = next(hop for hop in story.hops if hop.cells)
    assert hop.rain_raw_db > 5.0
    by_storm = sum(taken for storm in story.storms for name, taken in storm.hops if name == hop.hop)
    # The course has its faint shapes on straight lines between minutes, right to some 1e-4.
    most = hop.rain_raw_db * (1 + 1e-4)
    assert 0.5 * hop.rain_raw_db < by_storm <= most
    assert sum(cell.attenuation_db for cell in hop.cells) <= most
    for storm in story.storms:
        assert storm.start_s < wet.end_s
        assert storm.end_s > wet.start_s
        assert 0.0 <= storm.bearing_deg < 360.0


def test_shares_of_cells_and_storms_sum_to_the_attenuation(run):
    simulator = BlockSimulator(run.prepared)
    draws = simulator.draw(run.seed, 0, BLOCK_YEARS)
    line = hop_line(run.prepared.designs[1])
    knots = simulator.rain(draws, 1)
    time_s = float(knots.time_s[np.argmax(knots.attenuation_db)])
    whole = float(attenuation_at(draws.field, line, time_s))
    shares = rain_shares(draws.field, line, time_s)
    shapes, by_shape = shares.shape, shares.share_db
    assert whole > 1.0
    assert by_shape.sum() == pytest.approx(whole)
    assert np.all(np.diff(by_shape) <= 0.0)
    assert len(set(shapes.tolist())) == shapes.size


def test_another_block_does_not_hold_the_outage(run, outages):
    moved = replace(outages[0], start_s=outages[0].start_s + 1)
    with pytest.raises(InputError, match="simulated again has no such outage"):
        explain(run, "one", moved)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda m: m["versions"].update(numpy="1.0"), r"made with numpy 1\.0; must be the version installed"),
        (lambda m: m.update(network="0" * 32), "network.json is not that of the manifest"),
    ],
)
def test_a_run_of_another_origin_is_refused(folder, tmp_path, change, message):
    shutil.copytree(folder, tmp_path / "copy")
    manifest = json.loads((tmp_path / "copy" / "manifest.json").read_text())
    change(manifest)
    del manifest[CHECKSUM]
    (tmp_path / "copy" / "manifest.json").write_bytes(json_bytes(manifest))
    with pytest.raises(InputError, match=message):
        open_run(tmp_path / "copy")


def test_a_folder_without_a_run_is_refused(tmp_path):
    with pytest.raises(InputError, match="folder is not a run"):
        open_run(tmp_path)


def test_the_verb_lists_and_opens(folder, capsys):
    assert main(["explain", str(folder), "--service", "one", "--worst", "3"]) == 0
    listed = capsys.readouterr().out
    assert "one: longest outages" in listed
    assert main(["explain", str(folder), "--service", "one", "--outage", "1", "--steps", "8"]) == 0
    told = capsys.readouterr().out
    assert "route 1: a-b" in told
    assert "timeline" in told


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--service", "on"], '--service is "on"; must be a service of the run: one, two'),
        (["--service", "one", "--outage", "0"], "--outage is 0; must be at least 1"),
        (["--service", "one", "--outage", "99999"], "--outage is 99999; must be 1 to"),
        (["--service", "one", "--worst", "0"], "--worst is 0; must be at least 1"),
    ],
)
def test_bad_words_get_one_sentence(folder, capsys, words, message):
    assert main(["explain", str(folder), *words]) == 2
    assert message in capsys.readouterr().err


def test_dates_count_from_the_first_of_january():
    assert date_of(0.0) == Date(1, 1, 1, 0, 0, 0)
    assert date_of(31 * 86_400.0 + 3661.5, first_year=11) == Date(11, 2, 1, 1, 1, 1)
    # The clock goes on over the quarter day that a year has beyond 365.
    assert date_of(365 * 86_400.0 - 1.0) == Date(1, 12, 31, 23, 59, 59)
    assert date_of(365 * 86_400.0) == Date(2, 1, 1, 0, 0, 0)
    assert date_of(SECONDS_PER_YEAR) == Date(2, 1, 1, 6, 0, 0)
    for day in range(4 * 366):
        found = date_of(day * 86_400.0 + 7200.0)
        assert (found.hour, found.minute) == (2, 0)
        assert 1 <= found.day <= (29 if found.month == 2 else 31)
    # Four years are whole days again.
    assert date_of(4 * SECONDS_PER_YEAR) == Date(5, 1, 1, 0, 0, 0)
    assert str(date_of(12_345.0)) == "year 1, 1 Jan 03:25:45"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(45.2, "45 s"), (60, "1 min"), (725, "12 min 5 s"), (12_000, "3 h 20 min"), (187_200, "2 d 4 h")],
)
def test_lengths_of_time_read_well(seconds, text):
    assert span(seconds) == text


def test_causes_of_an_outage_are_told_as_shares_of_its_time():
    """An outage of 1000 s by power with half a minute of dispersion in it is no outage by both."""
    power, both = int(Cause.POWER), int(Cause.POWER | Cause.DISPERSION)
    down = np.array([[False, False], [True, True], [True, True]])
    causes = np.array([[0, 0], [power, power], [both, both]])
    service = ServiceHistory(
        time_s=np.array([0.0, 100.0, 500.0, 530.0, 1100.0]),
        result=np.array([0, 1, 2, 1, 0], dtype=np.int32),
        rate_mbit_s=np.where(down, 0.0, 30.0),
        down=down,
        causes=causes,
        seconds=np.array([1000.0, 970.0, 30.0]),
        duration_s=2000.0,
    )
    outage = Outage(0, 100, 1000, both, date_of(100))
    assert cause_shares(service, outage) == ((power, 0.97), (both, 0.03))
