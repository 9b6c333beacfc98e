"""What to build: so far the published sizing rules, computed for one case. Knows no records and no pages."""
