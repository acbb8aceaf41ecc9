"""Tallies that add, and the statistics made of them."""
