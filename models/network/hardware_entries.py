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

    states: Annotated[
        int, Field(ge=2, le=16384, description="points of the constellation, for instance 4 or 256")
    ]
    required_snr_db: Annotated[
        Finite | None, Field(ge=-10, le=60, description="signal-to-noise ratio needed; default by states")
    ] = None
    threshold_dbm: Annotated[
        Finite | None,
        Field(ge=-120, le=0, description="received level needed; default by noise figure and ratio"),
    ] = None
    capacity_mbit_s: Annotated[
        Finite | None,
        Field(gt=0, le=100_000, description="net capacity of one carrier; default by the channel width"),
    ] = None
    signature_width_mhz: Annotated[
        Finite | None, Field(gt=0, le=4000, description="equipment signature; default the channel width")
    ] = None
    signature_depth_db: Annotated[
        Finite | None, Field(ge=0, le=60, description="equipment signature; default by states")
    ] = None
    transmit_backoff_db: Annotated[
        Finite | None,
        Field(
            ge=0, le=20, description="transmit power below the radio's, at this modulation; default by states"
        ),
    ] = None


class Radio(Entry):
    """An outdoor radio with its modem card."""

    id: Identifier
    transmit_power_dbm: Annotated[
        Finite, Field(ge=-30, le=50, description="at the lowest modulation, before couplers")
    ] = 20.0
    noise_figure_db: Annotated[Finite, Field(ge=0, le=20, description="of the receiver")] = 6.0
    channel_width_mhz: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=4000,
            description="width for which thresholds and capacities are stated, scaled on others; "
            "default each hop's",
        ),
    ] = None
    mtbf_h: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1e9,
            description="mean time between failures of outdoor radios of this type [h]; default their kind's",
        ),
    ] = None
    mounting: Annotated[
        Literal["direct", "waveguide"],
        Field(description="on the antenna, or apart from it at the end of a waveguide"),
    ] = "direct"
    waveguide_loss_db: Annotated[Finite, Field(ge=0, le=20, description="each end, if so mounted")] = 1.0
    signature_delay_ns: Annotated[
        Finite, Field(gt=0, le=100, description="delay at which the signatures were measured")
    ] = 6.3
    canceller_improvement_db: Annotated[
        Finite, Field(ge=0, le=40, description="cross-polar interference canceller")
    ] = 20.0
    modulations: Annotated[
        tuple[Modulation, ...], Field(max_length=12, description="lowest first; default 4 to 1024 states")
    ] = (
        Modulation(states=4),
        Modulation(states=16),
        Modulation(states=64),
        Modulation(states=256),
        Modulation(states=1024),
    )
    overhead_share: Annotated[
        Finite,
        Field(
            ge=0,
            lt=1,
            description="of the coded rate, for framing, pilots and management; stated capacities are net",
        ),
    ] = OVERHEAD_SHARE
    step_guard_db: Annotated[
        Finite, Field(ge=0, le=20, description="steps down so far above the threshold of its modulation")
    ] = DEFAULT_RULE.guard_db
    step_hysteresis_db: Annotated[
        Finite, Field(ge=0, le=20, description="steps up so far above the level at which it stepped down")
    ] = DEFAULT_RULE.hysteresis_db
    step_hold_s: Annotated[
        Finite, Field(ge=0, le=600, description="the level has been there so long before it steps up")
    ] = DEFAULT_RULE.hold_s
    step_interval_s: Annotated[Finite, Field(ge=0, le=60, description="from one step up to the next")] = (
        DEFAULT_RULE.interval_s
    )
    adaptive: Annotated[
        bool, Field(description="false keeps the hop's reference modulation at all times")
    ] = True
    powered_by_line_card: Annotated[
        bool,
        Field(
            description="modem within; a packet line port of the indoor unit feeds it, in place of a modem "
            "port, and it is down while that port's line card is"
        ),
    ] = False
    power_control_range_db: Annotated[
        Finite,
        Field(
            ge=0,
            le=40,
            description="automatic transmit power control: in clear air the transmitter sends less by up to "
            "this, and raises to full power as fast as a fade deepens; 0 for none",
        ),
    ] = 0.0
    power_control_margin_db: Annotated[
        Finite,
        Field(
            ge=0,
            le=60,
            description="what power control leaves in clear air above the threshold of the highest "
            "modulation in reach",
        ),
    ] = 10.0

    @model_validator(mode="after")
    def _modulations_rise(self) -> "Radio":
        states = [step.states for step in self.modulations]
        if not states or sorted(set(states)) != states:
            raise FieldError("modulations", f"{states}", "one step or more, states strictly rising")
        return self


