"""What a process loads before it works: libraries that a run does not use cost every run their time."""

import subprocess
import sys

import pytest
from network_text import small, write

from hopyears.sim.commands import main

NOT_LOADED = {
    *("IPython", "astropy", "dask", "distributed", "itur", "jinja2", "matplotlib", "openpyxl", "sympy"),
    *("scipy.interpolate", "scipy.optimize", "scipy.stats"),
}
"""Used by other verbs, or where a cache lacks what they work out (numba itself loads scipy.linalg)."""

PROGRAM = (
    "import sys; from hopyears.sim.commands import main; "
    "status = main({words}); print(status, sorted({names} & sys.modules.keys()))"
)


@pytest.mark.slow
def test_a_run_loads_no_library_that_it_does_not_use(tmp_path):
    network = write(tmp_path, small())
    words = ["simulate", str(network), "--years", "1", "--block-years", "1", "--replications", "2"]
    assert main([*words, "--quiet", "--out", str(tmp_path / "fills the caches")]) == 0
    program = PROGRAM.format(words=[*words, "--out", str(tmp_path / "run")], names=NOT_LOADED)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "0 []"


STOPPED_AMID = """
import os, signal, sys
from hopyears.sim.commands import main

class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "datetime":
            os.kill(os.getpid(), signal.SIGTERM)

assert "datetime" not in sys.modules
sys.meta_path.insert(0, Stop())
sys.exit(main(["check", sys.argv[1]]))
"""


def test_a_stop_amid_an_import_is_one_line(tmp_path):
    """Libraries in Rust import ``datetime`` on their own, and would report a stop that came just then."""
    words = [sys.executable, "-c", STOPPED_AMID, str(write(tmp_path, small()))]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "stopped\n")
