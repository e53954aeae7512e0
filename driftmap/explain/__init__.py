"""Which case fits what was found, how surely, and whether any does."""
