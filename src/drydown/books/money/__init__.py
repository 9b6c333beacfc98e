"""Money: payments, costs, second payments, accounts at a glance."""
