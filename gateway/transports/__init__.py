"""Ways out of and into the gateway."""
