"""The site in metres about its pad; grids and contours on it."""
