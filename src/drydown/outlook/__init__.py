"""What a lot will do: ensembles, bands, rules it is inside of, cautions in words."""
