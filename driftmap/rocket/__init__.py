"""What is flown: records, the flight file, and a record from an altimeter."""
