"""What a network and its outages cost, from the bill of materials and from the blocks of a run."""
