"""Whether the forecasts were any good, from what the log says came of them."""
