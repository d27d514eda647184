"""Readings in, findings out: limits, relations between readings, what is missing."""
