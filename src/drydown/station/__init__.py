"""The station described: place, weather, machines, beds, routines, prices."""
