"""Limits, checks, and go, hold or no-go; the whole job in one call."""
