"""The day: what must be done now at a station, from its lots' outlooks and the steps of their way."""
