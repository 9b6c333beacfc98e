"""The station's records: growers, deliveries, lots and what happened to them."""
