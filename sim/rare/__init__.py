"""Rare losses from few years: weighted replications, heavier storms, controls of known mean."""
