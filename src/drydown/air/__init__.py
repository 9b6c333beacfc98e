"""The air a lot stands in: moist air, sun and sky, hourly weather, readers, generator.

This room knows nothing of coffee.
"""
