"""Entries of a network file that describe traffic: services, when they ask for it, and how it is shared."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.judging.demand_clock import HOURS_PER_DAY
from hopyears.models.network.entry import Entry, Finite, Identifier, Name
from hopyears.models.network.hardware_entries import LineKind
from hopyears.models.network.money_entries import PenaltyTier

Share = Annotated[Finite, Field(ge=0.001, le=1)]


class DemandProfile(Entry):
    """How much of its committed and peak rates a service asks for, by the hour of its ``from`` site."""

    id: Identifier
    working_day: tuple[Share, ...] = Field(
        min_length=HOURS_PER_DAY,
        max_length=HOURS_PER_DAY,
        description="share asked for in each local hour from midnight on, by solar time to the "
        "nearest quarter of an hour; 1 in the busiest hour",
    )
    day_off: tuple[Share, ...] | None = Field(
        None,
        min_length=HOURS_PER_DAY,
        max_length=HOURS_PER_DAY,
        description="the same on a day off; default as on a working day",
    )
    working_days_per_week: int = Field(
        5, ge=1, le=7, description="in a row from the first day of a block; the rest is off"
    )


class Sharing(Entry):
    """How services share the network: what is too small for those of one priority, and their routes."""

    routes: Literal["shortest", "by load"] = Field(
        "shortest",
        description="working routes that nobody states: the shortest that carry the service; or of a few "
        "such the one that leaves most capacity free, placed by priority, then in order of the file",
    )

    within_priority: Literal["evenly", "by committed rate"] = Field(
        "evenly",
        description="max-min fair, to each alike or in proportion to what it committed to; first of the "
        "committed rates, then of what lies above",
    )


class Ring(Entry):
    """Hops that close a ring, which protects its services as one: open at a blocked hop (ITU-T G.8032).

    A chain of hops whose ends lie on another ring is closed by that ring (a sub-ring). Rings that meet in one
    site, and sub-rings, protect a service that crosses them each for itself.
    """

    id: Identifier
    hops: tuple[Identifier, ...] = Field(
        min_length=2,
        max_length=255,
        description="hop ids in order round the ring, or along a chain that ends on another ring, which "
        "has the hop that both share; of a bundle, one of its hops",
    )
    blocked: Identifier | None = Field(
        None, description="hop blocked while all is well, the ring protection link; default the last"
    )
    hold_off_s: Finite = Field(
        0.0, ge=0, le=60, description="a hop must have failed so long before the ring turns"
    )
    guard_s: Finite = Field(
        0.5, ge=0, le=60, description="a hop that is back stays blocked so long where another has failed"
    )
    wait_to_restore_s: Finite = Field(
        300.0, ge=0, le=100_000, description="all hops must work so long before the ring turns back"
    )
    degraded_below_mbit_s: Finite | None = Field(
        None,
        gt=0,
        le=1_000_000,
        description="a hop that carries less either way turns the ring too (signal degrade), unless "
        "another has failed; default by signal fail alone",
    )
    reverts: bool = Field(True, description="back to its blocked hop; false leaves it open where it failed")
    switching_time_s: Finite = Field(
        0.05, ge=0, le=600, description="without traffic, for whom the ring turns at a failure"
    )
    commanded_switching_time_s: Finite = Field(
        0.05, ge=0, le=600, description="the same by command: ahead of planned work, and when it turns back"
    )


SHARE_TO_BE_UP: Mapping[str, float] = MappingProxyType({"packet": 0.5, "circuit": 1.0, "optical": 1.0})
"""Share of its committed rate below which a service of each kind is down unless it states another."""


class Service(Entry):
    """An end-to-end demand."""

    id: Identifier
    name: Name = None
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    committed_mbit_s: Finite = Field(
        gt=0,
        le=1_000_000,
        description="rate that must be delivered, in each direction unless backward is stated",
    )
    peak_mbit_s: Finite | None = Field(
        None, gt=0, le=1_000_000, description="at least committed; default committed"
    )
    committed_backward_mbit_s: Finite | None = Field(
        None, gt=0, le=1_000_000, description="the same from 'to' to 'from'; default as forward"
    )
    peak_backward_mbit_s: Finite | None = Field(
        None,
        gt=0,
        le=1_000_000,
        description="at least committed backward; default that where it is stated, else as forward",
    )
    demand_profile: Identifier | None = Field(
        None,
        description="id of a [[demand_profiles]] entry: share of both rates that is asked for by the "
        "hour; default all of them at all times",
    )
    kind: LineKind = Field("packet", description="of its local ports")
    priority: int = Field(4, ge=1, le=8, description="1 is served first")
    sharing_weight: Finite | None = Field(
        None,
        ge=0.001,
        le=1_000_000,
        description="of what it gets of a link that is too small for those of its priority; default by "
        "[sharing]",
    )
    required_share: Finite | None = Field(
        None,
        gt=0,
        le=1,
        description="of the committed rate; the service is down below it, and below committed above it; "
        "default 0.5 for packet (Y.1563), else 1 (G.826); 1 where a contract counts all below committed",
    )
    grade: Literal["access", "short haul", "long haul"] = Field(
        "short haul", description="portion of the national path, for the objectives of F.1703 and F.1668"
    )
    availability_objective: Finite | None = Field(
        None, gt=0, lt=1, description="share of time, as 0.9999; default by F.1703"
    )
    severely_errored_ratio_objective: Finite | None = Field(
        None, gt=0, lt=1, description="share of available time; default by F.1668"
    )
    outages_per_year_objective: Finite | None = Field(
        None, gt=0, le=100_000, description="outage intensity of G.827; default none"
    )
    protection: Literal["none", "protected", "rerouted", "ring"] = Field(
        "none",
        description="one route; a working and a protecting route; any free route; all ways round the "
        "[[rings]] entries on its way, which then say how it switches",
    )
    route: tuple[Identifier, ...] = Field(
        (), max_length=1000, description="hop ids in order; default the route of fewest hops"
    )
    protecting_route: tuple[Identifier, ...] = Field(
        (), max_length=1000, description="hop ids in order; default the shortest disjoint route"
    )
    switching_time_s: Finite | None = Field(
        None,
        ge=0,
        le=600,
        description="without traffic when a failed route is left; default 0.05 when protected, "
        "5 when rerouted",
    )
    commanded_switching_time_s: Finite | None = Field(
        None,
        ge=0,
        le=600,
        description="without traffic at a change by command: ahead of planned work, and back to a better "
        "route; default 0.05 when protected, 0 when rerouted (the new route is ready first)",
    )
    switch_trigger: Literal["signal fail", "signal degrade", "congestion"] = Field(
        "signal fail",
        description="a route is left when a link of it is dead; or carries less than the service needs; "
        "or, beside the others there, leaves it less than its committed rate while another has room",
    )
    preempts: bool = Field(
        True,
        description="with trigger congestion: takes room that services of lower priority hold, where no "
        "route has room beside them, and goes back to its first route likewise",
    )
    reverts: bool = Field(True, description="a better route is taken again once it is back")
    hold_off_s: Finite = Field(
        0.0, ge=0, le=60, description="a route must have failed so long before it is left"
    )
    wait_to_restore_s: Finite = Field(
        300.0, ge=0, le=100_000, description="a better route must be back so long before it is taken again"
    )
    weight: Finite = Field(
        1.0, ge=0, le=1e6, description="of its minutes in the sum over services that plans are for"
    )
    penalties: tuple[PenaltyTier, ...] = Field(
        (), max_length=24, description="owed for months or years below an availability; default none"
    )
    penalty_cap_per_year: Finite | None = Field(
        None, ge=0, le=1e12, description="most that is owed in a year; default no limit"
    )
    undelivered_value_per_gbit: Finite | None = Field(
        None,
        ge=0,
        le=1e12,
        description="value of a gigabit asked for and not delivered, both directions; default none",
    )

    @property
    def share_to_be_up(self) -> float:
        """Share of the committed rate below which the service is down, by its kind unless stated.

        A second of a packet service is severely errored when more than half of its frames are lost (ITU-T
        Y.1563, from memory); of a circuit, which comes whole or not at all, when it falls short (G.826).
        """
        return SHARE_TO_BE_UP[self.kind] if self.required_share is None else self.required_share

    @property
    def full_rate_mbit_s(self) -> float:
        """Peak rate, or the committed rate where no peak is stated [Mbit/s]."""
        return self.committed_mbit_s if self.peak_mbit_s is None else self.peak_mbit_s

    @property
    def committed_ways_mbit_s(self) -> tuple[float, float]:
        """Committed rate forward and backward [Mbit/s]."""
        backward = self.committed_backward_mbit_s
        return self.committed_mbit_s, self.committed_mbit_s if backward is None else backward

    @property
    def full_ways_mbit_s(self) -> tuple[float, float]:
        """Peak rate forward and backward, or the committed rate where no peak is stated [Mbit/s]."""
        backward = self.peak_backward_mbit_s or self.committed_backward_mbit_s or self.full_rate_mbit_s
        return self.full_rate_mbit_s, backward

    @model_validator(mode="after")
    def _peak_is_peak(self) -> "Service":
        if self.peak_mbit_s is not None and self.peak_mbit_s < self.committed_mbit_s:
            raise FieldError(
                "peak_mbit_s",
                f"{self.peak_mbit_s:g}",
                f"at least committed_mbit_s, {self.committed_mbit_s:g}",
            )
        if self.full_ways_mbit_s[1] < self.committed_ways_mbit_s[1]:
            field, least = "committed_backward_mbit_s", self.committed_backward_mbit_s
            if least is None:
                field, least = "committed_mbit_s", self.committed_mbit_s
            raise FieldError(
                "peak_backward_mbit_s", f"{self.full_ways_mbit_s[1]:g}", f"at least {field}, {least:g}"
            )
        return self
