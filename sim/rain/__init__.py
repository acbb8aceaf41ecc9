"""Storms of moving rain cells, and what they do to each hop."""
