"""Winds as people have them, one module a format, read into one profile."""
