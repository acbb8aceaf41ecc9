"""What every entry of a network file has in common."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Identifier = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$", description="name, used once among its kind")
]
"""Letters, digits, dot, dash and underscore; 1 to 40 characters; names an entry once and for all."""

Finite = Annotated[float, Field(allow_inf_nan=False)]
"""A number, neither infinite nor undefined."""


class Entry(BaseModel):
    """Base of every entry: frozen, closed (an unknown field is a fault), read by alias or by name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, validate_default=False)
