"""How figures are worded, and how they look: one layer for terminal and page."""
