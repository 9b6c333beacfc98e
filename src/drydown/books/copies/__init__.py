"""Copies: backup, locked copies, export, import, verifying."""
