"""Makes the files that reports carry with them; run by a developer, never at run time."""
