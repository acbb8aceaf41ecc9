"""Tables of the services sweep: what changes while it runs, and its working space."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import bare_inlined, kernel
from hopyears.sim.services.service_plan import Plan

N_OUT, N_ROWS, N_RESULTS, N_WORDS, N_NOTED = range(5)
"""Places in ``Sweep.used``: entries written; row cells, results in use; joint states known; results noted."""

ROW_CELLS_A_SERVICE = 3
"""Most cells that each service of a group adds to a row: its number, its result, its part of their number."""

EMPTY = -1
"""In a slot of a table that holds nothing."""

NOWHERE = -1
"""Way of a service over a link that is not on its route in use."""


class Sweep(NamedTuple):
    """What changes in a sweep. Tables have room to spare; the kernel stops when one needs more."""

    used: Ints
    hop_state: Ints  # by hop
    choice: Ints  # by service: its route, or n_routes + the route being left
    level: Ints  # by clock
    stale: Ints  # links that have changed since their group was judged; those of a group from its first on
    n_stale: Ints  # by group
    is_stale: Bools  # by link
    turned: Ints  # likewise services with another route or hour, those of a group from its first on
    n_turned: Ints
    is_turned: Bools  # by service
    group_word: NDArray[np.uint64]
    group_row: Ints
    current: NDArray[np.int32]  # by service: its result
    since: Floats  # by service: when that began
    word: NDArray[np.uint64]  # by slot: word of a joint state
    row_of: Ints  # by slot: its row, or EMPTY
    row: NDArray[
        np.int32
    ]  # rows: so many cells, of two for each service without its usual result: it, and which
    usual: NDArray[np.int32]  # by service, or EMPTY
    mark: Ints  # by service: the last row that had it
    result_in: NDArray[np.int32]  # by slot: a result, or EMPTY
    service: NDArray[np.int32]  # by result
    rate: Floats  # (n, 2) as the rest
    down: Bools
    causes: Ints
    share: Floats  # of its rates that the service asks for
    seconds: Floats
    counted_s: Floats  # of those, what spans have counted
    noted: NDArray[np.int32]  # results met in this span
    is_noted: Bools  # by result
    out_time: Floats
    out_service: NDArray[np.int16]
    out_result: NDArray[np.int32]


class Spans(NamedTuple):
    """Spans of time, and what each service lacks in them."""

    edge_s: Floats  # where each ends, rising
    n_closed: Ints  # (1,)
    lacking: Floats  # (n_spans, n_services, 3, 2), as ``ServiceHistory.spans``


class Touched(NamedTuple):
    """Groups that something changes at an instant."""

    groups: Ints
    is_among: Bools


class Shares(NamedTuple):
    """What was shared in the joint state of each group that was judged last; working space."""

    full: Floats  # by link direction: its capacity then
    link_causes: Ints
    seen_choice: Ints  # by service
    seen_share: Floats
    way: NDArray[np.int8]  # by place among those who may cross a link: way of forward traffic, or ``NOWHERE``
    peak: Floats  # by flow: asked for at this hour; nothing while it changes route
    most: Floats  # (2, n_flows): of that the committed rate, and what is asked beyond what is got of it
    got: Floats  # likewise what it gets
    before: Floats  # by link direction and turn: what is left before it; infinite where it suffices for all
    taken: Floats
    level: Floats  # the most that anybody has where nothing is left, by weight; else infinite
    is_full: Bools  # (2, n_link_directions): whether committed rates leave nothing of it, and all do
    result: NDArray[np.int32]  # by service
    # Working space from here on: by link direction, by flow or by service.
    free: Floats  # left by those who do not share anew
    room: Floats
    was: Floats
    lowest: Floats  # the least that anybody there who is not content has, by weight
    crossing: Ints
    pull: Floats
    first: Ints  # by flow, into ``codes``
    last: Ints
    codes: Ints
    work: Floats
    active: Ints
    busy: Ints
    dirty: Ints  # link directions with another capacity, or of which somebody takes something else
    is_dirty: Bools
    seen: Ints  # link directions looked at
    is_seen: Bools
    wanted: Ints  # flows that share anew
    is_wanted: Bools
    stirred: Ints  # services to be judged again
    is_stirred: Bools


def empty_shares(plan: Plan) -> Shares:
    """Shares of a plan before anything is judged."""
    n_services, n_links = plan.rank.size, plan.crossing.first.size - 1
    turns = (1 + plan.rates_told) * (plan.class_first.shape[1] - 1)
    codes, flows = 2 * n_links, 2 * n_services
    return Shares(
        full=np.full(codes, -1.0),
        link_causes=np.zeros(n_links, dtype=np.int64),
        seen_choice=np.full(n_services, -1, dtype=np.int64),
        seen_share=np.zeros(n_services),
        way=np.full(plan.crossing.item.size, NOWHERE, dtype=np.int8),
        peak=np.zeros(flows),
        most=np.zeros((2, flows)),
        got=np.zeros((2, flows)),
        before=np.full((codes, turns), np.inf),
        taken=np.zeros((codes, turns)),
        level=np.full((codes, turns), np.inf),
        is_full=np.zeros((2, codes), dtype=np.bool_),
        result=np.full(n_services, -1, dtype=np.int32),
        free=np.zeros(codes),
        room=np.zeros(codes),
        was=np.zeros(codes),
        lowest=np.zeros(codes),
        crossing=np.zeros(codes, dtype=np.int64),
        pull=np.zeros(codes),
        first=np.zeros(flows, dtype=np.int64),
        last=np.zeros(flows, dtype=np.int64),
        codes=np.zeros(plan.routes.codes.size, dtype=np.int64),
        work=np.zeros(flows),
        active=np.zeros(flows, dtype=np.int64),
        busy=np.zeros(codes, dtype=np.int64),
        dirty=np.zeros(codes, dtype=np.int64),
        is_dirty=np.zeros(codes, dtype=np.bool_),
        seen=np.zeros(codes, dtype=np.int64),
        is_seen=np.zeros(codes, dtype=np.bool_),
        wanted=np.zeros(flows, dtype=np.int64),
        is_wanted=np.zeros(flows, dtype=np.bool_),
        stirred=np.zeros(n_services, dtype=np.int64),
        is_stirred=np.zeros(n_services, dtype=np.bool_),
    )


# Tables are searched from a slot on, one after the other; at most half of their slots are taken, so that a
# search is short and always ends. Their sizes are powers of two.


@bare_inlined
def word_slot(words: NDArray[np.uint64], row_of: Ints, word: np.uint64) -> int:
    """Slot that holds the word of a joint state, or the empty slot where it belongs."""
    mask = np.uint64(words.size - 1)
    slot = (word ^ (word >> np.uint64(32))) & mask
    while row_of[slot] != EMPTY and words[slot] != word:
        slot = (slot + np.uint64(1)) & mask
    return int(slot)


@bare_inlined
def result_slot(
    result_in: NDArray[np.int32],
    service: NDArray[np.int32],
    rate: Floats,
    down: Bools,
    causes: Ints,
    share: Floats,
    n: int,
) -> int:
    """Slot that holds a result equal to number ``n``, or the empty slot where this belongs."""
    mask = np.uint64(result_in.size - 1)
    value = np.uint64(service[n]) ^ (np.uint64(np.int64(share[n] * 1e9)) << np.uint64(32))
    for d in range(2):
        value = (value ^ np.uint64(np.int64(np.round(rate[n, d] * 1e3)))) * np.uint64(0xBF58476D1CE4E5B9)
        value ^= value >> np.uint64(29)
        value = (value ^ np.uint64(causes[n, d] * 2 + down[n, d])) * np.uint64(0x9E3779B97F4A7C15)
        value ^= value >> np.uint64(32)
    slot = value & mask
    while True:
        m = result_in[slot]
        if m == EMPTY or (
            service[m] == service[n]
            and rate[m, 0] == rate[n, 0]
            and rate[m, 1] == rate[n, 1]
            and down[m, 0] == down[n, 0]
            and down[m, 1] == down[n, 1]
            and causes[m, 0] == causes[n, 0]
            and causes[m, 1] == causes[n, 1]
            and share[m] == share[n]
        ):
            return int(slot)
        slot = (slot + np.uint64(1)) & mask


@kernel
def filed_words(
    old_words: NDArray[np.uint64], old_row_of: Ints, words: NDArray[np.uint64], row_of: Ints
) -> None:
    """Put the joint states of a table into a larger, empty one."""
    for slot in range(old_words.size):
        if old_row_of[slot] != EMPTY:
            new = word_slot(words, row_of, old_words[slot])
            words[new], row_of[new] = old_words[slot], old_row_of[slot]


@kernel
def filed_results(
    result_in: NDArray[np.int32],
    service: NDArray[np.int32],
    rate: Floats,
    down: Bools,
    causes: Ints,
    share: Floats,
    n_results: int,
) -> None:
    """Put the first results into an empty table."""
    for n in range(n_results):
        result_in[result_slot(result_in, service, rate, down, causes, share, n)] = n
