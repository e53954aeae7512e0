"""What people saw and found, as data with a likelihood each, and flights weighed by it."""
