"""The clock, the draws, the combination, the statistics and the command line."""
