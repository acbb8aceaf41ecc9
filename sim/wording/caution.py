"""The usual caution, shown wherever figures are read."""

CAUTION = (
    "Figures are estimates for planning. Emergency and safety-of-life services, work at height and exposure "
    "to radio-frequency fields fall under local codes and licensed practice, which come first."
)
