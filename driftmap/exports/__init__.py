"""Results in open formats: GeoJSON, KML, GPX and CSV, one module each."""
