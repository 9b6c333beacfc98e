"""Brewing: what dissolves, what stays in the grounds, how quickly, and the water it is brewed with."""
