"""The bench: sample sheets, contracts, tastings, notes of photos."""
