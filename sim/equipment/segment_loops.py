"""The loop that cuts the time of hops into segments of constant equipment state."""

import numpy as np

from hopyears.models.basics.kernel import kernel
from hopyears.sim.streams import keyed_word


@kernel
def cut_by_changes(key, time_s, slot, value, first_slot, n_keys):  # type: ignore[no-untyped-def]
    """Segments of all keys (blocks of hops) from their changes, sorted by key and then by time.

    Returns
    -------
    tuple
        Key, begin [s] and word of each segment; its first of ``unusual``, which is filled in here for each:
        slots that have not their usual value, and that value.
    """
    n_hops = len(first_slot) - 1
    size = len(key) + n_keys
    segment_key, start_s = np.empty(size, np.int64), np.empty(size)
    word, first = np.empty(size, np.uint64), np.zeros(size + 1, np.int64)
    unusual, now = np.empty((1024, 2), np.int64), np.zeros(first_slot[-1], np.int64)
    n, n_unusual, i = 0, 0, 0
    for each in range(n_keys):
        hop = each % n_hops
        begin, end = first_slot[hop], first_slot[hop + 1]
        now[begin:end] = 0
        own, last, since_s = keyed_word(np.uint64(hop), np.uint64(0)), np.uint64(0), 0.0
        while True:
            over = i == len(key) or key[i] != each
            if over or time_s[i] > since_s:
                if own != last:
                    segment_key[n], start_s[n], word[n], last = each, since_s, own, own
                    for k in range(begin, end):
                        if now[k] != 0:
                            if n_unusual == len(unusual):
                                unusual = np.concatenate((unusual, unusual))
                            unusual[n_unusual, 0], unusual[n_unusual, 1] = k, now[k]
                            n_unusual += 1
                    n += 1
                    first[n] = n_unusual
                if over:
                    break
                since_s = time_s[i]
            if now[slot[i]] != value[i]:
                own ^= _word(slot[i], now[slot[i]]) ^ _word(slot[i], value[i])
                now[slot[i]] = value[i]
            i += 1
    return segment_key[:n], start_s[:n], word[:n], first[: n + 1], unusual[:n_unusual]


@kernel
def _word(slot, value):  # type: ignore[no-untyped-def]
    """Of a value of a slot; nothing of the usual one."""
    return keyed_word(np.uint64(slot), np.uint64(value)) if value != 0 else np.uint64(0)
