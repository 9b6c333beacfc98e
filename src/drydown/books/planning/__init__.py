"""The week's plan from the records, and plans that were accepted."""
