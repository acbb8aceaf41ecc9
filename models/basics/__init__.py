"""Units, geometry, calendar, intervals: what every other room stands on."""
