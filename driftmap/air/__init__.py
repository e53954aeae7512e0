"""The air over a site: atmosphere, day, wind, turbulence, one column a flight."""
