"""What the server of workers imports before they are forked."""

import subprocess
import sys

import pytest

from hopyears.sim.runs.processes import PRELOADED


@pytest.mark.slow
def test_the_server_gathers_what_numba_knows_before_workers_are_forked():
    """A module that cannot be imported would be passed over in silence, and every worker pay for it."""
    told = (
        "import sys; from numba.core.registry import cpu_target; print(len(cpu_target.target_context._defns))"
    )
    counts = [
        int(
            subprocess.run(
                [sys.executable, "-c", f"{first}; {told}"], capture_output=True, text=True, check=True
            ).stdout
        )
        for first in ("import hopyears.sim.runs.runner", "; ".join(f"import {name}" for name in PRELOADED))
    ]
    assert counts[1] > counts[0]
