"""The day by the books: what its lines are made of, and what was said of them."""
