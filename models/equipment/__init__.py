"""Parts that fail, the units they stand in, power, upkeep: what keeps a site on the air."""
