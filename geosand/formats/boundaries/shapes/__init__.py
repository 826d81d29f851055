"""Layers to placed outlines with kind, name and id: lines closed, rings nested or mended."""
