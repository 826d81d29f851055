"""Words of boundary files: kinds of surface, names and ids, and what a person wishes."""
