"""Writing to the journal: entries, seals, triggers, what phones hand over, photos."""
