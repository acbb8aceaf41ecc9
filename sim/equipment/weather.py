"""Storms over the sites of a plant as its failures meet them: in the block, and in the warm-up before it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import cast

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.intervals import Intervals, followed

Times = Sequence[float]
"""Times [s] in order, read one by one."""


@dataclass(frozen=True, eq=False)
class Weather:
    """Storms over each site, one row a site; the same for any number of histories of failures.

    Attributes
    ----------
    storms : Intervals
        Of the block and of its warm-up [s].
    span_s : tuple of two floats
        Begin of the warm-up and end of the block [s].
    """

    storms: Intervals
    span_s: tuple[float, float]

    @classmethod
    def of(cls, storms: Intervals, duration_s: float, warm_up_s: float) -> "Weather":
        """Weather of a block: that of the warm-up is that of the block's end, moved before its beginning."""
        late = storms.clipped(duration_s - warm_up_s, duration_s)
        if len(late.start_s):
            moved = Intervals(late.offset, late.start_s - duration_s, late.end_s - duration_s)
            storms = followed(moved, storms)
        return cls(storms, (-warm_up_s, duration_s))

    @cached_property
    def by_site(self) -> list[tuple[Times, Times]]:
        """Starts and ends of the storms over each site."""
        starts, ends = (cast(Times, each.data) for each in (self.storms.start_s, self.storms.end_s))
        return [(starts[a:b], ends[a:b]) for a, b in pairwise(self.storms.offset.tolist())]

    @cached_property
    def total_s(self) -> Floats:
        """Time with a storm over each site, shape (n_sites,) [s]."""
        return self.storms.total_s()

    @cached_property
    def within_s(self) -> Floats:
        """The same between the begin of the warm-up and the end of the block."""
        return self.storms.total_within_s(*self.span_s)
