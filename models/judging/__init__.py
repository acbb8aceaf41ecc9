"""When a service is available, how capacity is shared, which objectives apply, and why time was lost."""
