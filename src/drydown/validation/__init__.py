"""Does the forecast of drying hold? Published results, what is said of them, and how far apart they are."""
