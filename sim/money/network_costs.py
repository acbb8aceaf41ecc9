"""The bill of a network: all that is bought or paid for by the year, with the prices of its file."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from hopyears.models.equipment.hardware import BillRow, bill_of
from hopyears.models.equipment.indoor_unit import site_bill
from hopyears.models.money.costs import Cost, CostRow, Terms
from hopyears.models.money.items import SPARE, band_of, price_of, width_of
from hopyears.models.network.network import Hop, Network
from hopyears.models.radio.scheme import radios_of
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.hops.hop_parts import hop_parts
from hopyears.sim.hops.site_hardware import sites_hardware

VISIT, USED = "visit", "used_"
"""Items that only a run can count: journeys of crews, and spares that repairs used."""


@dataclass(frozen=True)
class Item:
    """A row of the bill before it has prices; as ``CostRow``."""

    place: str
    item: str
    kind: str = ""
    band: str = ""
    count: float = 1.0
    renewed_years: float | None = None


def bill_items(network: Network) -> Iterator[Item]:
    """All that a network is made of and kept up with: hops, sites, crews, depots, in their order."""
    hardware = sites_hardware(network)
    for hop in network.hops:
        yield from _hop_items(network, hop, bill_of(hop_parts(network, hop, hardware)))
    for site in network.sites:
        kind, power = network.indoor_unit_of(site).id, network.power_of(site)
        yield Item(site.id, "site")
        for row in site_bill(hardware[site.id]):
            yield Item(site.id, row.item, kind, count=row.count)
            if row.item == "indoor_unit":
                yield Item(site.id, "unit_energy", kind, count=row.count)
        for item, count, renewed in (
            ("battery_hour", power.battery_h, power.battery_life_years),
            ("generator", float(power.generator), None),
            ("rectifier", float(power.rectifiers), None),
            ("solar_supply", float(power.solar_harvest_h is not None), None),
        ):
            if count:
                yield Item(site.id, item, power.id, count=count, renewed_years=renewed)
    for crew in network.crews:
        yield Item(crew.base, "base", crew.id)
        yield Item(crew.base, "crew", crew.id, count=crew.teams)
    for depot in network.depots:
        for part, count in depot.stock.items():
            kind, _, rest = part.partition("/")
            if count:
                yield Item(depot.base, f"{SPARE}{kind}", rest.partition("/")[0], count=count)


def _hop_items(network: Network, hop: Hop, rows: Iterable[BillRow]) -> Iterator[Item]:
    band, antennas = band_of(hop.frequency_ghz), (hop.antenna, hop.antenna_b or hop.antenna)
    for row in rows:
        end = int(row.place.rsplit("/", 1)[1] != hop.site_a)
        if row.item.startswith("antenna_"):
            kinds = [(row.item, antennas[end]), ("mast_space", antennas[end])]
        elif row.item == "outdoor_radio":
            kinds = [(row.item, hop.radio), ("radio_energy", hop.radio)]
        else:
            kinds = [(row.item, hop.radio if row.item in ("cable", "modem_port") else "")]
        yield from (Item(row.place, item, kind, band, row.count) for item, kind in kinds)
    channels = hop.protection.working + hop.protection.protection
    yield Item(hop.id, "licence", width_of(hop.channel_width_mhz), band, channels)


def cost_rows(network: Network) -> list[CostRow]:
    """The bill with its prices: None where none is given."""
    prices = network.prices
    widths = {hop.id: hop.channel_width_mhz for hop in network.hops}
    rows = []
    for each in bill_items(network):
        once, yearly = (
            price_of(table, each.item, each.kind, each.band) for table in (prices.once, prices.yearly)
        )
        if each.item == "licence":
            by_width = price_of(prices.yearly, "spectrum_mhz", band=each.band)
            if by_width is not None:
                yearly = (yearly or 0.0) + by_width * widths[each.place]
        rows.append(
            CostRow(each.place, each.item, each.kind, each.band, each.count, once, yearly, each.renewed_years)
        )
    return rows


def terms_of(network: Network) -> Terms | None:
    """Life and rate of a network's prices; None without a price."""
    prices = network.prices
    if not prices.given or prices.life_years is None or prices.discount_rate is None:
        return None
    return Terms(prices.life_years, prices.discount_rate)


def cost_frame(rows: Sequence[CostRow], terms: Terms | None) -> pd.DataFrame:
    """Table ``costs``: one row of the bill each, with no rows at all where there is no price."""
    data = []
    for row in rows if terms is not None else ():
        cost = terms.cost_of([row]) if row.priced else Cost(*(float("nan"),) * 3)  # type: ignore[union-attr]
        each = (float("nan") if price is None else price for price in (row.once, row.yearly))
        data.append(
            (row.place, row.item, "/".join(filter(None, (row.kind, row.band))), row.count, *each, *cost)
        )
    return table_of("costs", data)


def by_item(costs: pd.DataFrame) -> pd.DataFrame:
    """Rows of ``costs`` summed by item, in their order, with a column ``unpriced``.

    Sums are of what has a price; ``unpriced`` is how many have none.
    """
    money = ["capital", "yearly", "present"]
    unpriced = costs["count"].where(costs["present"].isna(), 0.0)
    grouped = costs.assign(unpriced=unpriced).groupby("item", sort=False)
    return grouped[["count", *money, "unpriced"]].sum().reset_index()


def without_price(rows: Iterable[CostRow]) -> list[str]:
    """Items with a row that has no price, each once, with how many there are: ``cable (46)``."""
    counts: dict[str, float] = {}
    for row in rows:
        if not row.priced:
            item = row.item.replace("_", " ")
            counts[item] = counts.get(item, 0.0) + row.count
    return [f"{item} ({count:g})" for item, count in counts.items()]


def run_rows(network: Network, visits: pd.DataFrame, failures: pd.DataFrame) -> list[CostRow]:
    """What a run counted and the file prices: journeys of crews and spares used, each by the year.

    A spare of a kind whose price depends on the type costs the mean over the parts of that kind that stand in
    the network: parts of one kind fail alike.

    Parameters
    ----------
    network : Network
    visits, failures : DataFrame
        Tables ``crew_visits`` and ``part_failures`` of the run.
    """
    rows = []
    prices = network.prices
    if prices.visit is not None:
        made = zip(visits["crew"], visits["visits_per_year"] + visits["planned_per_year"], strict=True)
        rows += [CostRow(str(crew), VISIT, "", "", float(n), yearly=prices.visit) for crew, n in made if n]
    radios: Counter[str] = Counter()
    for hop in network.hops:
        radios[hop.radio] += len(radios_of(hop.protection))
    for kind, n in zip(failures["kind"], failures["failures_per_year"], strict=True):
        types = radios if kind == "outdoor_radio" else Counter({"": 1})
        known = {
            each: price
            for each in types
            if (price := price_of(prices.once, f"{SPARE}{kind}", each)) is not None
        }
        if n and known:
            mean = sum(types[each] * price for each, price in known.items()) / sum(
                types[each] for each in known
            )
            rows.append(CostRow("repairs", f"{USED}{kind}", "", "", float(n), yearly=mean))
    return rows
