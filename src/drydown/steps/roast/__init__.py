"""Roasting: beans in hot gas and against hot metal, their water, their reactions, what a probe shows."""
