"""Limits × wind = findings."""
