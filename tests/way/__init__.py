"""The room of a lot's way."""
