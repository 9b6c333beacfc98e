"""Drydown: from ripe coffee fruit at the gate to a dry lot.

The rooms, from the ground up: `matter`, `air`, `steps`, `station`, `outlook`, `books`,
then `desk` and `cli`. A room imports only from rooms below it; see docs/architecture.md.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
