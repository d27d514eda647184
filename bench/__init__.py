"""Measurements against gold files that are not part of the project."""
