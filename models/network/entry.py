"""What every entry of a network file has in common."""

from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from hopyears.models.basics.faults import FieldError, shown_sign, steering_sign

Identifier = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$", description="name, used once among its kind")
]
"""Letters, digits, dot, dash and underscore; 1 to 40 characters; names an entry once and for all."""

Name = Annotated[
    str | None,
    Field(min_length=1, max_length=80, description="shown to readers in place of the id; default the id"),
]
"""What people call an entry; tables keep its id."""

Finite = Annotated[float, Field(allow_inf_nan=False)]
"""A number, neither infinite nor undefined."""

LEAST = 1e-9
"""Of numbers that must be above 0: what is divided by a smaller one has no end."""


class Entry(BaseModel):
    """Base of every entry: frozen, closed (an unknown field is a fault), read by alias or by name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, validate_default=False)

    @model_validator(mode="after")
    def _values_are_plain(self) -> Self:
        """Refuse signs that a screen obeys instead of showing (control characters, changes of direction), and
        numbers above 0 by less than ``LEAST``."""
        for field, value in self.__dict__.items():
            if isinstance(value, str) and (sign := steering_sign(value)):
                found, allowed = f"text with the sign {shown_sign(sign)}", "text that a screen shows as it is"
            elif isinstance(value, float) and 0.0 < value < LEAST and self._above_zero(field):
                found, allowed = f"{value:g}", f"at least {LEAST:g}"
            else:
                continue
            raise FieldError(type(self).model_fields[field].alias or field, found, allowed)
        return self

    @classmethod
    def _above_zero(cls, field: str) -> bool:
        return any(getattr(limit, "gt", None) == 0 for limit in cls.model_fields[field].metadata)
