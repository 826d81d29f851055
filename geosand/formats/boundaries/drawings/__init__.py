"""DXF drawings to layers: entities, blocks, hatches, labels."""
