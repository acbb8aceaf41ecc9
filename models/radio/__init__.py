"""Schemes, modulations and link budgets: what radios make of a path."""
