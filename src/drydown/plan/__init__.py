"""The days ahead: which lot goes where and when, by constraint solving. Knows no records and no pages."""
