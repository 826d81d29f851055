"""Many sites on one machine or a cluster: the same computation, in chunks, into a few tables."""
