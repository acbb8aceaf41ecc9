"""Questions asked of a network or a run: one module each."""
