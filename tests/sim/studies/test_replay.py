"""The hours around an outage as a page plays them: by the simulation's own formulas."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from browser import browser, console_errors, dumped, violations
from rain_checks import rates_along_mm_h
from small_networks import source_of, triangle

from hopyears.models.basics.calendar import date_of
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import PartChange, Service
from hopyears.sim.commands import main
from hopyears.sim.report.replay_page import replay_page
from hopyears.sim.report.replay_words import MOST_WORDS, moments
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.explain import Outage, reopen, worst_outages
from hopyears.sim.studies.replay import LEAD_S, replay, window_of
from hopyears.sim.wording.wording import span

MOST_BYTES = 3_000_000


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Two years in which radios fail often."""
    path = tmp_path_factory.mktemp("runs") / "run"
    network = triangle(
        parts=(PartChange(kind="outdoor_radio", mtbf_h=20_000.0),),
        services=(Service(id="one", site_a="a", site_b="b", committed_mbit_s=30.0, peak_mbit_s=100.0),),
    )
    simulate(source_of(network), RunRequest(years=2, seed=3, block_years=2), path)
    return open_run(path)


@pytest.fixture(scope="module")
def opened(run):
    """The longest outage in which a radio had failed."""
    outages = worst_outages(run, "one", 10_000)
    return reopen(run, "one", next(each for each in outages if each.causes & Cause.OUTDOOR_RADIO))


@pytest.fixture(scope="module")
def rained_on(run, opened):
    """Ten minutes about the heaviest shower over the first site, as if they were an outage."""
    cells = opened.draws.field.cells
    middle = cells[:, 2:4] + cells[:, 4:6] * cells[:, 1:2] / 2.0
    near = np.hypot(*(middle - run.prepared.site_km[0]).T) < cells[:, 7]
    birth, life = cells[np.argmax(np.where(near, cells[:, 6], -np.inf)), :2]
    start_s = int(birth + life / 2.0)
    return replace(
        opened, outage=Outage(opened.outage.block, start_s, 600, int(Cause.RAIN), date_of(start_s))
    )


@pytest.fixture(scope="module")
def data(opened):
    return replay(opened)


def test_the_window_holds_the_outage_and_what_led_to_it(opened, data):
    start, end = window_of(opened)
    outage = opened.outage
    assert LEAD_S[0] <= outage.start_s - start <= LEAD_S[1]
    assert data["span_s"] == pytest.approx(end - start, abs=0.06)
    assert data["outage_s"] == pytest.approx([outage.start_s - start, outage.end_s - start], abs=0.06)
    json.dumps(data, allow_nan=False)


def test_the_service_is_down_in_its_outage_as_in_the_block(data):
    """Down for the whole outage but for stretches under ten seconds (G.826), and up at both ends."""
    steps = data["service_steps"][0]
    ends = [step[0] for step in steps[1:]] + [data["span_s"]]
    begin, finish = data["outage_s"]
    inside = [(min(b, finish) - max(a[0], begin), a[1]) for a, b in zip(steps, ends, strict=True)]
    assert all(down or length < 10.0 for length, down in inside if length > 0.0)
    assert sum(length for length, down in inside if length > 0.0 and down) > 0.9 * (finish - begin)
    assert not steps[-1][1]


def test_a_hop_is_at_its_best_in_clear_air_and_never_above(opened, data):
    designs = opened.run.prepared.designs
    for (name, _, _, best), steps, design in zip(data["hops"], data["hop_steps"], designs, strict=True):
        assert name == design.hop.id
        assert best in design.steps.states
        assert all(max(step[1:3]) <= best for step in steps)
    assert any(
        min(step[1:3]) == best
        for (*_, best), steps in zip(data["hops"], data["hop_steps"], strict=True)
        for step in steps
    )


def test_failures_go_through_their_stages_in_order(data):
    assert data["failures"]
    for failure in data["failures"]:
        assert failure["stages_s"] == sorted(failure["stages_s"])
        assert failure["stages_s"][0] < data["span_s"]
        assert failure["stages_s"][-1] > 0


def test_the_words_tell_what_the_data_hold(opened, data):
    words, left_out = moments(data)
    times = [each.time_s for each in words]
    assert times == sorted(times)
    assert len(words) <= MOST_WORDS
    texts = [each.text for each in words]
    down = [
        step
        for before, step in zip(data["service_steps"][0], data["service_steps"][0][1:], strict=False)
        if step[1] > before[1]
    ]
    if not left_out:
        assert sum(text.startswith("service one is down") for text in texts) == len(down)
    mended = [each for each in data["failures"] if each["over"] and 0 < each["stages_s"][5] < data["span_s"]]
    for failure in mended:
        lasted = span(failure["stages_s"][5] - failure["stages_s"][0])
        assert f"{failure['part']} works again, after {lasted}" in texts


def test_the_page_is_one_small_file_that_names_nothing_outside(opened):
    page = replay_page(opened)
    assert len(page.encode()) < MOST_BYTES
    assert not re.findall(r"(?:src|href)=\"(?!data:|#)[^\"]*", page)
    assert "https:" not in page
    assert "import(" not in page
    assert "fetch(" not in page


@pytest.mark.slow
def test_the_page_draws_the_rain_of_the_simulation(run, rained_on, tmp_path):
    """The rate of the script is that of a slow, obvious version, to 2 %: shapes are rounded."""
    field, (start, end) = rained_on.draws.field, window_of(rained_on)
    wet = []
    rng = np.random.default_rng(5)
    times = np.linspace(start + 1.0, end - 1.0, 40)
    places = np.concatenate([rng.normal(site, 3.0, (20, 2)) for site in run.prepared.site_km])
    for t in times.tolist():
        rates = rates_along_mm_h(field, *places.T, t)
        wet += [(*place, t, r) for place, r in zip(places.tolist(), rates.tolist(), strict=True) if r > 0.1]
    assert wet
    wet = wet[:: max(len(wet) // 50, 1)]
    asked = json.dumps([[x, y, t - start] for x, y, t, _ in wet])
    probe = (
        f"<script>document.title = JSON.stringify({asked}.map(([x, y, t]) => rainRateAt(x, y, t)))</script>"
    )
    path = tmp_path / "page.html"
    path.write_text(replay_page(rained_on).replace("</body>", probe + "</body>"), encoding="utf-8")
    found = json.loads(re.search(r"<title>(.*?)</title>", dumped(browser(), path)).group(1))
    assert found == pytest.approx([rate for *_, rate in wet], rel=0.02, abs=0.02)


@pytest.mark.slow
def test_the_page_runs_without_an_error_and_makes_its_frames(opened, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(replay_page(opened), encoding="utf-8")
    chromium = browser()
    assert console_errors(chromium, path) == []
    for width in (390, 1280):
        assert violations(chromium, path, width=width) == []
    page = dumped(chromium, path)
    assert len(re.findall(r"<figcaption>[^<]+ · ", page)) == 8
    assert 'aria-valuetext="' in page


def test_the_verb_writes_it(run, tmp_path, capsys):
    path = tmp_path / "outage.html"
    assert main(["explain", str(run.folder.path), "--service", "one", "--page", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}\n"
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")
