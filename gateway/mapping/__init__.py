"""From documents as a site writes them to the one domain exam, with the origin of each value."""
