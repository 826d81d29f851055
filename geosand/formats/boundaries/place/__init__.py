"""Where numbers lie: CRS and units of a file, datum shifts, places not to believe."""
