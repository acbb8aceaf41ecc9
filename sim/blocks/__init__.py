"""The network made ready, and one block of years: from (network, seed, block number) to timelines."""
