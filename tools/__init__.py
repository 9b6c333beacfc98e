"""Helper scripts of the project."""
