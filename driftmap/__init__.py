"""Landing zones and drift and debris hazard for high-power and home-built rockets."""
