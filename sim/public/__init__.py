"""Simulates the availability and protection of microwave radio networks, many years at a time."""
