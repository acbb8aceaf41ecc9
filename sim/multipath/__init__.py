"""Nights of multipath, their fades, and what those do to each channel."""