class Antenna(Entry):
    """An antenna type."""

    id: Identifier
    diameter_m: Annotated[
        Finite | None, Field(gt=0, le=10, description="its gain follows at 60 % efficiency; default none")
    ] = None
    gain_dbi: Annotated[
        Finite | None, Field(ge=0, le=70, description="instead of a diameter; default by diameter")
    ] = None
    cross_polar_discrimination_db: Annotated[Finite, Field(ge=10, le=60, description="on the main axis")] = (
        30.0
    )
    wet_loss_db: Annotated[
        Finite,
        Field(
            ge=0,
            le=10,
            description="most that one wet antenna takes; grows with the rain fade (Kharadly and Ross 2001). "
            "Leave at 0 where measured rain percentiles hold it",
        ),
    ] = 0.0

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
    modem_card_slots: Annotated[Ports, Field(description="places for modem cards")] = 8
    ports_per_modem_card: Annotated[
        int, Field(ge=1, le=100, description="radios on a card; they fall together")
    ] = 1
    own_modem_ports: Annotated[Ports, Field(description="radios that need no card")] = 0
    own_port_stops_unit: Annotated[
        bool, Field(description="an own modem port is mended with the whole unit out of service")
    ] = False
    line_card_slots: Annotated[Ports, Field(description="places for line cards")] = 10
    own_line_ports: dict[LineKind, Ports] = Field(
        default_factory=lambda: dict(_OWN_LINE_PORTS), description="local ports that need no card, by kind"
    )
    ports_per_line_card: dict[LineKind, Annotated[int, Field(ge=1, le=1000)]] = Field(
        default_factory=lambda: dict(_PORTS_PER_LINE_CARD),
        description="local ports of each kind of line card",
    )
    directions_at_most: Annotated[
        int | None, Field(ge=1, le=1000, description="hop ends with a modem here; default no limit")
    ] = None
    controllers: Annotated[int, Field(ge=1, le=2, description="the second is a hot spare")] = 1
    fans: Annotated[int, Field(ge=0, le=20, description="any one is enough")] = 1
    alarm_board: Annotated[
        bool,
        Field(
            description="false: failures at the site that stop no traffic stay unnoticed until somebody "
            "comes or a routine test finds them"
        ),
    ] = True

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

    equal_coupler_db: Annotated[
        Finite, Field(ge=0, le=20, description="each arm of an equal hybrid coupler")
    ] = 3.5
    unequal_main_db: Annotated[Finite, Field(ge=0, le=20, description="main arm of an unequal coupler")] = 1.6
    unequal_standby_db: Annotated[
        Finite, Field(ge=0, le=30, description="standby arm of an unequal coupler")
    ] = 6.4
    transducer_db: Annotated[
        Finite, Field(ge=0, le=10, description="orthomode transducer of two polarisations on one antenna")
    ] = 0.4
    branching_filter_db: Annotated[
        Finite, Field(ge=0, le=10, description="filters that join three channels or more on a polarisation")
    ] = 1.5


class Switching(Entry):
    """How protection switches behave."""

    changeover_s: Annotated[Finite, Field(ge=0, le=600, description="transmitter changeover")] = 0.1
    failure_on_demand: Annotated[
        Finite,
        Field(
            ge=0,
            le=1,
            description="chance that a switch fails when it is called for: to a standby, or to a protection "
            "channel when equipment takes a working one",
        ),
    ] = 0.01
    manual_switch_h: Annotated[
        Finite, Field(ge=0, le=1000, description="mean, to switch by hand where the changeover failed")
    ] = 1.0
    reverts: Annotated[bool, Field(description="back to the main radio once it is mended")] = False
    wait_to_restore_s: Annotated[
        Finite,
        Field(ge=0, le=100_000, description="the main radio must work so long before it is taken again"),
    ] = 360.0
    standby_test_days: Annotated[
        Finite, Field(ge=0.05, le=10_000, description="between routine tests, which find silent failures")
    ] = 180.0
    standby_test_visit: Annotated[
        bool, Field(description="a crew comes for the routine tests; false tests from a distance")
    ] = False
    standby_test_h: Annotated[
        Finite, Field(gt=0, le=240, description="time at a site to test its standbys, where a crew comes")
    ] = 1.0
    standby_test_start_h: Annotated[
        Finite, Field(ge=0, lt=24, description="local solar time of that visit")
    ] = 10.0


class PartChange(Entry):
    """Another failure or repair law for one kind of part; what is not given keeps its default."""

    kind: Annotated[str, Field(max_length=40, description="a kind of part, as 'hopyears check' lists them")]
    mtbf_h: Annotated[Finite | None, Field(ge=1, le=1e9, description="mean time between failures [h]")] = None
    swap_h: Annotated[Finite | None, Field(gt=0, le=10_000, description="time to mend on site [h]")] = None
    weibull_shape: Annotated[Finite | None, Field(ge=0.3, le=10, description="1 is a constant rate")] = None
    latent_share: Annotated[
        Finite | None, Field(ge=0, le=1, description="of a standby's failures, those that nobody sees")
    ] = None
    affecting_share: Annotated[
        Finite | None,
        Field(ge=0, le=1, description="of failures, those that stop traffic; all need a repair"),
    ] = None
    infant_share: Annotated[
        Finite | None, Field(ge=0, le=1, description="replaced parts that fail early; default none")
    ] = None
    infant_mean_h: Annotated[
        Finite | None, Field(gt=0, le=1e6, description="mean life of those; default 1000")
    ] = None
