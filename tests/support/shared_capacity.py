"""Capacity shared on a network given as plain lists."""

import numpy as np

from hopyears.models.judging.sharing import share_kernel


def share_capacity(capacity_mbit_s, routes, *, committed_mbit_s, peak_mbit_s, priority, weight=None):
    """Rate of each service [Mbit/s] on links of one capacity each; routes are lists of links."""
    capacity = np.array(capacity_mbit_s, dtype=np.float64)
    committed, peak = (np.asarray(each, dtype=np.float64) for each in (committed_mbit_s, peak_mbit_s))
    order = np.asarray(priority, dtype=np.int64)
    weights = np.ones(peak.size) if weight is None else np.asarray(weight, dtype=np.float64)
    pointer = np.cumsum([0, *map(len, routes)], dtype=np.int64)
    links = np.array([link for route in routes for link in route], dtype=np.int64)
    rate, services = np.zeros(peak.size), np.argsort(order, kind="stable")
    share_kernel(
        *(capacity, pointer[:-1], pointer[1:], links, services, committed, peak, order, weights, rate),
        *(
            np.zeros(capacity.size, np.int64),
            np.zeros(capacity.size),
            np.zeros(peak.size, np.int64),
            np.zeros(capacity.size, np.int64),
        ),
    )
    return rate
