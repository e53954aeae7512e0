"""Many flights: luck drawn, every case flown, landings kept as columns."""
