"""Where a ring is open, by a slow, obvious look at every second."""

import numpy as np

from hopyears.sim.services.route_choice import DEGRADED, FAILED, PLANNED

SEVERITY = np.zeros(4, dtype=int)
SEVERITY[[DEGRADED, FAILED, PLANNED]] = 1, 2, 2


def slow_openings(states, protection, hold_off_s, guard_s, wait_s):
    """Place of the opening in every second, by a look at each; ``states`` (n_seconds, n_links)."""
    n_links = states.shape[1]
    age = np.full(n_links, 10**6)  # seconds since each link last became better or worse
    clear, found = 10**6, []
    worst = np.flatnonzero(SEVERITY[states[0]] == SEVERITY[states[0]].max())
    opened = protection if protection in worst else int(worst[0])
    for now in range(len(states)):
        here = SEVERITY[states[now]]
        if now:
            before = SEVERITY[states[now - 1]]
            age = np.where(here != before, 0, age + 1)
            clear = 0 if before.any() and not here.any() else clear + 1
        while True:
            waits = [
                (
                    max(0, guard_s - age[opened], (states[now, k] != PLANNED) * hold_off_s - age[k]),
                    -here[k],
                    k,
                )
                for k in np.flatnonzero(here > here[opened])
            ]
            if waits and min(waits)[0] == 0:
                opened = int(min(waits)[2])
            elif not here.any() and opened != protection and clear >= wait_s:
                opened = protection
            else:
                break
        found.append(opened)
    return found
