"""The network as its user describes it: sites, hops, radios, antennas, services, crews, climate.

Each input field is defined once, here: type, unit, range, default and meaning. The file reader, the
published JSON Schema and the listing of defaults all follow from these classes. Everything is frozen.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from models.scheme import Scheme, parse_scheme

Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")]
"""Letters, digits, dot, dash and underscore; 1 to 40 characters; names an entry once and for all."""

Finite = Annotated[float, Field(allow_inf_nan=False)]

MAXIMUM_PATH_LENGTH_KM = 200.0
MINIMUM_PATH_LENGTH_KM = 0.02


class Entry(BaseModel):
    """Base of every entry: frozen, closed (an unknown field is a fault), read by alias or by name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, validate_default=False)


class Site(Entry):
    """A place with a mast: radios in every direction share its power, its mast and its indoor unit."""

    id: Identifier
    latitude_deg: Annotated[Finite, Field(ge=-80, le=80, description="WGS 84")]
    longitude_deg: Annotated[Finite, Field(ge=-180, le=180, description="WGS 84")]
    ground_height_m: Annotated[Finite, Field(ge=-450, le=6000, description="above sea level")] = 0.0
    antenna_height_m: Annotated[
        Finite, Field(ge=1, le=500, description="above ground, for hops that do not state their own")
    ] = 30.0
    power: Annotated[Identifier, Field(description="id of a [[power]] entry, or 'standard'")] = "standard"
    duplicated_controller: Annotated[
        bool, Field(description="the indoor unit's controller has a hot spare")
    ] = False
    indoor_units: Annotated[
        int, Field(ge=0, le=8, description="indoor units; 0 takes as many as the directions need")
    ] = 0


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
        Field(ge=-120, le=0, description="received level needed; default from noise figure and ratio"),
    ] = None
    capacity_mbit_s: Annotated[
        Finite | None,
        Field(gt=0, le=100_000, description="net capacity of one carrier; default from the channel width"),
    ] = None
    signature_width_mhz: Annotated[
        Finite | None, Field(gt=0, le=4000, description="equipment signature; default the channel width")
    ] = None
    signature_depth_db: Annotated[
        Finite | None, Field(ge=0, le=60, description="equipment signature; default by states")
    ] = None
    transmit_backoff_db: Annotated[
        Finite, Field(ge=0, le=20, description="transmit power below the radio's, at this modulation")
    ] = 0.0


