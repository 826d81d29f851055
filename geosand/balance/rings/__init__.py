"""Where overthrow lies beside dressed surfaces: rings, collars, and what they hold."""
