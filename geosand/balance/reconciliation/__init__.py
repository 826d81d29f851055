"""A season's balances reconciled: adjusted inputs, and which of them may be wrong."""
