"""Processors of another kind: the same draws to the last bit, the same figures but for rounding.

numpy is made to leave out the instructions that this processor has beyond its least, as on an older one.
Where the processor has none of them nothing can be compared.
"""

import os
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from network_text import small, write

from hopyears.sim.runs.results import Results

FEATURES = (
    "from numpy._core._multiarray_umath import __cpu_features__ as has, __cpu_dispatch__ as more\n"
    "print(' '.join(name for name in more if has.get(name)))"
)
DRAWS = (
    "import hashlib; from hopyears.sim.streams import Streams\n"
    "g = Streams(7, 3).generator('rain', 'storm')\n"
    "drawn = [g.random(999), g.standard_normal(999), g.standard_gamma(3.0, 999), g.exponential(1.0, 999),"
    " g.poisson(4.0, 999), g.integers(0, 99, 999), g.permutation(999)]\n"
    "print(hashlib.blake2b(b''.join(each.tobytes() for each in drawn)).hexdigest())"
)
EXPONENTIALS = "import numpy as np; print(np.exp(np.linspace(0.001, 20.0, 9999)).tobytes().hex())"
CALL = "import sys; from hopyears.sim.commands import main; sys.exit(main(sys.argv[1:]))"

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def older():
    """Environment in which numpy takes this processor for an older one."""
    left_out = said(FEATURES, {}).strip()
    if not left_out:
        pytest.skip("this processor has nothing that can be left out")
    return {"NPY_DISABLE_CPU_FEATURES": left_out}


def said(program, more, *words):
    call = [sys.executable, "-c", program, *words]
    done = subprocess.run(call, env={**os.environ, **more}, capture_output=True, text=True, check=True)
    return done.stdout


def test_draws_are_the_same_to_the_last_bit(older):
    assert said(DRAWS, older) == said(DRAWS, {})


def test_the_environment_makes_a_difference(older):
    """Else the other tests would compare a processor with itself."""
    here, there = (np.frombuffer(bytes.fromhex(said(EXPONENTIALS, more))) for more in ({}, older))
    assert (here != there).any()
    np.testing.assert_allclose(here, there, rtol=4e-16)


def test_figures_are_the_same_but_for_rounding(older, tmp_path):
    network = write(tmp_path, small())
    for name, more in (("here", {}), ("there", older)):
        asked = ["--years", "4", "--block-years", "2", "--workers", "1", "--replications", "2"]
        said(CALL, more, "simulate", str(network), *asked, "--out", str(tmp_path / name))
    here, there = (Results.load(tmp_path / name) for name in ("here", "there"))
    for name, table in here.tables.items():
        pd.testing.assert_frame_equal(table, there.tables[name], rtol=1e-9, atol=1e-9, obj=name)
