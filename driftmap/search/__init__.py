"""Where to look for what came down: chances by square, the order of walking, the page."""
