"""Outlines into a site folder: what must be decided first, new sites, further surveys."""
