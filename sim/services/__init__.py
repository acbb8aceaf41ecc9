"""Routes and capacity: from the timelines of hops to what each service gets."""
