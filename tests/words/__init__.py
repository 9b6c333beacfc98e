"""Sentences that are ready for languages."""
