"""Opening what a clinic hands over: exam folders, stills, loops."""
