"""What people saw, as data with a likelihood each; flights weighed by it; which case fits."""
