"""One module a step: what is done to a lot, as pure functions of state and conditions."""
