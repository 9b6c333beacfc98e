"""The trade's units and price arithmetic: pure numbers, no records."""
