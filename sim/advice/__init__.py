"""What to buy: candidates, what they would save, which of them together, and how sure that is."""
