"""Entries of a network file that describe hardware: radios, antennas, indoor units, switches, parts."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.entry import Entry, Finite, Identifier
from hopyears.models.radio.modulation import DEFAULT_RULE, OVERHEAD_SHARE


class Modulation(Entry):
    """One step of a radio's adaptive modulation."""

    states: int = Field(ge=2, le=16384, description="points of the constellation, for instance 4 or 256")
    required_snr_db: Finite | None = Field(
        None, ge=-10, le=60, description="signal-to-noise ratio needed; default by states"
    )
    threshold_dbm: Finite | None = Field(
        None, ge=-120, le=0, description="received level needed; default by noise figure and ratio"
    )
    capacity_mbit_s: Finite | None = Field(
        None, gt=0, le=100_000, description="net capacity of one carrier; default by the channel width"
    )
    signature_width_mhz: Finite | None = Field(
        None, gt=0, le=4000, description="equipment signature; default the channel width"
    )
    signature_depth_db: Finite | None = Field(
        None, ge=0, le=60, description="equipment signature; default by states"
    )
    transmit_backoff_db: Finite | None = Field(
        None,
        ge=0,
        le=20,
        description="transmit power below the radio's, at this modulation; default by states",
    )


class Radio(Entry):
    """An outdoor radio with its modem card."""

    id: Identifier
    transmit_power_dbm: Finite = Field(
        20.0, ge=-30, le=50, description="at the lowest modulation, before couplers"
    )
    noise_figure_db: Finite = Field(6.0, ge=0, le=20, description="of the receiver")
    channel_width_mhz: Finite | None = Field(
        None,
        gt=0,
        le=4000,
        description="width for which thresholds and capacities are stated, scaled on others; "
        "default each hop's",
    )
    mtbf_h: Finite | None = Field(
        None,
        gt=0,
        le=1e9,
        description="mean time between failures of outdoor radios of this type [h]; default their kind's",
    )
    mounting: Literal["direct", "waveguide"] = Field(
        "direct", description="on the antenna, or apart from it at the end of a waveguide"
    )
    waveguide_loss_db: Finite = Field(1.0, ge=0, le=20, description="each end, if so mounted")
    signature_delay_ns: Finite = Field(
        6.3, gt=0, le=100, description="delay at which the signatures were measured"
    )
    canceller_improvement_db: Finite = Field(
        20.0, ge=0, le=40, description="cross-polar interference canceller"
    )
    modulations: tuple[Modulation, ...] = Field(
        (
            Modulation(states=4),
            Modulation(states=16),
            Modulation(states=64),
            Modulation(states=256),
            Modulation(states=1024),
        ),
        max_length=12,
        description="lowest first; default 4 to 1024 states",
    )
    overhead_share: Finite = Field(
        OVERHEAD_SHARE,
        ge=0,
        lt=1,
        description="of the coded rate, for framing, pilots and management; stated capacities are net",
    )
    step_guard_db: Finite = Field(
        DEFAULT_RULE.guard_db,
        ge=0,
        le=20,
        description="steps down so far above the threshold of its modulation",
    )
    step_hysteresis_db: Finite = Field(
        DEFAULT_RULE.hysteresis_db,
        ge=0,
        le=20,
        description="steps up so far above the level at which it stepped down",
    )
    step_hold_s: Finite = Field(
        DEFAULT_RULE.hold_s, ge=0, le=600, description="the level has been there so long before it steps up"
    )
    step_interval_s: Finite = Field(
        DEFAULT_RULE.interval_s, ge=0, le=60, description="from one step up to the next"
    )
    adaptive: bool = Field(True, description="false keeps the hop's reference modulation at all times")
    powered_by_line_card: bool = Field(
        False,
        description="modem within; a packet line port of the indoor unit feeds it, in place of a modem "
        "port, and it is down while that port's line card is",
    )
    power_control_range_db: Finite = Field(
        0.0,
        ge=0,
        le=40,
        description="automatic transmit power control: in clear air the transmitter sends less by up to "
        "this, and raises to full power as fast as a fade deepens; 0 for none",
    )
    power_control_margin_db: Finite = Field(
        10.0,
        ge=0,
        le=60,
        description="what power control leaves in clear air above the threshold of the highest "
        "modulation in reach",
    )

    @model_validator(mode="after")
    def _modulations_rise(self) -> "Radio":
        states = [step.states for step in self.modulations]
        if not states or sorted(set(states)) != states:
            raise FieldError("modulations", f"{states}", "one step or more, states strictly rising")
        return self


class Antenna(Entry):
    """An antenna type."""

    id: Identifier
    diameter_m: Finite | None = Field(
        None, gt=0, le=10, description="its gain follows at 60 % efficiency; default none"
    )
    gain_dbi: Finite | None = Field(
        None, ge=0, le=70, description="instead of a diameter; default by diameter"
    )
    cross_polar_discrimination_db: Finite = Field(30.0, ge=10, le=60, description="on the main axis")
    wet_loss_db: Finite = Field(
        0.0,
        ge=0,
        le=10,
        description="most that one wet antenna takes; grows with the rain fade (Kharadly and Ross 2001). "
        "Leave at 0 where measured rain percentiles hold it",
    )

    @model_validator(mode="after")
    def _one_of_two(self) -> "Antenna":
        if self.diameter_m is None and self.gain_dbi is None:
            raise FieldError("diameter_m", "missing", "given, or gain_dbi instead")
        if self.diameter_m is not None and self.gain_dbi is not None:
            raise FieldError("gain_dbi", "given beside diameter_m", "given alone, or left out")
        return self


