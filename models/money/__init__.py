"""What a network costs, and what its outages cost: prices, discounting, penalties. Pure rules."""
