"""Rare losses from few years: weighted replications, controls of known mean."""
