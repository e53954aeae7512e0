"""What can happen to a flight, as data: cases, bodies, stages, likelihoods."""