class Radio(Entry):
    """An outdoor radio with its modem card."""

    id: Identifier
    transmit_power_dbm: Annotated[Finite, Field(ge=-30, le=50)] = 20.0
    noise_figure_db: Annotated[Finite, Field(ge=0, le=20)] = 6.0
    channel_width_mhz: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=4000,
            description="width for which thresholds and capacities are stated; scaled on other widths",
        ),
    ] = None
    mounting: Annotated[
        Literal["direct", "waveguide"],
        Field(description="on the antenna, or split from it by a flexible waveguide"),
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
    adaptive: Annotated[
        bool, Field(description="false keeps the hop's reference modulation at all times")
    ] = True

    @model_validator(mode="after")
    def _modulations_rise(self) -> "Radio":
        states = [step.states for step in self.modulations]
        if not states or sorted(set(states)) != states:
            raise ValueError(f"modulations is {states}; must be at least one, states strictly rising")
        return self


class Antenna(Entry):
    """An antenna type."""

    id: Identifier
    diameter_m: Annotated[
        Finite | None, Field(gt=0, le=10, description="gain follows at 60 % efficiency")
    ] = None
    gain_dbi: Annotated[Finite | None, Field(ge=0, le=70, description="instead of a diameter")] = None
    cross_polar_discrimination_db: Annotated[Finite, Field(ge=10, le=60)] = 30.0

    @model_validator(mode="after")
    def _one_of_two(self) -> "Antenna":
        if (self.diameter_m is None) == (self.gain_dbi is None):
            raise ValueError("diameter_m and gain_dbi: found both or neither; must be exactly one of them")
        return self


class Hop(Entry):
    """A radio link between two sites."""

    id: Identifier
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    frequency_ghz: Annotated[Finite, Field(ge=1, le=100)]
    channel_width_mhz: Annotated[Finite, Field(gt=0, le=4000)] = 28.0
    polarisation: Annotated[Literal["H", "V"], Field(description="of the first channel")] = "V"
    radio: Annotated[Identifier, Field(description="radio id")]
    antenna: Annotated[Identifier, Field(description="antenna id at both ends")]
    antenna_b: Annotated[
        Identifier | None, Field(description="antenna id at the 'to' end where it differs")
    ] = None
    scheme: Annotated[
        str, Field(max_length=40, description="protection, for instance 1+0, 1+1 HSB, 2+0 XPIC")
    ] = "1+0"
    antenna_height_a_m: Annotated[Finite | None, Field(ge=1, le=500, description="above ground")] = None
    antenna_height_b_m: Annotated[Finite | None, Field(ge=1, le=500, description="above ground")] = None
    antenna_separation_m: Annotated[
        Finite, Field(gt=0, le=60, description="vertical, between the two antennas of space diversity")
    ] = 8.0
    frequency_separation_mhz: Annotated[
        Finite | None,
        Field(gt=0, le=5000, description="between neighbouring channels; default two channel widths"),
    ] = None
    duplex_spacing_mhz: Annotated[
        Finite | None, Field(gt=0, le=12000, description="go to return; default 3 % of the frequency")
    ] = None
    reference_states: Annotated[
        int | None, Field(ge=2, le=16384, description="modulation when not adaptive; default the lowest")
    ] = None
    transmit_power_dbm: Annotated[
        Finite | None, Field(ge=-30, le=50, description="instead of the radio's")
    ] = None
    terrain: Annotated[
        Literal["flat", "hilly", "mountain"], Field(description="for the gathering of fades in nights")
    ] = "flat"
    terrain_height_m: Annotated[
        Finite | None, Field(ge=-450, le=6000, description="mean along the path; default mean of the ends")
    ] = None
    geoclimatic_factor: Annotated[
        Finite | None, Field(gt=0, le=1, description="K of P.530; default from the maps")
    ] = None
    rain_exceedance_db: Annotated[
        dict[str, Finite] | None,
        Field(description="measured rain attenuation by per cent of the year, for instance {'0.01' = 32.0}"),
    ] = None

    @property
    def protection(self) -> Scheme:
        """The scheme as data."""
        return parse_scheme(self.scheme)

    @model_validator(mode="after")
    def _scheme_reads(self) -> "Hop":
        parse_scheme(self.scheme)
        return self


class Service(Entry):
    """An end-to-end demand."""

    id: Identifier
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    committed_mbit_s: Annotated[Finite, Field(gt=0, le=1_000_000)]
    peak_mbit_s: Annotated[
        Finite | None, Field(gt=0, le=1_000_000, description="at least committed; default committed")
    ] = None
    kind: Annotated[
        Literal["ethernet", "circuit", "optical"],
        Field(description="line card: Ethernet, native or packet-carried circuits, channelised optical"),
    ] = "ethernet"
    priority: Annotated[int, Field(ge=1, le=8, description="1 is served first")] = 4
    required_share: Annotated[
        Finite, Field(gt=0, le=1, description="of the committed rate; the service is down below it")
    ] = 1.0
    protection: Annotated[
        Literal["none", "protected", "rerouted"],
        Field(description="one route; a working and a protecting route; any free route"),
    ] = "none"
    route: Annotated[
        tuple[Identifier, ...], Field(description="hop ids in order; default the route of fewest hops")
    ] = ()
    protecting_route: Annotated[
        tuple[Identifier, ...], Field(description="hop ids in order; default the shortest disjoint route")
    ] = ()
    switching_time_s: Annotated[
        Finite | None,
        Field(ge=0, le=600, description="default 0.05 when protected, 5 when rerouted"),
    ] = None
    hold_off_s: Annotated[Finite, Field(ge=0, le=60)] = 0.0

    @property
    def full_rate_mbit_s(self) -> float:
        """Peak rate, or the committed rate where no peak is stated [Mbit/s]."""
        return self.committed_mbit_s if self.peak_mbit_s is None else self.peak_mbit_s

    @model_validator(mode="after")
    def _peak_is_peak(self) -> "Service":
        if self.peak_mbit_s is not None and self.peak_mbit_s < self.committed_mbit_s:
            raise ValueError(
                f"peak_mbit_s is {self.peak_mbit_s:g}; must be at least committed_mbit_s "
                f"({self.committed_mbit_s:g})"
            )
        return self


class PartChange(Entry):
    """Another failure or repair law for one kind of part; what is not given keeps its default."""

    kind: Annotated[str, Field(max_length=40, description="a kind of part, as 'hopyears check' lists them")]
    mtbf_h: Annotated[Finite | None, Field(gt=0, le=1e9, description="mean time between failures [h]")] = None
    swap_h: Annotated[Finite | None, Field(gt=0, le=10_000, description="time to mend on site [h]")] = None
    weibull_shape: Annotated[Finite | None, Field(ge=0.3, le=10, description="1 is a constant rate")] = None
    latent_share: Annotated[
        Finite | None, Field(ge=0, le=1, description="failures of a standby that nobody sees")
    ] = None


class Power(Entry):
    """How a site is fed."""

    id: Identifier
    mains_outages_per_year: Annotated[Finite, Field(ge=0, le=1000)] = 1.5
    outage_median_min: Annotated[Finite, Field(gt=0, le=100_000)] = 35.0
    outage_ln_sd: Annotated[Finite, Field(ge=0, le=3)] = 1.3
    battery_h: Annotated[Finite, Field(ge=0, le=1000, description="autonomy at full charge")] = 4.0
    recharge_h: Annotated[Finite, Field(gt=0, le=1000)] = 11.0
    generator: bool = False
    generator_start_failure: Annotated[Finite, Field(ge=0, le=1)] = 0.02
    storm_factor: Annotated[
        Finite, Field(ge=1, le=1000, description="mains outage rate in a storm over that in calm weather")
    ] = 6.0


class Crew(Entry):
    """People who mend."""

    id: Identifier
    base: Annotated[Identifier, Field(description="site id of the base")]
    teams: Annotated[int, Field(ge=1, le=1000)] = 1
    speed_km_h: Annotated[Finite, Field(gt=0, le=300, description="along the straight line")] = 40.0
    shift_start_h: Annotated[Finite, Field(ge=0, lt=24, description="local solar time")] = 0.0
    shift_end_h: Annotated[Finite, Field(gt=0, le=24)] = 24.0
    working_days_per_week: Annotated[int, Field(ge=1, le=7)] = 7


class Depot(Entry):
    """Spares."""

    id: Identifier
    base: Annotated[Identifier, Field(description="site id where the spares lie")]
    stock: Annotated[
        dict[str, Annotated[int, Field(ge=0, le=100_000)]], Field(description="part kind to spares held")
    ] = {}
    lead_time_days: Annotated[Finite, Field(gt=0, le=1000)] = 30.0


class Maintenance(Entry):
    """Planned work that stops a site."""

    site: Identifier
    every_days: Annotated[Finite, Field(ge=1, le=10_000)]
    duration_h: Annotated[Finite, Field(gt=0, le=240)] = 1.0
    start_h: Annotated[Finite, Field(ge=0, lt=24, description="local solar time")] = 2.0


class ClimateChange(Entry):
    """What the user knows better than the maps; the rest comes from the ITU-R maps by coordinates."""

    rain_rate_001_mm_h: Annotated[
        Finite | None, Field(gt=0, le=300, description="exceeded 0.01 % of the year")
    ] = None
    monthly_temperature_c: Annotated[tuple[Finite, ...] | None, Field(min_length=12, max_length=12)] = None
    monthly_rainfall_mm: Annotated[
        tuple[Annotated[Finite, Field(ge=0, le=5000)], ...] | None, Field(min_length=12, max_length=12)
    ] = None
    refractivity_gradient: Annotated[
        Finite | None, Field(ge=-2000, le=0, description="dN1 of P.453, N-units per km")
    ] = None
    year_to_year_ratio: Annotated[
        Finite | None, Field(ge=0, le=7, description="r_c of P.678-3; default the world median 0.18")
    ] = None
    storm_speed_km_h: Annotated[Finite | None, Field(gt=0, le=200)] = None
    storm_bearing_deg: Annotated[
        Finite | None, Field(ge=0, lt=360, description="where storms go, clockwise from north")
    ] = None


class Switching(Entry):
    """How protection switches behave."""

    changeover_s: Annotated[Finite, Field(ge=0, le=600, description="transmitter changeover")] = 0.1
    failure_on_demand: Annotated[Finite, Field(ge=0, le=1)] = 0.01
    reverts: Annotated[bool, Field(description="back to the main radio once it is mended")] = False
    standby_test_days: Annotated[Finite, Field(gt=0, le=10_000)] = 180.0


class Losses(Entry):
    """Losses of couplers and transducers, at each end where one stands."""

    equal_coupler_db: Annotated[Finite, Field(ge=0, le=20)] = 3.5
    unequal_main_db: Annotated[Finite, Field(ge=0, le=20)] = 1.6
    unequal_standby_db: Annotated[Finite, Field(ge=0, le=30)] = 6.4
    transducer_db: Annotated[Finite, Field(ge=0, le=10)] = 0.4
    branching_filter_db: Annotated[Finite, Field(ge=0, le=10)] = 1.5


class Network(Entry):
    """A whole network file."""

    title: Annotated[str, Field(max_length=200)] = "untitled network"
    sites: Annotated[tuple[Site, ...], Field(min_length=2, max_length=20_000)]
    hops: Annotated[tuple[Hop, ...], Field(min_length=1, max_length=20_000)]
    radios: Annotated[tuple[Radio, ...], Field(min_length=1, max_length=2000)]
    antennas: Annotated[tuple[Antenna, ...], Field(min_length=1, max_length=2000)]
    services: Annotated[tuple[Service, ...], Field(max_length=20_000)] = ()
    parts: tuple[PartChange, ...] = ()
    power: tuple[Power, ...] = ()
    crews: tuple[Crew, ...] = ()
    depots: tuple[Depot, ...] = ()
    maintenance: tuple[Maintenance, ...] = ()
    climate: ClimateChange = ClimateChange()
    switching: Switching = Switching()
    losses: Losses = Losses()

    def site(self, site_id: str) -> Site:
        """The site of that id. Raises KeyError where there is none."""
        return _by_id(self.sites, site_id)

    def hop(self, hop_id: str) -> Hop:
        """The hop of that id. Raises KeyError where there is none."""
        return _by_id(self.hops, hop_id)

    def radio(self, radio_id: str) -> Radio:
        """The radio of that id. Raises KeyError where there is none."""
        return _by_id(self.radios, radio_id)

    def antenna(self, antenna_id: str) -> Antenna:
        """The antenna of that id. Raises KeyError where there is none."""
        return _by_id(self.antennas, antenna_id)

    def power_of(self, site: Site) -> Power:
        """How a site is fed; ``standard`` has the defaults unless the file defines it."""
        for entry in self.power:
            if entry.id == site.power:
                return entry
        return Power(id="standard")


def _by_id(entries: tuple[Any, ...], wanted: str) -> Any:
    for entry in entries:
        if entry.id == wanted:
            return entry
    raise KeyError(wanted)
