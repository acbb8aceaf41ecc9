"""Reads what the user wrote: network files, tables beside them, plans."""
