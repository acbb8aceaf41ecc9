"""What the standards alone say of a network."""