LineKind = Literal["packet", "circuit", "optical"]
"""Kinds of local traffic, each with line ports of its own."""

Ports = Annotated[int, Field(ge=0, le=1000)]

_OWN_LINE_PORTS: Mapping[LineKind, int] = MappingProxyType({"packet": 10})
_PORTS_PER_LINE_CARD: Mapping[LineKind, int] = MappingProxyType({"packet": 10, "circuit": 10, "optical": 10})


class IndoorUnit(Entry):
    """What one indoor unit of a site offers. All defaults are round numbers of our own, of no device."""

    id: Identifier
    modem_card_slots: Ports = Field(8, description="places for modem cards")
    ports_per_modem_card: int = Field(1, ge=1, le=100, description="radios on a card; they fall together")
    own_modem_ports: Ports = Field(0, description="radios that need no card")
    own_port_stops_unit: bool = Field(
        False, description="an own modem port is mended with the whole unit out of service"
    )
    line_card_slots: Ports = Field(10, description="places for line cards")
    own_line_ports: dict[LineKind, Ports] = Field(
        default_factory=lambda: dict(_OWN_LINE_PORTS), description="local ports that need no card, by kind"
    )
    ports_per_line_card: dict[LineKind, Annotated[int, Field(ge=1, le=1000)]] = Field(
        default_factory=lambda: dict(_PORTS_PER_LINE_CARD),
        description="local ports of each kind of line card",
    )
    directions_at_most: int | None = Field(
        None, ge=1, le=1000, description="hop ends with a modem here; default no limit"
    )
    controllers: int = Field(1, ge=1, le=2, description="the second is a hot spare")
    fans: int = Field(1, ge=0, le=20, description="any one is enough")
    alarm_board: bool = Field(
        True,
        description="false: failures at the site that stop no traffic stay unnoticed until somebody "
        "comes or a routine test finds them",
    )

    @property
    def modem_ports(self) -> int:
        """Radios that it serves with every modem card added."""
        return self.own_modem_ports + self.modem_card_slots * self.ports_per_modem_card

    @model_validator(mode="after")
    def _serves_something(self) -> "IndoorUnit":
        if not self.modem_ports:
            raise FieldError("modem_card_slots", "0 without own_modem_ports", "1 or more, or own ports given")
        if self.own_port_stops_unit and not self.own_modem_ports:
            raise FieldError(
                "own_port_stops_unit", "true without own_modem_ports", "false, or own ports given"
            )
        return self


class Losses(Entry):
    """Losses of couplers and transducers, at each end where one stands."""

    equal_coupler_db: Finite = Field(3.5, ge=0, le=20, description="each arm of an equal hybrid coupler")
    unequal_main_db: Finite = Field(1.6, ge=0, le=20, description="main arm of an unequal coupler")
    unequal_standby_db: Finite = Field(6.4, ge=0, le=30, description="standby arm of an unequal coupler")
    transducer_db: Finite = Field(
        0.4, ge=0, le=10, description="orthomode transducer of two polarisations on one antenna"
    )
    branching_filter_db: Finite = Field(
        1.5, ge=0, le=10, description="filters that join three channels or more on a polarisation"
    )


class Switching(Entry):
    """How protection switches behave."""

    changeover_s: Finite = Field(0.1, ge=0, le=600, description="transmitter changeover")
    failure_on_demand: Finite = Field(
        0.01,
        ge=0,
        le=1,
        description="chance that a switch fails when it is called for: to a standby, or to a protection "
        "channel when equipment takes a working one",
    )
    manual_switch_h: Finite = Field(
        1.0, ge=0, le=1000, description="mean, to switch by hand where the changeover failed"
    )
    reverts: bool = Field(False, description="back to the main radio once it is mended")
    wait_to_restore_s: Finite = Field(
        360.0, ge=0, le=100_000, description="the main radio must work so long before it is taken again"
    )
    standby_test_days: Finite = Field(
        180.0, ge=0.05, le=10_000, description="between routine tests, which find silent failures"
    )
    standby_test_visit: bool = Field(
        False, description="a crew comes for the routine tests; false tests from a distance"
    )
    standby_test_h: Finite = Field(
        1.0, gt=0, le=240, description="time at a site to test its standbys, where a crew comes"
    )
    standby_test_start_h: Finite = Field(10.0, ge=0, lt=24, description="local solar time of that visit")


class PartChange(Entry):
    """Another failure or repair law for one kind of part; what is not given keeps its default."""

    kind: str = Field(max_length=40, description="a kind of part, as 'hopyears check' lists them")
    mtbf_h: Finite | None = Field(None, ge=1, le=1e9, description="mean time between failures [h]")
    swap_h: Finite | None = Field(None, gt=0, le=10_000, description="time to mend on site [h]")
    weibull_shape: Finite | None = Field(None, ge=0.3, le=10, description="1 is a constant rate")
    latent_share: Finite | None = Field(
        None, ge=0, le=1, description="of a standby's failures, those that nobody sees"
    )
    affecting_share: Finite | None = Field(
        None, ge=0, le=1, description="of failures, those that stop traffic; all need a repair"
    )
    infant_share: Finite | None = Field(
        None, ge=0, le=1, description="replaced parts that fail early; default none"
    )
    infant_mean_h: Finite | None = Field(None, gt=0, le=1e6, description="mean life of those; default 1000")
