"""Cost of equipment: plain sums over a bill of materials and a price table that the caller gives."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from hopyears.models.equipment.hardware import BillRow

INCLUDED_ITEMS = frozenset({"modem_port"})
"""Items that cost nothing of their own unless priced: a modem port comes with a unit or a modem card."""


@dataclass(frozen=True)
class CostRow:
    """Cost of one row of a bill of materials; money in the price table's unit."""

    place: str
    item: str
    count: int
    unit_price: float
    cost: float


def cost_rows(bill: Iterable[BillRow], price_of: Mapping[str, float]) -> tuple[CostRow, ...]:
    """Price of every row of a bill of materials.

    Parameters
    ----------
    bill : iterable of BillRow
    price_of : mapping of str to float
        Price of one of each item, at least 0, in any one currency.

    Raises
    ------
    ValueError
        If items have no price (all are named), or a price is negative or not a number.
    """
    rows = tuple(bill)
    needed = {row.item for row in rows}
    missing = sorted(needed - set(price_of) - INCLUDED_ITEMS)
    if missing:
        raise ValueError(f"prices is without {', '.join(missing)}; must have every item of the bill")
    for item in sorted(needed & set(price_of)):
        if not 0.0 <= price_of[item] < float("inf"):
            raise ValueError(f"price of {item} is {price_of[item]}; must be at least 0")
    return tuple(
        CostRow(
            row.place,
            row.item,
            row.count,
            price_of.get(row.item, 0.0),
            row.count * price_of.get(row.item, 0.0),
        )
        for row in rows
    )


def cost_of(bill: Iterable[BillRow], price_of: Mapping[str, float]) -> float:
    """Total price of a bill of materials (of a hop, a site or a whole plan); raises as ``cost_rows``."""
    return sum(row.cost for row in cost_rows(bill, price_of))
