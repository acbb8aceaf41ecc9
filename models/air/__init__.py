"""Rain, snow, clear-air fading and polarisation: what the atmosphere does to one path."""
