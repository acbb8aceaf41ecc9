"""Which set of candidates is best for its money: all of them where they are few, else greedy with exchange.

Greedy steps take one candidate or two at once, by what they save for each unit of money; then one is given
up for one or two others as long as that helps. Our own; compared with full enumeration in the tests.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

Set = frozenset[int]

ENUMERATED = 12
"""Candidates up to which every set is looked at."""

KEPT = 24
"""Best sets that a search remembers, as contenders."""

_TOLERANCE = 1e-9


@dataclass(frozen=True)
class Choice:
    """What can be chosen.

    Attributes
    ----------
    costs : sequence of float
        Of each candidate, at least 0 [money].
    exclusive : frozenset of (int, int)
        Pairs, the smaller first, of which only one can be bought.
    harm : callable
        What is to be made small, of a set.
    """

    costs: Sequence[float]
    exclusive: frozenset[tuple[int, int]]
    harm: Callable[[Set], float]

    def cost(self, chosen: Set) -> float:
        """Money of a set."""
        return float(sum(self.costs[i] for i in chosen))

    def allowed(self, chosen: Set) -> bool:
        """Whether no two of a set exclude each other."""
        return not any(pair in self.exclusive for pair in combinations(sorted(chosen), 2))


def best_sets(choice: Choice, budget: float) -> list[Set]:
    """Sets within a budget, best first: the one that a search ends with, and others that it met.

    Parameters
    ----------
    choice : Choice
    budget : float
        At least 0 [money].
    """
    seen: dict[Set, float] = {}

    def judge(chosen: Set) -> float:
        if chosen not in seen:
            fits = choice.cost(chosen) <= budget * (1.0 + _TOLERANCE) and choice.allowed(chosen)
            seen[chosen] = choice.harm(chosen) if fits else float("inf")
        return seen[chosen]

    n = len(choice.costs)
    if n <= ENUMERATED:
        for size in range(n + 1):
            for chosen in combinations(range(n), size):
                judge(frozenset(chosen))
    else:
        _exchange(_greedy(frozenset(), n, choice, judge), n, judge)
    order = sorted(
        (each for each in seen if seen[each] < float("inf")),
        key=lambda each: (seen[each], choice.cost(each), sorted(each)),
    )
    return order[:KEPT]


def _greedy(start: Set, n: int, choice: Choice, judge: Callable[[Set], float]) -> Set:
    here = start
    while True:
        step = best_step(here, range(n), choice, judge)
        if step is None:
            return here
        here |= step


def steps(here: Set, among: Sequence[int]) -> Iterator[Set]:
    """One candidate more, or two."""
    free = [i for i in among if i not in here]
    yield from (frozenset((i,)) for i in free)
    yield from (frozenset(pair) for pair in combinations(free, 2))


def best_step(here: Set, among: Sequence[int], choice: Choice, judge: Callable[[Set], float]) -> Set | None:
    """The step that saves most for its money; None where none saves anything."""
    before, best, found = judge(here), 0.0, None
    for step in steps(here, among):
        saved = before - judge(here | step)
        worth = saved / max(choice.cost(step), 1e-12)
        if saved > _TOLERANCE * max(before, 1.0) and worth > best * (1.0 + _TOLERANCE):
            best, found = worth, step
    return found


def _exchange(start: Set, n: int, judge: Callable[[Set], float]) -> Set:
    """Give up none or one, take one or two, as long as that helps."""
    here = start
    while True:
        moves = (
            (here - set(out)) | into
            for out in [(), *((i,) for i in sorted(here))]
            for into in steps(here, range(n))
        )
        better = min(moves, key=judge, default=here)
        if judge(better) >= judge(here) - _TOLERANCE * max(judge(here), 1.0):
            return here
        here = better


def order_of(chosen: Set, choice: Choice, here: Set = frozenset()) -> list[Set]:
    """What a set has beyond ``here``, in the order in which it is best bought.

    Steps are one candidate, or two that need each other; what saves nothing beside the others comes last.
    """
    found, among = list[Set](), sorted(chosen)
    while here != chosen:
        step = best_step(here, among, choice, choice.harm)
        step = step or frozenset((min(set(among) - here, key=lambda i: choice.costs[i]),))
        found.append(step)
        here |= step
    return found


def cheapest(choice: Choice, wanted: float) -> list[Set]:
    """Sets with a harm of at most ``wanted``, cheapest first; empty where no set that was met has.

    The budget is raised from nothing until a set is good enough; then candidates that are not needed go.
    """
    total = sum(choice.costs)
    low, high, found = 0.0, total, list[Set]()
    for _ in range(20):
        middle = (low + high) / 2.0 if found else high
        good = [each for each in best_sets(choice, middle) if choice.harm(each) <= wanted]
        if good:
            found = [*found, *(_needed(each, choice, wanted) for each in good)]
            high = min(choice.cost(each) for each in found) * (1.0 - 1e-6)
        elif not found:
            return []
        else:
            low = middle
        if high - low <= 1e-6 * max(total, 1.0):
            break
    return sorted(set(found), key=lambda each: (choice.cost(each), choice.harm(each)))[:KEPT]


def _needed(chosen: Set, choice: Choice, wanted: float) -> Set:
    """A set without those that it does not need, dearest first."""
    for candidate in sorted(chosen, key=lambda i: -choice.costs[i]):
        if choice.harm(chosen - {candidate}) <= wanted:
            chosen -= {candidate}
    return chosen
