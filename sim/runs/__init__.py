"""Blocks of years on worker processes, the folder of a run, and its tables of results."""
