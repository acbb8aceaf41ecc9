"""Legal networks changed at random, from the check to the report: sane figures, or a refusal that says why.

HOPYEARS_NETWORKS says how many; ``experiments/verification/faults`` asks for many more.
"""

import faulthandler
import os
import resource
import sys
import tempfile
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, event, given, settings
from legal_networks import legal_networks
from network_text import small, write
from sane_tables import assert_sane

from hopyears.sim.commands import main
from hopyears.sim.runs.results import Results

MANY = int(os.environ.get("HOPYEARS_NETWORKS", "8"))

LONGEST_S, MOST_BYTES = 900, 10 << 30
"""A network that takes longer, or asks for more memory, ends the test."""

START = tomllib.loads((files("hopyears.sim") / "guide" / "start.toml").read_text(encoding="utf-8"))
RICH = small() | {
    "sites": [site | power for site, power in zip(
        small()["sites"], ({"power": "hut"}, {"power": "sun"}, {}, {"power": "weak"}), strict=True
    )],
    "radios": [*small()["radios"], {"id": "strong", "transmit_power_dbm": 24.0}],
    "hops": [hop | change for hop, change in zip(small()["hops"], (
        {}, {"scheme": "2+0 XPIC", "radio": "strong"}, {"scheme": "1+1 SD", "frequency_ghz": 7.5}
    ), strict=True)],
    "indoor_units": [{"id": "unit"}],
    "power": [
        *small()["power"],
        {"id": "hut", "mains_outages_per_year": 5.0, "battery_h": 3.0, "generator": True},
        {"id": "sun", "solar_harvest_h": [30.0] * 12, "battery_h": 100.0},
    ],
    "crews": [*small()["crews"], {"id": "day", "base": "dale", "shift_start_h": 8.0, "shift_end_h": 17.0}],
    "depots": [*small()["depots"], {"id": "far", "base": "dale", "stock": {"outdoor_radio": 1}}],
    "demand_profiles": [{"id": "day", "working_day": [0.2] * 8 + [1.0] * 10 + [0.5] * 6}],
    "services": [*small()["services"], {
        "id": "s2", "from": "dale", "to": "hill", "committed_mbit_s": 30.0, "demand_profile": "day",
        "priority": 2, "penalties": [{"availability": 0.999, "amount": 100.0}],
    }],
    "contracts": [{"id": "k", "services": ["s1", "s2"], "availability": 0.9995}],
    "repair": {}, "lightning": {}, "sharing": {},
}  # fmt: skip
"""An entry of every kind, for what the network to start from leaves out."""


@pytest.fixture
def bounded():
    """A network that never ends, or fills the memory, ends the test with the place where it was."""
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, hard))
    yield
    faulthandler.cancel_dump_traceback_later()
    resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


@pytest.mark.slow
@pytest.mark.parametrize("whole", [START, RICH], ids=["start", "rich"])
def test_a_legal_network_gives_sane_figures_or_says_why_not(whole, bounded, capsys):
    @settings(max_examples=MANY, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(legal_networks(whole))
    def run_through(data):
        faulthandler.dump_traceback_later(LONGEST_S, exit=True, file=sys.__stderr__)
        with tempfile.TemporaryDirectory() as folder:
            judge(Path(folder), write(Path(folder), data), capsys)

    run_through()


def judge(folder, network, capsys):
    """Every verb that a network and its run go through, and the tables of the run."""
    out, short = str(folder / "run"), ["--years", "2", "--block-years", "1", "--replications", "1"]
    for words in (
        ["check", str(network)],
        ["predict", str(network)],
        ["simulate", str(network), *short, "--workers", "1", "--out", out],
    ):
        if refused(words, capsys):
            event("refused")
            return
    event("simulated")
    assert_sane(Results.load(Path(out)))
    for verb in ("report", "textbook", "promise", "importance"):
        assert not refused([verb, out], capsys)


def refused(words, capsys):
    """Whether a command ends with sentences that a user can read, instead of an answer."""
    status, told = main(words), capsys.readouterr().err
    assert status in (0, 2), told
    assert "Traceback" not in told
    assert status == 0 or told
    return status == 2
