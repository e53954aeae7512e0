"""Many flights: inputs drawn, every case flown, landings kept as columns."""
