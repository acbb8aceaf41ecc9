"""Entries of a network file that describe the traffic of services."""

from typing import Annotated, Literal

from pydantic import Field

from hopyears.models.judging.demand_clock import HOURS_PER_DAY
from hopyears.models.network.entry import Entry, Finite, Identifier

Share = Annotated[Finite, Field(ge=0.001, le=1)]


class DemandProfile(Entry):
    """How much of its committed and peak rates a service asks for, by the hour of its ``from`` site."""

    id: Identifier
    working_day: Annotated[
        tuple[Share, ...],
        Field(
            min_length=HOURS_PER_DAY,
            max_length=HOURS_PER_DAY,
            description="share asked for in each local hour from midnight on, by solar time to the "
            "nearest quarter of an hour; 1 in the busiest hour",
        ),
    ]
    day_off: Annotated[
        tuple[Share, ...] | None,
        Field(
            min_length=HOURS_PER_DAY,
            max_length=HOURS_PER_DAY,
            description="the same on a day off; default as on a working day",
        ),
    ] = None
    working_days_per_week: Annotated[
        int, Field(ge=1, le=7, description="in a row from the first day of a block; the rest is off")
    ] = 5


class Sharing(Entry):
    """How services share the network: what is too small for those of one priority, and their routes."""

    routes: Annotated[
        Literal["shortest", "by load"],
        Field(
            description="working routes that nobody states: the shortest that carry the service; or of a few "
            "such the one that leaves most capacity free, placed by priority, then in order of the file"
        ),
    ] = "shortest"

    within_priority: Annotated[
        Literal["evenly", "by committed rate"],
        Field(
            description="max-min fair, to each alike or in proportion to what it committed to; first of the "
            "committed rates, then of what lies above"
        ),
    ] = "evenly"


class Ring(Entry):
    """Hops that close a ring, which protects its services as one: open at a blocked hop (ITU-T G.8032).

    A chain of hops whose ends lie on another ring is closed by that ring (a sub-ring). Rings that meet in one
    site, and sub-rings, protect a service that crosses them each for itself.
    """

    id: Identifier
    hops: Annotated[
        tuple[Identifier, ...],
        Field(
            min_length=2,
            max_length=255,
            description="hop ids in order round the ring, or along a chain that ends on another ring, which "
            "has the hop that both share; of a bundle, one of its hops",
        ),
    ]
    blocked: Annotated[
        Identifier | None,
        Field(description="hop blocked while all is well, the ring protection link; default the last"),
    ] = None
    hold_off_s: Annotated[
        Finite, Field(ge=0, le=60, description="a hop must have failed so long before the ring turns")
    ] = 0.0
    guard_s: Annotated[
        Finite,
        Field(ge=0, le=60, description="a hop that is back stays blocked so long where another has failed"),
    ] = 0.5
    wait_to_restore_s: Annotated[
        Finite, Field(ge=0, le=100_000, description="all hops must work so long before the ring turns back")
    ] = 300.0
    degraded_below_mbit_s: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1_000_000,
            description="a hop that carries less either way turns the ring too (signal degrade), unless "
            "another has failed; default by signal fail alone",
        ),
    ] = None
    reverts: Annotated[
        bool, Field(description="back to its blocked hop; false leaves it open where it failed")
    ] = True
    switching_time_s: Annotated[
        Finite, Field(ge=0, le=600, description="without traffic, for whom the ring turns at a failure")
    ] = 0.05
    commanded_switching_time_s: Annotated[
        Finite,
        Field(ge=0, le=600, description="the same by command: ahead of planned work, and when it turns back"),
    ] = 0.05
