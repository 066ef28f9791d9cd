"""Each press with the die in it, its last count, and what the counters ask."""
