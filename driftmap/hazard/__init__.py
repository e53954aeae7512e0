"""How often something hits, whom it harms, and how well that is known."""
