"""What was assessed, decided and happened: a log that only grows, and what it says of the forecasts."""
