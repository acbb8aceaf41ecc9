"""Imported by the server of workers: calls a compiled loop once on nothing.

The first such call in a process takes some tenths of a second, whatever the loop: numba gathers what it knows
of types and libraries. Workers forked from the server have it done.
"""

import numpy as np

from hopyears.models.basics.arrays import read_only
from hopyears.sim.rain.rain_near import in_groups

in_groups(read_only(np.empty((0, 8))), read_only(np.zeros(1, np.int64)), 1.0)
