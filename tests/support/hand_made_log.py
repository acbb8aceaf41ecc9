"""Failure logs written by hand: who fails when, and nothing else."""

import numpy as np
from interval_rows import intervals_of_rows

from hopyears.sim.equipment.failure_log import FailureLog, Failures, SiteOutages, TransmitterChanges, offsets


def failure_log(
    n_parts, n_sites, duration_s, episodes=(), *, n_groups=0, switches=None, power=None, planned=None
):
    """A log of these episodes.

    Parameters
    ----------
    episodes : sequence of dict
        ``part``, ``failed`` and ``mended`` [s]; where wanted ``latent`` with ``arrived`` [s], ``cause``
        and ``affecting``.
    switches : dict of int to list of (time [s], chain), optional
        Changes of the transmitting chain of groups.
    power, planned : dict of int to list of (start [s], end [s]), optional
        Sites without power; in planned work.
    """
    rows = sorted(episodes, key=lambda each: (each["part"], each["failed"]))
    n = len(rows)
    part = np.array([row["part"] for row in rows], dtype=np.int64)
    failed = np.array([row["failed"] for row in rows], dtype=np.float64)
    mended = np.minimum(np.array([row["mended"] for row in rows], dtype=np.float64), duration_s)
    arrived = np.array([row.get("arrived", row["failed"]) for row in rows], dtype=np.float64)
    changes = [(group, *change) for group in sorted(switches or {}) for change in switches[group]]
    group_of = np.array([group for group, _, _ in changes], dtype=np.int64)

    def sites(intervals):
        return intervals_of_rows([(intervals or {}).get(site, []) for site in range(n_sites)])

    failures = Failures(
        part=part,
        site=np.zeros(n, np.int64),
        cause=np.array([row.get("cause", 0) for row in rows], dtype=np.int64),
        crew=np.full(n, -1),
        failed_s=failed,
        noticed_s=failed,
        spare_s=failed,
        crew_s=failed,
        arrived_s=arrived,
        mended_s=mended,
        darkness_s=np.zeros(n),
        storm_s=np.zeros(n),
        latent=np.array([row.get("latent", False) for row in rows], dtype=bool),
        affecting=np.array([row.get("affecting", True) for row in rows], dtype=bool),
        part_offset=offsets(part, n_parts),
    )
    transmitters = TransmitterChanges(
        offset=offsets(group_of, n_groups),
        time_s=np.array([time_s for _, time_s, _ in changes], dtype=np.float64),
        chain=np.array([chain for _, _, chain in changes], dtype=np.int64),
    )
    outages = SiteOutages(power_down=sites(power), mains_lost=sites(None), maintenance=sites(planned))
    return FailureLog(duration_s, failures, transmitters, outages)
