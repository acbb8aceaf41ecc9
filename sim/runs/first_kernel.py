"""Imported by the server of workers: calls a compiled loop once on nothing.

The first such call in a process takes some tenths of a second, whatever the loop: numba gathers what it knows
of types and libraries. Workers forked from the server have it done.
"""

import numpy as np

from hopyears.sim.rain.rain_near import in_storm_frames

_NONE = np.zeros(1, np.int64)
in_storm_frames(np.empty((0, 8)), _NONE, _NONE, np.empty(0), np.empty((4, 0)))
