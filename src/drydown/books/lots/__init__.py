"""Lots: the gate, taking a step, readings, families, undo, what stands where, a lot's own story."""
