"""Files and archives to layers as they are drawn, one module a family of formats."""
